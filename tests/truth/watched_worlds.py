"""Simulated worlds without any hot stretch where people look unevenly, and what is known of it.

Places are drawn along exact roads by fields that the tool never sees; the tool gets survey
effort, other reports of the same public, or the roads' class and traffic.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from scipy import sparse

from roadrisk.hotspot_settings import HotspotsSection
from roadrisk.hotspots.chance import Chance
from roadrisk.hotspots.events import ALIVE, CROSSING
from roadrisk.hotspots.null_models import NullModel, choose_null_model
from roadrisk.hotspots.points import Points, gathered
from roadrisk.hotspots.watching import Watching
from roadrisk.roads.effort import RoadEffort
from roadrisk.roads.lixels import places_xy
from roadrisk.roads.network import Floats, Ints, Network
from roadrisk.roads.placing import Placement
from roadrisk.sightings.placed import PlacedSightings
from tests.roads.small import make_network
from tests.truth.worlds import Draws, Ground, compared, smooth_field

SEASONS = ((4, 5, 6), (7, 8, 9, 10))


@dataclass(frozen=True, eq=False)
class World:
    """What happened, and what is known of where people looked."""

    points: Points
    watching: Watching


def roads_of_classes(seed: int = 4) -> Network:
    """Thirty roads of 1 km in a comb, with class and traffic; small roads lie in two villages."""
    rng = np.random.default_rng(seed)
    lines, kinds, aadt = [], [], []
    for n in range(30):
        x = 500_000.0 + 1000.0 * n
        lines.append([(x, 5_000_000.0), (x + 1000.0, 5_000_000.0)])
        kinds.append("primary" if n < 15 else "tertiary")
        aadt.append(float(np.exp(rng.normal(7.5, 0.8))))
    for n in (4, 5, 6, 20, 21):
        x = 500_000.0 + 1000.0 * n
        for k in (-1, 1):
            lines.append([(x, 5_000_000.0), (x, 5_000_000.0 + k * 600.0)])
            kinds.append("residential")
            aadt.append(np.nan)
    return make_network(lines, road_class=kinds, aadt=aadt)


def points_at(on: Ground, lixel: Ints, who: list[tuple[bool, str]], months: Ints,
              rng: np.random.Generator) -> Points:  # fmt: skip
    along = rng.random(len(lixel)) * on.lixels.length_m[lixel]
    edge, start = on.lixels.edge[lixel], on.lixels.start_m[lixel]
    time = pd.Series([pd.Timestamp(2024, int(m), 15, tz="UTC") for m in months],
                     dtype="datetime64[ns, UTC]")  # fmt: skip
    return Points(
        np.asarray(lixel, np.int64), along, np.ones(len(lixel)), np.arange(len(lixel)), who,
        np.array([ALIVE if o else CROSSING for o, _ in who], np.int64),
        places_xy(on.network, edge, start + along), np.full(len(lixel), 2024),
        time.mask([not o for o, _ in who]),
    )  # fmt: skip


def repeated(on: Ground, chance: Floats, observers: int, rng: np.random.Generator,
             name: str = "o") -> tuple[Ints, list[tuple[bool, str]]]:  # fmt: skip
    """Observers who report again and again from one place each, drawn by `chance`."""
    draws = Draws(on, rng)
    draws.cumulative = np.cumsum(chance) / chance.sum()
    counts = 1 + rng.poisson(rng.gamma(0.5, 8.0, observers))
    home = np.repeat(draws.centres(observers), counts)
    # Reports near the place, and only where the chance allows any.
    lixel = draws.around(home, 40.0)
    lixel = np.where(chance[lixel] > 0, lixel, home)
    return lixel, [(True, f"{name}{i}") for i in np.repeat(np.arange(observers), counts)]


def field(on: Ground, rng: np.random.Generator, log_sd: float = 0.7, range_m: float = 2000.0
          ) -> Floats:  # fmt: skip
    xy = Draws(on, rng).xy
    return np.asarray(on.lixels.length_m * np.exp(log_sd * smooth_field(xy, range_m, rng)))


def tagged(on: Ground, rng: np.random.Generator, animals: int) -> tuple[Ints, list]:
    draws = Draws(on, rng)
    counts = 1 + rng.poisson(rng.gamma(0.7, 12.0, animals))
    lixel = draws.around(np.repeat(draws.centres(animals), counts), 60.0)
    return lixel, [(False, f"a{i}") for i in np.repeat(np.arange(animals), counts)]


def by_effort(on: Ground, rng: np.random.Generator, observers: int = 60, animals: int = 8
              ) -> World:  # fmt: skip
    """Pieces of road 500 m long, walked 0 to 30 times; a fifth not at all."""
    piece = (np.arange(len(on.lixels)) // 50).astype(np.int64)
    walks = np.round(np.exp(rng.normal(1.2, 1.0, piece.max() + 1)))
    walks[rng.random(len(walks)) < 0.2] = 0
    effort = np.minimum(walks, 30)[piece] * on.lixels.length_m
    lixel, who = repeated(on, effort, observers, rng)
    own, names = tagged(on, rng, animals)
    points = points_at(on, np.concatenate([own, lixel]), names + who,
                       np.full(len(own) + len(lixel), 5), rng)  # fmt: skip
    never = pd.Series([pd.NaT], dtype="datetime64[ns, UTC]")
    road = RoadEffort(sparse.csr_array(effort[None, :]), never, "metres", ())
    return World(points, Watching(effort=road))


def by_traffic(on: Ground, rng: np.random.Generator, observers: int = 60, others: int = 300,
               spread_m: float = 500.0, animals: int = 8) -> World:  # fmt: skip
    """Reports of this animal and of anything else follow one unknown traffic."""
    chance = field(on, rng)
    lixel, who = repeated(on, chance, observers, rng)
    own, names = tagged(on, rng, animals)
    points = points_at(on, np.concatenate([own, lixel]), names + who,
                       np.full(len(own) + len(lixel), 5), rng)  # fmt: skip
    other, whose = repeated(on, chance, others, rng, "b")
    months = np.full(len(other), 5)
    return World(points, background(on, other, [w for _, w in whose], months, spread_m, rng))


def planted(on: Ground, rng: np.random.Generator, observers: int, length_m: float, times: float
            ) -> tuple[World, Ints]:  # fmt: skip
    """Unknown traffic as in `by_traffic`, and one stretch with so many times the reports of this
    animal; 300 other observers follow the traffic alone. Returns the stretch's lixels too."""
    chance = field(on, rng)
    lixels = on.lixels
    begin = rng.random() * (on.network.length_m - length_m)
    here = (lixels.end_m > begin) & (lixels.start_m < begin + length_m)
    lixel, who = repeated(on, chance * np.where(here, times, 1.0), observers, rng)
    other, whose = repeated(on, chance, 300, rng, "b")
    months = np.full(len(other), 5)
    known = background(on, other, [w for _, w in whose], months, 500.0, rng)
    points = points_at(on, lixel, who, np.full(len(lixel), 5), rng)
    return World(points, known), np.flatnonzero(here)


def by_season(on: Ground, rng: np.random.Generator, observers: int = 60, others: int = 300
              ) -> World:  # fmt: skip
    """People report along other roads in each season, and this animal in one season mostly."""
    parts, backs = [], []
    for months, of_these, of_others in ((SEASONS[0], 0.85, 0.3), (SEASONS[1], 0.15, 0.7)):
        chance = field(on, rng, 1.0)
        lixel, who = repeated(on, chance, round(observers * of_these), rng, f"o{months[0]}-")
        parts.append((lixel, who, np.full(len(lixel), months[1])))
        other, whose = repeated(on, chance, round(others * of_others), rng, f"b{months[0]}-")
        backs.append((other, [w for _, w in whose], np.full(len(other), months[1])))
    lixel, month = (np.concatenate([p[k] for p in parts]) for k in (0, 2))
    other, when = (np.concatenate([b[k] for b in backs]) for k in (0, 2))
    points = points_at(on, lixel, parts[0][1] + parts[1][1], month, rng)
    return World(points, background(on, other, backs[0][1] + backs[1][1], when, 500.0, rng))


def by_class(on: Ground, rng: np.random.Generator, observers: int = 120, unknown: bool = False
             ) -> World:  # fmt: skip
    """Reports follow class and traffic: main roads 4 times the minor ones, traffic to the 0.7."""
    segments = on.network.segments.iloc[on.lixels.segment]
    kind = segments["road_class"].map({"primary": 4.0, "tertiary": 1.0, "residential": 2.5})
    traffic = (segments["aadt"].fillna(1800.0) / 1800.0) ** 0.7
    chance = field(on, rng) if unknown else on.lixels.length_m
    chance = chance * kind.to_numpy() * traffic.to_numpy()
    lixel, who = repeated(on, chance, observers, rng)
    return World(points_at(on, lixel, who, np.full(len(lixel), 5), rng), Watching())


def background(on: Ground, lixel: Ints, who: list[str], months: Ints, spread_m: float,
               rng: np.random.Generator) -> Watching:  # fmt: skip
    points = points_at(on, lixel, [(True, w) for w in who], months, rng)
    table = gpd.GeoDataFrame(
        {"recordedBy": who, "time": points.event_time},
        geometry=shapely.points(points.event_xy), crs=on.network.crs,
    )  # fmt: skip
    count = len(lixel)
    nowhere = np.zeros(count)
    placement = Placement(
        np.arange(count), np.asarray(lixel, np.int64), np.ones(count),
        np.zeros(count, np.int64), nowhere, nowhere, np.ones(count, bool),
    )  # fmt: skip
    return Watching(background=PlacedSightings(table, placement, pd.DataFrame()),
                    spread_m=spread_m)  # fmt: skip


def null_of(on: Ground, world: World, null: str, **more: object) -> NullModel:
    """Make the null model of `on` (cut into windows) for a world."""
    settings = HotspotsSection.model_validate({"null": null, **more})
    every = np.arange(len(on.lixels))
    return choose_null_model(
        on.network, on.lixels, every, on.strands, world.points, world.watching,
        settings=settings, zone="UTC",
    )  # fmt: skip


def compared_under(on: Ground, world: World, null: str, rng: np.random.Generator,
                   draws: int = 199, **more: object) -> Chance:  # fmt: skip
    """Compare a world with chance under a null model."""
    model = null_of(on, world, null, **more)
    settings = HotspotsSection()
    events = gathered(model.strands, model.points, settings)
    return compared(replace(on, strands=model.strands), events, rng, draws)


WORLDS = {"effort": by_effort, "traffic": by_traffic, "season": by_season, "class": by_class}
