"""The room in one call: from crossings and placed reports to stretches and the ranked list."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from roadrisk.base.progress import Progress, Silent
from roadrisk.base.seeds import generator
from roadrisk.hotspots.appendix import local_gi_table, network_k_table
from roadrisk.hotspots.by_lixel import ByLixel
from roadrisk.hotspots.compared import compare_evidence, kernel_shown, scan_roads, verdict_of
from roadrisk.hotspots.death_windows import deaths_in_stretches, windows_by_deaths, without_deaths
from roadrisk.hotspots.lixel_table import densities, lixel_table, rows_to_write
from roadrisk.hotspots.points import points_of
from roadrisk.hotspots.ranked_rows import put_beside, ranked_rows, window_rates
from roadrisk.hotspots.ranking import best_windows, tally
from roadrisk.hotspots.stability import how_stable
from roadrisk.hotspots.stretch_ends import (
    SHORTEST_M,
    from_low_to_high,
    match_runs,
)
from roadrisk.hotspots.stretch_years import reports_by_year
from roadrisk.hotspots.stretches import describe_stretches, join_stretches
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
    from roadrisk.hotspots.events import Events
    from roadrisk.hotspots.ranking import Windows
    from roadrisk.hotspots.scan import Run
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
    found = compare_evidence(
        network, lixels, partner, points, watching or Watching(), settings, zone, area, seed,
        tasks, shown,
    )  # fmt: skip
    tested, strands, settings, level = found.tested, found.strands, found.settings, found.level
    events, chance, on = level.events_shown(found.events), found.against.chance, level.lixels
    lines: np.ndarray | LixelLines = (
        LixelLines(network, lixels) if level.large else lixel_geometry(network, lixels)
    )
    kernel = kernel_shown(found)
    density = densities(kernel, events, lixels, partner, years)
    stretch = join_stretches(network, on, chance.p_value, settings.alpha)
    near, scanned = scan_roads(network, found, stretch, seed, shown)
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
        verdict_of(found, stretches),
        found.against.power.table,
        network_k_table(
            network, on, tested, strands, draws=settings.draws, level=settings.interval,
            rng=generator(seed, "hotspots.network_k"), progress=shown,
        ),
        gi,
        (*found.notes, stable.words, *((left_out,) if left_out else ())),
    )  # fmt: skip


def _spans(stretch: Ints, runs: Sequence[Run | None]) -> list[Ints]:
    """Lixels of each stretch: between its ends, or all that stand out where there are none."""
    by_number = ByLixel.of(stretch)
    return [
        by_number.rows(np.array([number])) if run is None else from_low_to_high(run.lixel)
        for number, run in enumerate(runs, start=1)
    ]


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
