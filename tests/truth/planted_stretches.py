"""Planted stretches: how often found and how far off their ends, beside two plain maps.

    python -m tests.truth.planted_stretches --worlds 400 [--network tree] [--units 60 120 250]
        [--length 200 500] [--times 3 5] [--animals 0.33] [--sd 100 200]

Each world holds repeat observers and one stretch where more of them start. Ours: found where the
comparison with chance shows a part of it at 5 %, with the ends of the scan's run as in the tool.
The plain maps (`plain_maps`): found where a part of the stretch is above the cut; the ends are
those of the joined road above the cut that shares most with the stretch. "one voice": each
observer's reports share the weight 1. All three are given the same events and the same draws.
`--times 1` plants nothing: then the share of worlds is printed in which anything is shown.
"""

from __future__ import annotations

import argparse
from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
from scipy import sparse
from scipy.sparse.csgraph import dijkstra

from roadrisk.base.seeds import generator
from roadrisk.hotspots.chance import moved_lixels
from roadrisk.hotspots.drawn_masses import unit_weights
from roadrisk.hotspots.events import Events
from roadrisk.hotspots.stretch_ends import match_runs, scan_for_ends
from roadrisk.hotspots.stretches import join_stretches
from roadrisk.roads.network import Floats, Ints
from tests.truth.false_alarms import DRAWS, LONGEST_M, NETWORKS
from tests.truth.plain_maps import ALPHA, PlainMap, above_the_cut, counts_in_bins, planar_density
from tests.truth.worlds import Ground, compared, ground, planted

SDS_M = (50.0, 100.0, 200.0, 400.0)
OURS = "ours"


@dataclass(eq=False)
class Tally:
    """What one method made of each world: shown anywhere, found, error of begin and end [m]."""

    shown: list[bool] = field(default_factory=list)
    found: list[bool] = field(default_factory=list)
    ends: list[tuple[float, float]] = field(default_factory=list)

    def add(self, shown: bool, found: bool, ends: tuple[float, float]) -> None:
        self.shown.append(shown)
        self.found.append(found)
        self.ends.append(ends)


def plain_maps(on: Ground, sds_m: Sequence[float] = SDS_M) -> list[PlainMap]:
    maps = [planar_density(on.network, on.lixels, sd) for sd in sds_m]
    return [*maps, counts_in_bins(on.network, on.lixels)]


def try_all(on: Ground, maps: list[PlainMap], units: int, length_m: float, times: float,
            worlds: int, animals: int = 0) -> dict[str, Tally]:  # fmt: skip
    """Tally of every method over the same worlds."""
    tallies: dict[str, Tally] = {}
    for number in range(worlds):
        stream = f"planted {units} {length_m} {times} {animals}"
        events, here = planted(on, generator(number, stream), units, length_m, times, animals)
        voice = unit_weights(events)
        moved = moved_lixels(events, on.strands, DRAWS, generator(number, f"{stream} draws"))
        tell = Teller(on, here)
        tallies.setdefault(OURS, Tally()).add(*_ours(on, events, tell, number, stream))
        for plain in maps:
            for words, weight in (("reports", events.weight), ("one voice", voice)):
                rng = generator(number, f"{stream} lots")
                hot = above_the_cut(plain, events.lixel, moved, weight, rng)
                kept = tallies.setdefault(f"{plain.name}, {words}", Tally())
                kept.add(bool(hot.any()), bool(hot[here].any()), tell.ends_of_hot(hot))
    return tallies


def _ours(on: Ground, events: Events, tell: Teller, number: int, stream: str
          ) -> tuple[bool, bool, tuple[float, float]]:  # fmt: skip
    chance = compared(on, events, generator(number, f"{stream} draws"), DRAWS)
    hot = chance.p_value <= ALPHA
    if not hot[tell.here].any():
        return bool(hot.any()), False, (np.nan, np.nan)
    stretch = join_stretches(on.network, on.lixels, chance.p_value, ALPHA)
    scanned = scan_for_ends(
        on.network, on.lixels, events, on.strands, longest_m=LONGEST_M, draws=DRAWS,
        rng=generator(number, f"{stream} draws"),
    )  # fmt: skip
    best = tell.most_shared(stretch)
    run = match_runs(stretch, scanned.scan.runs, on.lixels.length_m)[best - 1]
    return True, True, tell.errors(np.flatnonzero(stretch == best) if run is None else run.lixel)


class Teller:
    """Measures along the road of a planted stretch: 0 where its edge begins."""

    def __init__(self, on: Ground, here: Ints) -> None:
        self.on, self.here = on, here
        lixels, net = on.lixels, on.network
        self.edge = int(lixels.edge[here[0]])
        self.begin, self.end = float(lixels.start_m[here[0]]), float(lixels.end_m[here[-1]])
        self.low, self.high = lixels.start_m.copy(), lixels.end_m.copy()
        if net.edges > 1:
            self._measure_other_edges()

    def _measure_other_edges(self) -> None:
        """Beyond an end of the edge: minus the distance, or the edge's length and the distance."""
        lixels, net = self.on.lixels, self.on.network
        others = np.arange(net.edges) != self.edge
        u, v, length = net.edge_u[others], net.edge_v[others], net.edge_length_m[others]
        # of several edges between two nodes the matrix would add up the lengths: none in a tree
        graph = sparse.coo_array((length, (u, v)), (len(net.node_xy),) * 2).tocsr()
        ends = [net.edge_u[self.edge], net.edge_v[self.edge]]
        away = dijkstra(graph, directed=False, indices=ends)
        own = net.edge_length_m[self.edge]
        for e in np.flatnonzero(others):
            rows = slice(lixels.first[e], lixels.first[e + 1])
            a, b = lixels.start_m[rows], lixels.end_m[rows]
            both = away[:, [net.edge_u[e], net.edge_v[e]]]
            side = int(both.min(axis=1).argmin())
            from_u = both[side, 0] <= both[side, 1]
            near = both[side].min() + (a if from_u else net.edge_length_m[e] - b)
            far = near + (b - a)
            self.low[rows] = -far if side == 0 else own + near
            self.high[rows] = -near if side == 0 else own + far

    def most_shared(self, stretch: Ints) -> int:
        shared = np.bincount(stretch[self.here], self.on.lixels.length_m[self.here])
        shared[0] = 0.0
        return int(shared.argmax())

    def errors(self, region: Ints) -> tuple[float, float]:
        """How far the region begins and ends from where the stretch does [m]."""
        begin, end = self.low[region].min(), self.high[region].max()
        return float(begin - self.begin), float(end - self.end)

    def ends_of_hot(self, hot: np.ndarray) -> tuple[float, float]:
        if not hot[self.here].any():
            return np.nan, np.nan
        on = self.on
        stretch = join_stretches(on.network, on.lixels, np.where(hot, 0.0, 1.0), ALPHA)
        return self.errors(np.flatnonzero(stretch == self.most_shared(stretch)))


def row(name: str, tally: Tally, ours: Tally) -> str:
    """Share found, error and bias of the ends, and the error where ours found it too."""
    found, ends = np.array(tally.found), np.array(tally.ends)
    share, worlds = found.mean(), len(found)
    text = f"  {name:28} found {100 * share:5.1f} % (s.e. {100 * _error(share, worlds):.1f})"
    if not found.any():
        return text
    both = found & np.array(ours.found)
    text += f"; ends off by {_off(ends[found]):4.0f} m, outward by {_outward(ends[found]):5.0f} m"
    if both.any():
        text += f"; in {both.sum():3} found by ours too {_off(ends[both]):4.0f} m, ours "
        text += f"{_off(np.array(ours.ends)[both]):4.0f} m"
    return text


def _off(ends: Floats) -> float:
    return float(np.median(np.abs(ends)))


def _outward(ends: Floats) -> float:
    """Mean over both ends; above 0 where what is shown is too long."""
    return float((ends[:, 1] - ends[:, 0]).mean() / 2)


def _error(share: float, worlds: int) -> float:
    return float(np.sqrt(share * (1 - share) / worlds))


def main() -> None:
    ask = argparse.ArgumentParser()
    ask.add_argument("--worlds", type=int, default=400)
    ask.add_argument("--network", choices=("line", "tree"), default="line")
    ask.add_argument("--units", type=int, nargs="+", default=[60, 120, 250])
    ask.add_argument("--length", type=float, nargs="+", default=[200.0, 500.0])
    ask.add_argument("--times", type=float, nargs="+", default=[3.0, 5.0])
    ask.add_argument("--animals", type=float, default=0.0, help="share of units that are animals")
    ask.add_argument("--sd", type=float, nargs="+", default=SDS_M, help="of the planar maps [m]")
    asked = ask.parse_args()
    on = ground(NETWORKS[asked.network]())
    maps = plain_maps(on, asked.sd)
    for units in asked.units:
        for length_m in asked.length:
            for times in asked.times:
                animals = round(units * asked.animals)
                print(
                    f"{asked.network}, {units} units, {animals} of them animals, {length_m:.0f} m "
                    f"at {times:.0f}x, {asked.worlds} worlds",
                    flush=True,
                )
                tallies = try_all(on, maps, units, length_m, times, asked.worlds, animals)
                for name, tally in tallies.items():
                    if times == 1:
                        share = np.mean(tally.shown)
                        error = _error(float(share), asked.worlds)
                        print(f"  {name:28} shown {100 * share:5.2f} % (s.e. {100 * error:.2f})")
                    else:
                        print(row(name, tally, tallies[OURS]))
                print(end="", flush=True)


if __name__ == "__main__":
    main()
