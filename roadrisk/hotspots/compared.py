"""The evidence against chance, and the runs that stand out of it, in a study of any size."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from roadrisk.base.seeds import generator
from roadrisk.hotspots.against_chance import compared_in_tiles, compared_with_chance
from roadrisk.hotspots.levels import level_of
from roadrisk.hotspots.near_stretches import near_stretches
from roadrisk.hotspots.null_models import choose_null_model
from roadrisk.hotspots.points import gathered
from roadrisk.hotspots.strands import lay_strands
from roadrisk.hotspots.stretch_ends import MOST_DRAWS, scan_for_ends
from roadrisk.hotspots.tiled_kernel import TiledKernel
from roadrisk.hotspots.verdict import chance_words

if TYPE_CHECKING:
    import geopandas as gpd
    import shapely

    from roadrisk.base.progress import Progress
    from roadrisk.base.tasks import Tasks
    from roadrisk.findings import ChanceTest
    from roadrisk.hotspot_settings import HotspotsSection
    from roadrisk.hotspots.against_chance import AgainstChance
    from roadrisk.hotspots.events import Events
    from roadrisk.hotspots.levels import Level
    from roadrisk.hotspots.near_stretches import Near
    from roadrisk.hotspots.null_models import NullWords
    from roadrisk.hotspots.path_kernel import LixelKernel
    from roadrisk.hotspots.points import Points
    from roadrisk.hotspots.strands import Strands
    from roadrisk.hotspots.stretch_ends import Scanned
    from roadrisk.hotspots.watching import Watching
    from roadrisk.roads.network import Ints, Lixels, Network


@dataclass(frozen=True, eq=False)
class Compared:
    """The evidence as events, and how it compares with chance.

    Attributes
    ----------
    events, tested : Events
        All evidence, and what the null model tests.
    strands : Strands
        Of what is tested.
    null : NullWords
    against : AgainstChance
    settings : HotspotsSection
        With the bandwidth and the steps that were settled on.
    level : Level
        Lixels that are tested, and how they lie on those shown.
    notes : tuple of str
    """

    events: Events
    tested: Events
    strands: Strands
    null: NullWords
    against: AgainstChance
    settings: HotspotsSection
    level: Level
    notes: tuple[str, ...]


def compare_evidence(
    network: Network,
    lixels: Lixels,
    partner: Ints,
    points: Points,
    watching: Watching,
    settings: HotspotsSection,
    zone: str,
    area: shapely.Polygon | shapely.MultiPolygon | None,
    seed: int,
    tasks: Tasks | None,
    shown: Progress,
) -> Compared:
    """Compare the evidence with chance, on lixels that the study's size allows.

    Parameters
    ----------
    network : Network
    lixels : Lixels
    partner : ndarray of int64, shape (lixels,)
    points : Points
    watching : Watching
    settings : HotspotsSection
    zone : str
    area : shapely.Polygon, shapely.MultiPolygon or None
    seed : int
    tasks : Tasks or None
        As in `finding.find_hotspots`.
    shown : Progress

    Returns
    -------
    Compared
    """
    level = level_of(network, lixels, partner, len(points.lixel), settings=settings)
    on, points, watching = level.lixels, level.points(points), level.watching(watching)
    counted = level.partner == np.arange(len(on))
    strands = lay_strands(network, on, counted, settings.block_window_m)
    events = gathered(strands, points, settings)
    null = choose_null_model(
        network, on, level.partner, strands, points, watching, settings=settings, zone=zone
    )
    tested = gathered(null.strands, null.points, settings, nameless_join=True)
    if level.large:
        against = compared_in_tiles(
            network, level, tested, null.strands, points.event_year, settings=settings, seed=seed,
            tasks=tasks, progress=shown,
        )  # fmt: skip
    else:
        against = compared_with_chance(
            network, on, counted, tested, null.strands, points.event_year, settings=settings,
            area=area, seed=seed, progress=shown,
        )  # fmt: skip
    notes = (*null.notes, *against.notes)
    return Compared(
        events, tested, null.strands, null.words, against, against.settings, level, notes
    )


def kernel_shown(found: Compared) -> LixelKernel:
    """Return the kernel on the lixels that are shown.

    Parameters
    ----------
    found : Compared

    Returns
    -------
    LixelKernel
    """
    kernel = found.against.kernel
    if isinstance(kernel, TiledKernel) and found.level.of_shown is not None:
        return replace(kernel, lixels=found.level.shown)
    return kernel


def scan_roads(
    network: Network, found: Compared, stretch: Ints, seed: int, shown: Progress
) -> tuple[Near | None, Scanned]:
    """Scan the roads for the ends of stretches: all of them, or in a large study those near.

    Parameters
    ----------
    network : Network
    found : Compared
    stretch : ndarray of int64, shape (lixels tested,)
        Number of the stretch that each lixel is in, 0 where none.
    seed : int
    shown : Progress

    Returns
    -------
    near : Near or None
        The part of a large network that was scanned.
    scanned : Scanned
        Runs on the lixels tested.
    """
    settings, level = found.settings, found.level
    near, on, tested, strands = None, level.lixels, found.tested, found.strands
    draws = min(settings.draws, MOST_DRAWS)
    if level.large:
        draws = min(draws, 99)
        near = near_stretches(
            network, on, tested, strands, stretch, longest_m=settings.longest_stretch_m
        )
        network, on, tested, strands = (
            near.part.network,
            near.part.lixels,
            near.events,
            near.strands,
        )
    scanned = scan_for_ends(
        network, on, tested, strands, longest_m=settings.longest_stretch_m,
        draws=draws, rng=generator(seed, "hotspots.scan"),
        progress=shown,
    )  # fmt: skip
    if near is None:
        return None, scanned
    whole = replace(scanned.scan, runs=near.runs_in_whole(scanned.scan.runs))
    return near, replace(scanned, scan=whole)


def verdict_of(found: Compared, stretches: gpd.GeoDataFrame) -> ChanceTest:
    """Say what the comparison with chance has shown.

    Parameters
    ----------
    found : Compared
    stretches : geopandas.GeoDataFrame

    Returns
    -------
    ChanceTest
    """
    events, settings, chance = found.tested, found.settings, found.against.chance
    present = np.unique(events.unit)
    reached = len(chance.largest)
    largest = float(chance.statistic.max(initial=0.0))
    # Largest value that still would not stand out, read off the draws.
    allowed = int(np.floor(settings.alpha * (reached + 1))) - 1
    threshold = float(np.sort(chance.largest)[::-1][max(allowed, 0)]) if reached else np.nan
    return chance_words(
        units=len(present),
        blocks=events.blocks,
        draws=reached,
        alpha=settings.alpha,
        threshold=threshold,
        largest=largest,
        p_value=float(chance.p_value.min(initial=1.0)),
        stretches=len(stretches),
        power=found.against.power,
        null=found.null,
        settings=settings,
    )
