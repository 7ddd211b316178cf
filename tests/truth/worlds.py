"""Simulated worlds without any hot stretch, and with planted ones: events on a network.

Every world is a dict of arrays that `events_of` turns into the events the tool tests. Places are
drawn on the network's lixels in exact metres along a random edge, so nothing of the tool's own
windows or groups goes into the generators.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import partial

import numpy as np
from scipy.spatial import cKDTree

from roadrisk.base.tasks import InProcess
from roadrisk.hotspots.chance import Chance, compare_with_chance
from roadrisk.hotspots.events import ALIVE, CROSSING, DEAD, Events, gather
from roadrisk.hotspots.kernel_choice import peak_of
from roadrisk.hotspots.kernels import lixel_kernel
from roadrisk.hotspots.levels import JOINED_OF_HALF_WIDTH
from roadrisk.hotspots.moves import lay_out
from roadrisk.hotspots.shares import ByWindow
from roadrisk.hotspots.strands import Strands, free_strands, lay_strands
from roadrisk.hotspots.tiled_chance import compare_in_tiles
from roadrisk.hotspots.tiled_kernel import TiledKernel
from roadrisk.roads.lixels import lay_lixels, places_xy
from roadrisk.roads.network import Floats, Ints, Lixels, Network
from roadrisk.roads.tiles import Surroundings, without_shapes
from tests.roads.small import make_network


@dataclass(frozen=True, eq=False)
class Ground:
    """A network made ready for many tests."""

    network: Network
    lixels: Lixels
    strands: Strands
    kernel: object
    bandwidth_m: float = 200.0


def ground(network: Network, bandwidth_m: float = 200.0, window_m: float = 2000.0,
           null: str = "windows", lixel_m: float = 10.0) -> Ground:  # fmt: skip
    lixels = lay_lixels(network, lixel_m)
    strands = lay_strands(network, lixels, np.ones(len(lixels), bool), window_m)
    if null == "free":
        strands = free_strands(strands)
    return Ground(network, lixels, strands, lixel_kernel(network, lixels, bandwidth_m), bandwidth_m)


def line_30_km() -> Network:
    return make_network([[(500_000.0, 5_000_000.0), (530_000.0, 5_000_000.0)]])


def country_roads(seed: int = 5) -> Network:
    """A tree-like and partly meshed network of about 45 km with short edges at its junctions."""
    rng = np.random.default_rng(seed)
    lines, names = [], []
    corners = {}
    for i in range(5):
        for j in range(4):
            corners[i, j] = np.array([500_000 + 1500 * i, 5_000_000 + 1300 * j], float)
            corners[i, j] += rng.uniform(-350, 350, 2)
    for (i, j), here in corners.items():
        for a, b in ((i + 1, j), (i, j + 1)):
            if (a, b) in corners and rng.random() < 0.85:
                lines.append([tuple(here), tuple(corners[a, b])])
                names.append(f"East {j}" if a > i else f"North {i}")
    for i, j in list(corners)[::3]:
        tip = corners[i, j] + rng.uniform(-400, 400, 2)
        lines.append([tuple(corners[i, j]), tuple(tip)])
        names.append("")
    return make_network(lines, names)


class Draws:
    """Random places along a network, and places a little way along the road from them."""

    def __init__(self, on: Ground, rng: np.random.Generator, log_sd: float = 0.0,
                 range_m: float = 2000.0) -> None:  # fmt: skip
        self.on, self.rng = on, rng
        lixels = on.lixels
        middle = (lixels.start_m + lixels.end_m) / 2
        self.xy = places_xy(on.network, lixels.edge, middle)
        weight = lixels.length_m.copy()
        if log_sd > 0:
            weight *= np.exp(log_sd * smooth_field(self.xy, range_m, rng))
        self.cumulative = np.cumsum(weight) / weight.sum()

    def centres(self, count: int) -> Ints:
        return np.searchsorted(self.cumulative, self.rng.random(count))

    def around(self, lixel: Ints, sd_m: float | Floats) -> Ints:
        """Lixels near each given one: the nearest road to a normal step across country."""
        target = self.xy[lixel] + self.rng.normal(0, sd_m, (len(lixel), 2))
        return np.asarray(self._tree().query(target)[1], np.int64)

    def within(self, lixel: Ints, reach_m: float) -> Ints:
        """One of the lixels within `reach_m` of each given one, all alike.

        The nearest road to a long step would gather at dead ends.
        """
        near = self._tree().query_ball_point(self.xy[lixel], reach_m)
        return np.array([some[int(self.rng.random() * len(some))] for some in near], np.int64)

    def junctions(self, distinct: bool, count: int) -> Ints:
        """Lixels at junctions: nearest to random places, or so many different ones."""
        net = self.on.network
        degree = np.bincount(np.concatenate([net.edge_u, net.edge_v]), minlength=len(net.node_xy))
        xy = net.node_xy[degree >= 3]
        if distinct:
            chosen = self.rng.permutation(len(xy))[:count]
        else:
            chosen = cKDTree(xy).query(self.xy[self.centres(count)])[1]
        return np.asarray(self._tree().query(xy[chosen])[1], np.int64)

    def _tree(self) -> cKDTree:
        if not hasattr(self, "_kept"):
            self._kept = cKDTree(self.xy)
        return self._kept


def smooth_field(xy: Floats, range_m: float, rng: np.random.Generator) -> Floats:
    """Standard normal field, correlation exp(-(d / range)^2 / 2), by random cosines."""
    waves = rng.normal(0, 1 / range_m, (200, 2))
    phase = rng.uniform(0, 2 * np.pi, 200)
    return np.asarray(np.sqrt(2 / 200) * np.cos(xy @ waves.T + phase).sum(axis=1))


def events_of(on: Ground, lixel: Ints, who: list[tuple[bool, str]], rng: np.random.Generator,
              link_m: float = 200.0, window_m: float = 2000.0, report: int = ALIVE
            ) -> Events:  # fmt: skip
    lixel = np.asarray(lixel, np.int64)
    along = rng.random(len(lixel)) * on.lixels.length_m[lixel]
    xy = places_xy(on.network, on.lixels.edge[lixel], on.lixels.start_m[lixel] + along)
    kind = np.array([report if observer else CROSSING for observer, _ in who], np.int64)
    return gather(
        on.strands, lixel=lixel, along_m=along, weight=np.ones(len(lixel)),
        event=np.arange(len(lixel)), event_unit=who, event_kind=kind, event_xy=xy,
        link_m=link_m, window_m=window_m, nameless_join=True,
    )  # fmt: skip


def independent(on: Ground, rng: np.random.Generator, reports: int = 200) -> Events:
    """Every report from another person, anywhere alike."""
    places = Draws(on, rng).centres(reports)
    return events_of(on, places, [(True, f"o{i}") for i in range(reports)], rng)


def homes(on: Ground, rng: np.random.Generator, animals: int = 18) -> Events:
    """Animals with homes at random places; how often each crosses varies a hundredfold."""
    draws = Draws(on, rng)
    counts = 1 + rng.poisson(rng.gamma(0.7, 12.0, animals))
    lixel = draws.around(np.repeat(draws.centres(animals), counts), 60.0)
    who = [(False, f"a{i}") for i in np.repeat(np.arange(animals), counts)]
    return events_of(on, lixel, who, rng)


def crossing_points(on: Ground, rng: np.random.Generator, animals: int = 18) -> Events:
    """Animals that cross at one to three points within 500 m of home, at one far more often."""
    draws = Draws(on, rng)
    counts = 1 + rng.poisson(rng.gamma(0.7, 12.0, animals))
    home = draws.centres(animals)
    points = draws.within(np.repeat(home, 3), 500.0).reshape(animals, 3)
    share = rng.gamma(0.5, 1.0, (animals, 3))
    share[np.arange(3) >= rng.integers(1, 4, animals)[:, None]] = 0.0
    animal = np.repeat(np.arange(animals), counts)
    up_to = np.cumsum(share, axis=1)[animal]
    which = (rng.random(len(animal))[:, None] * up_to[:, -1:] > up_to).sum(axis=1)
    who = [(False, f"a{i}") for i in animal]
    return events_of(on, draws.around(points[animal, which], 10.0), who, rng)


def junction_homes(on: Ground, rng: np.random.Generator, animals: int = 18,
                   distinct: bool = False) -> Events:  # fmt: skip
    """Animals whose homes lie at junctions, so that each one's crossings lie on several arms.

    Where there are few junctions such homes gather in truth; with `distinct` no two share one.
    """
    draws = Draws(on, rng)
    home = draws.junctions(distinct, animals)
    counts = 1 + rng.poisson(rng.gamma(0.7, 12.0, len(home)))
    who = [(False, f"a{i}") for i in np.repeat(np.arange(len(home)), counts)]
    return events_of(on, draws.around(np.repeat(home, counts), 100.0), who, rng)


def paths(on: Ground, rng: np.random.Generator, animals: int = 18) -> Events:
    """The same animals by their drawn paths: each a cloud of expected crossing-days."""
    draws, pieces = Draws(on, rng), 60
    days = 1 + rng.gamma(0.7, 12.0, animals)
    home = np.repeat(draws.centres(animals), pieces)
    lixel = draws.around(home, np.repeat(rng.uniform(20.0, 80.0, animals), pieces)[:, None])
    event = np.repeat(np.arange(animals), pieces)
    return gather(
        on.strands, lixel=lixel, along_m=rng.random(len(lixel)) * on.lixels.length_m[lixel],
        weight=days[event] / pieces, event=event,
        event_unit=[(False, f"a{i}") for i in range(animals)],
        event_kind=np.full(animals, CROSSING), event_xy=draws.xy[home[::pieces]],
        link_m=200.0, window_m=2000.0,
    )  # fmt: skip


def repeaters(on: Ground, rng: np.random.Generator, observers: int = 60, log_sd: float = 0.0,
              range_m: float = 2000.0) -> Events:  # fmt: skip
    """Observers who report again and again from one place; some report once only."""
    draws = Draws(on, rng, log_sd, range_m)
    counts = 1 + rng.poisson(rng.gamma(0.5, 8.0, observers))
    lixel = draws.around(np.repeat(draws.centres(observers), counts), 40.0)
    who = [(True, f"o{i}") for i in np.repeat(np.arange(observers), counts)]
    return events_of(on, lixel, who, rng)


def traffic(on: Ground, rng: np.random.Generator, observers: int = 60,
            range_m: float = 2000.0) -> Events:  # fmt: skip
    """The same, where reporting follows unknown traffic (a factor of 4 up or down is usual)."""
    return repeaters(on, rng, observers, log_sd=0.7, range_m=range_m)


def anonymous(on: Ground, rng: np.random.Generator, observers: int = 60) -> Events:
    """The same, each report without its observer's name at the toss of a coin."""
    return _repeats(on, rng, observers, lambda who: rng.random(len(who)) < 0.5)


def unsigned(on: Ground, rng: np.random.Generator, observers: int = 60) -> Events:
    """The same, half of the observers never giving their name."""
    return _repeats(on, rng, observers, lambda who: (rng.random(observers) < 0.5)[who])


def _repeats(on: Ground, rng: np.random.Generator, observers: int,
             nameless: Callable[[Ints], np.ndarray]) -> Events:  # fmt: skip
    draws = Draws(on, rng)
    counts = 1 + rng.poisson(rng.gamma(0.5, 8.0, observers))
    lixel = draws.around(np.repeat(draws.centres(observers), counts), 40.0)
    number = np.repeat(np.arange(observers), counts)
    who = [(True, "" if no else f"o{i}") for i, no in zip(number, nameless(number), strict=True)]
    return events_of(on, lixel, who, rng)


def carcasses(on: Ground, rng: np.random.Generator, clusters: int = 60) -> Events:
    """Clusters of carcasses, each found on a survey day of its own within some 100 m."""
    draws = Draws(on, rng)
    counts = 1 + rng.poisson(rng.gamma(0.7, 3.0, clusters))
    lixel = draws.around(np.repeat(draws.centres(clusters), counts), 25.0)
    who = [(True, f"survey, cluster {i}") for i in np.repeat(np.arange(clusters), counts)]
    return events_of(on, lixel, who, rng, report=DEAD)


def mixed(on: Ground, rng: np.random.Generator) -> Events:
    """Tagged animals by their drawn paths and observers together, as in the main job."""
    a, o = paths(on, rng, 18), repeaters(on, rng, 60)
    lixel, event = np.concatenate([a.lixel, o.lixel]), np.concatenate([a.event, 18 + o.event])
    first = np.unique(event, return_index=True)[1]
    names = [(False, n) for n in a.unit_names] + [(True, n) for n in o.unit_names]
    unit = np.concatenate([a.unit, a.units + o.unit])
    return gather(
        on.strands, lixel=lixel, along_m=rng.random(len(lixel)) * on.lixels.length_m[lixel],
        weight=np.concatenate([a.weight, o.weight]), event=event,
        event_unit=[names[unit[f]] for f in first],
        event_kind=np.concatenate([a.kind, o.kind])[first],
        event_xy=places_xy(
            on.network, on.lixels.edge[lixel[first]], on.lixels.start_m[lixel[first]]
        ),
        link_m=200.0, window_m=2000.0,
    )  # fmt: skip


def planted(on: Ground, rng: np.random.Generator, units: int, length_m: float, times: float,
            animals: int = 0) -> tuple[Events, Ints]:  # fmt: skip
    """Repeat observers, with one stretch of `length_m` where `times` as many start.

    It lies anywhere alike within an edge that holds it. The first `animals` of the units are
    animals by their crossings; all have a place and a number of events drawn alike.
    """
    draws = Draws(on, rng)
    lixels = on.lixels
    room = np.maximum(on.network.edge_length_m - length_m, 0.0)
    edge = rng.choice(on.network.edges, p=room / room.sum())
    begin = rng.random() * room[edge]
    here = (lixels.edge == edge) & (lixels.end_m > begin) & (lixels.start_m < begin + length_m)
    weight = lixels.length_m * np.where(here, times, 1.0)
    draws.cumulative = np.cumsum(weight) / weight.sum()
    counts = 1 + rng.poisson(rng.gamma(0.5, 8.0, units))
    lixel = draws.around(np.repeat(draws.centres(units), counts), 40.0)
    who = [(i >= animals, f"o{i}") for i in np.repeat(np.arange(units), counts)]
    return events_of(on, lixel, who, rng), np.flatnonzero(here)


def compared_large(on: Ground, events: Events, rng: np.random.Generator) -> Chance:
    """As large studies are compared: `on` has their longer lixels, near parts are joined."""
    roads = without_shapes(on.network)
    kernel = TiledKernel(
        roads, on.lixels, on.bandwidth_m, "quartic", "continuous", Surroundings(roads),
        InProcess(),
    )  # fmt: skip
    laid = lay_out(events, on.strands)
    windows = len(on.strands.window_m) - 1
    home = np.searchsorted(on.strands.window_m, laid.middle, side="right") - 1
    return compare_in_tiles(
        events, on.strands, kernel, least_units=3, draws=199,
        shares=ByWindow.of_groups(home.clip(0, windows - 1), windows, rng),
        peak_per_m=peak_of(on.bandwidth_m, "quartic"),
        joined_m=on.bandwidth_m * JOINED_OF_HALF_WIDTH,
    )  # fmt: skip


def compared(on: Ground, events: Events, rng: np.random.Generator, draws: int = 199) -> Chance:
    return compare_with_chance(
        events, on.strands, on.kernel, on.lixels.length_m, bandwidth_m=on.bandwidth_m,
        least_units=3, draws=draws, rng=rng,
    )  # fmt: skip


WORLDS = {
    "independent": independent,
    "homes": homes,
    "crossing-points": crossing_points,
    "own-junctions": partial(junction_homes, distinct=True),
    "junctions": junction_homes,
    "paths": paths,
    "repeaters": repeaters,
    "anonymous": anonymous,
    "unsigned": unsigned,
    "carcasses": carcasses,
    "mixed": mixed,
    "traffic-2000": traffic,
    "traffic-1000": partial(traffic, range_m=1000.0),
    "traffic-500": partial(traffic, range_m=500.0),
    "traffic-250": partial(traffic, range_m=250.0),
}
AT_JUNCTIONS = ("own-junctions", "junctions")  # not on a line
