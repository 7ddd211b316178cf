"""The room in one call: from crossings and placed reports to stretches and the ranked list."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from roadrisk.base.progress import Progress, Silent
from roadrisk.base.seeds import generator
from roadrisk.hotspots.against_chance import compared_in_tiles, compared_with_chance
from roadrisk.hotspots.appendix import local_gi_table, network_k_table
from roadrisk.hotspots.by_lixel import ByLixel
from roadrisk.hotspots.death_windows import deaths_in_stretches, windows_by_deaths, without_deaths
from roadrisk.hotspots.levels import level_of
from roadrisk.hotspots.lixel_table import densities, lixel_table, rows_to_write
from roadrisk.hotspots.near_stretches import near_stretches
from roadrisk.hotspots.null_models import choose_null_model
from roadrisk.hotspots.points import gathered, points_of
from roadrisk.hotspots.ranked_rows import put_beside, ranked_rows, window_rates
from roadrisk.hotspots.ranking import best_windows, tally
from roadrisk.hotspots.stability import how_stable
from roadrisk.hotspots.strands import lay_strands
from roadrisk.hotspots.stretch_ends import (
    MOST_DRAWS,
    SHORTEST_M,
    from_low_to_high,
    match_runs,
    scan_for_ends,
)
from roadrisk.hotspots.stretch_years import reports_by_year
from roadrisk.hotspots.stretches import describe_stretches, join_stretches
from roadrisk.hotspots.tiled_kernel import TiledKernel
from roadrisk.hotspots.verdict import chance_words
from roadrisk.hotspots.watching import Watching
from roadrisk.roads.lixel_lines import LixelLines
from roadrisk.roads.lixels import lixel_geometry

if TYPE_CHECKING:
    from collections.abc import Sequence

    import geopandas as gpd
    import pandas as pd
    import shapely

    from roadrisk.base.tasks import Tasks
    from roadrisk.findings import ChanceTest
    from roadrisk.hotspot_settings import HotspotsSection
    from roadrisk.hotspots.against_chance import AgainstChance
    from roadrisk.hotspots.chance import Chance
    from roadrisk.hotspots.events import Events
    from roadrisk.hotspots.levels import Level
    from roadrisk.hotspots.near_stretches import Near
    from roadrisk.hotspots.null_models import NullWords
    from roadrisk.hotspots.path_kernel import LixelKernel
    from roadrisk.hotspots.points import Points
    from roadrisk.hotspots.power import Power
    from roadrisk.hotspots.ranking import Windows
    from roadrisk.hotspots.scan import Run
    from roadrisk.hotspots.strands import Strands
    from roadrisk.hotspots.stretch_ends import Scanned
    from roadrisk.mortality.death_field import DeathField
    from roadrisk.roads.network import Floats, Ints, Lixels, Network
    from roadrisk.roads.places import Places
    from roadrisk.roads.placing import Placement
    from roadrisk.telemetry.frequencies import Frequencies


@dataclass(frozen=True, eq=False)
class Hotspots:
    """Tables of the room; columns as in `Findings`.

    Attributes
    ----------
    lixels, stretches, ranked : geopandas.GeoDataFrame
    lixel_rows : ndarray of int64
        Which lixels `lixels` holds: all but in a very large study.
    stretch_years : pandas.DataFrame
    chance : ChanceTest
    power, network_k, local_gi : pandas.DataFrame
    notes : tuple of str
    """

    lixels: gpd.GeoDataFrame
    lixel_rows: Ints
    stretches: gpd.GeoDataFrame
    ranked: gpd.GeoDataFrame
    stretch_years: pd.DataFrame
    chance: ChanceTest
    power: pd.DataFrame
    network_k: pd.DataFrame
    local_gi: pd.DataFrame
    notes: tuple[str, ...]


def find_hotspots(
    network: Network,
    lixels: Lixels,
    partner: Ints,
    frequencies: Frequencies,
    sightings: gpd.GeoDataFrame,
    placement: Placement,
    places: Places,
    *,
    settings: HotspotsSection,
    years: float,
    seed: int,
    zone: str = "UTC",
    surveys: tuple[str, ...] = (),
    area: shapely.Polygon | shapely.MultiPolygon | None = None,
    watching: Watching | None = None,
    deaths: DeathField | None = None,
    worst: int = 5,
    tasks: Tasks | None = None,
    progress: Progress | None = None,
) -> Hotspots:
    """Find where crossings and reports gather, test it against chance, rank windows of road.

    Parameters
    ----------
    network : Network
    lixels : Lixels
    partner : ndarray of int64, shape (lixels,)
        The lixel on which events are counted: the leading carriageway's for a dual
        carriageway, else the lixel itself.
    frequencies : Frequencies
        Crossing-days of tagged animals; an animal's expected crossing-days on each lixel count
        as one event in pieces.
    sightings : geopandas.GeoDataFrame
        `sightings.placed.PlacedSightings.table`.
    placement : Placement
        Pieces of the sightings on lixels.
    places : Places
        Gives words and route measures to places on roads.
    settings : HotspotsSection
    years : float
        Length of the study [years].
    seed : int
    zone : str
        Time zone of the calendar years of the reports.
    surveys : tuple of str
        As in `points.points_of`.
    area : shapely.Polygon or shapely.MultiPolygon, optional
        The study area, where settings ask for the correction at its border.
    watching : Watching, optional
        Survey effort and other reports, for the null models that ask for them.
    deaths : DeathField, optional
        Ranks windows by expected deaths, if any source counted anything; else, and without it,
        they go by crossings and reports per km.
    worst : int
        k of the chance of being among the worst k.
    tasks : Tasks, optional
        What works out the tiles of a very large study; this process unless given.
    progress : Progress, optional

    Returns
    -------
    Hotspots
    """
    shown = progress or Silent()
    mass = frequencies.found.mass
    points = points_of(
        network, lixels, partner, mass, sightings, placement, zone, surveys=surveys,
        link_m=settings.link_m,
    )  # fmt: skip
    found = _compared(
        network, lixels, partner, points, watching or Watching(), settings, zone, area, seed,
        tasks, shown,
    )  # fmt: skip
    tested, strands, settings, level = found.tested, found.strands, found.settings, found.level
    events, chance, on = level.events_shown(found.events), found.against.chance, level.lixels
    lines: np.ndarray | LixelLines = (
        LixelLines(network, lixels) if level.large else lixel_geometry(network, lixels)
    )
    kernel = _kernel_shown(found)
    density = densities(kernel, events, lixels, partner, years)
    stretch = join_stretches(network, on, chance.p_value, settings.alpha)
    near, scanned = _scanned(network, found, stretch, seed, shown)
    runs = match_runs(stretch, scanned.scan.runs, on.length_m)
    stretches = describe_stretches(
        network, on, lines if on is lixels else LixelLines(network, on), stretch, chance, tested,
        runs, places, level.mass(mass), settings.interval,
    )  # fmt: skip
    windows, dead = _windows(
        network, lixels, events, density["density_per_km_year"], settings, deaths, worst
    )
    counted = tally(
        windows, events, mass, years=years, level=settings.interval,
        rng=generator(seed, "hotspots.ranking"),
    )  # fmt: skip
    crossed = window_rates(windows, frequencies, len(lixels), settings.interval, seed)
    at_lixel, stretch_at = level.chance_shown(chance), level.on_shown(stretch).astype(np.int64)
    ranked = ranked_rows(
        network, lixels, partner, lines, windows, counted, crossed, at_lixel, stretch_at, places,
        settings,
    )  # fmt: skip
    spans = _spans(stretch, runs)
    in_stretches = deaths_in_stretches(deaths, level.spans_shown(spans))
    stretches = put_beside(stretches, in_stretches, "crossing_days_high")
    stable = how_stable(
        network, lixels, tested, strands, mass, points.event_year, kernel, windows, spans,
        [run is not None for run in runs], scanned.ways, window_m=settings.rank_window_m,
        shortest_m=min(SHORTEST_M, settings.longest_stretch_m), level=settings.interval,
        rng=generator(seed, "hotspots.stability"), tested_on=level, near=near, progress=shown,
    )  # fmt: skip
    expected = deaths.amount_on_lixels() if level.large and deaths and deaths.ordered else None
    rows, left_out = np.arange(len(lixels)), ""
    if level.large:
        rows, left_out = rows_to_write(
            lixels, density["density_per_km_year"], expected, stretch_at, windows
        )
    gi = local_gi_table(
        network, lixels, events, piece_m=settings.rank_window_m, near_m=settings.bandwidth_m,
        years=years,
    )  # fmt: skip
    return Hotspots(
        lixel_table(network, lixels, partner, lines, density, at_lixel, stretch_at, rows),
        rows,
        put_beside(stretches, stable.stretches, "ends_p_value"),
        _with_deaths(ranked, stable.windows, dead),
        reports_by_year(found.events, points.event_year, spans),
        _verdict(tested, chance, stretches, found.against.power, found.null, settings),
        found.against.power.table,
        network_k_table(
            network, on, tested, strands, draws=settings.draws, level=settings.interval,
            rng=generator(seed, "hotspots.network_k"), progress=shown,
        ),
        gi,
        (*found.notes, stable.words, *((left_out,) if left_out else ())),
    )  # fmt: skip


def _kernel_shown(found: _Compared) -> LixelKernel:
    """Return the kernel on the lixels that are shown."""
    kernel = found.against.kernel
    if isinstance(kernel, TiledKernel) and found.level.of_shown is not None:
        return replace(kernel, lixels=found.level.shown)
    return kernel


def _scanned(
    network: Network, found: _Compared, stretch: Ints, seed: int, shown: Progress
) -> tuple[Near | None, Scanned]:
    """Scan the roads for the ends of stretches: all of them, or in a large study those near."""
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


def _spans(stretch: Ints, runs: Sequence[Run | None]) -> list[Ints]:
    """Lixels of each stretch: between its ends, or all that stand out where there are none."""
    by_number = ByLixel.of(stretch)
    return [
        by_number.rows(np.array([number])) if run is None else from_low_to_high(run.lixel)
        for number, run in enumerate(runs, start=1)
    ]


@dataclass(frozen=True, eq=False)
class _Compared:
    """The evidence as events, and how it compares with chance."""

    events: Events
    tested: Events
    strands: Strands
    null: NullWords
    against: AgainstChance
    settings: HotspotsSection
    level: Level
    notes: tuple[str, ...]


def _compared(
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
) -> _Compared:
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
    return _Compared(
        events, tested, null.strands, null.words, against, against.settings, level, notes
    )


def _windows(
    network: Network,
    lixels: Lixels,
    events: Events,
    density: Floats,
    settings: HotspotsSection,
    deaths: DeathField | None,
    worst: int,
) -> tuple[Windows, pd.DataFrame]:
    """Choose the list's windows by deaths, or else by evidence; and deaths in them."""
    window_m, rows = settings.rank_window_m, settings.rows
    if deaths is not None and deaths.ordered:
        return windows_by_deaths(lixels, deaths, density, window_m=window_m, rows=rows, k=worst)
    windows = best_windows(network, lixels, events, density, window_m=window_m, rows=rows)
    return windows, without_deaths(len(windows.first))


def _with_deaths(
    ranked: gpd.GeoDataFrame, stable: pd.DataFrame, deaths: pd.DataFrame
) -> gpd.GeoDataFrame:
    """Put deaths and what stays in resamples beside; ranks by deaths, where there are any."""
    if "rank_low" in deaths:
        stable = stable.drop(columns=["rank_low", "rank_high"])
    return put_beside(put_beside(ranked, stable, "p_value"), deaths, "length_m")


def _verdict(
    events: Events,
    chance: Chance,
    stretches: gpd.GeoDataFrame,
    power: Power,
    null: NullWords,
    settings: HotspotsSection,
) -> ChanceTest:
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
        power=power,
        null=null,
        settings=settings,
    )
