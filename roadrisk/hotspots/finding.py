"""The room in one call: from crossings and placed reports to stretches and the ranked list."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

import geopandas as gpd
import numpy as np
import shapely

from roadrisk.base.progress import Progress, Silent
from roadrisk.base.seeds import generator
from roadrisk.hotspots.chance import Chance, compare_with_chance
from roadrisk.hotspots.events import ALIVE, CROSSING, DEAD, OTHER, Events, gather
from roadrisk.hotspots.kernels import lixel_kernel
from roadrisk.hotspots.ranked_rows import ranked_rows, window_rates
from roadrisk.hotspots.ranking import best_windows, tally
from roadrisk.hotspots.strands import Strands, lay_strands
from roadrisk.hotspots.stretches import describe_stretches, join_stretches
from roadrisk.hotspots.verdict import chance_words
from roadrisk.roads.along import places_xy
from roadrisk.roads.lixels import lixel_geometry

if TYPE_CHECKING:
    from scipy import sparse

    from roadrisk.findings import ChanceTest
    from roadrisk.roads.network import Floats, Ints, Lixels, Network
    from roadrisk.roads.places import Places
    from roadrisk.roads.placing import Placement
    from roadrisk.study import HotspotsSection
    from roadrisk.telemetry.crossing_mass import CrossingMass
    from roadrisk.telemetry.frequencies import Frequencies

_KINDS = {"alive": ALIVE, "dead": DEAD}
# Expected crossing-days in the whole study below which an animal is not one of a road's animals.
_FAINT_DAYS = 0.5


@dataclass(frozen=True, eq=False)
class Hotspots:
    """Tables of the room; columns as in `Findings`.

    Attributes
    ----------
    lixels, stretches, ranked : geopandas.GeoDataFrame
    chance : ChanceTest
    """

    lixels: gpd.GeoDataFrame
    stretches: gpd.GeoDataFrame
    ranked: gpd.GeoDataFrame
    chance: ChanceTest


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
    progress : Progress, optional

    Returns
    -------
    Hotspots
    """
    shown = progress or Silent()
    strands = lay_strands(
        network, lixels, partner == np.arange(len(lixels)), settings.block_window_m
    )
    points = _points(network, lixels, partner, frequencies.found.mass, sightings, placement)
    events = _gathered(strands, points, settings)
    tested = _gathered(strands, _without_faint(points, lixels), settings)
    with shown.step("Kernel along the network", 1) as tick:
        kernel = lixel_kernel(network, lixels, settings.bandwidth_m)
        tick()
    chance = compare_with_chance(
        tested,
        strands,
        kernel,
        lixels.length_m,
        bandwidth_m=settings.bandwidth_m,
        least_units=settings.least_units,
        draws=settings.draws,
        rng=generator(seed, "hotspots.draws"),
        progress=shown,
    )
    lines = lixel_geometry(network, lixels)
    stretch = join_stretches(network, lixels, chance.p_value, settings.alpha)
    table = _lixel_table(network, lixels, partner, lines, events, kernel, chance, stretch, years)
    stretches = describe_stretches(network, lixels, lines, stretch, chance.p_value, tested)
    windows = best_windows(
        network,
        lixels,
        events,
        table["density_per_km_year"].to_numpy(),
        window_m=settings.rank_window_m,
        rows=settings.rows,
    )
    counted = tally(
        windows,
        events,
        frequencies.found.mass,
        years=years,
        level=settings.interval,
        rng=generator(seed, "hotspots.ranking"),
    )
    crossed = window_rates(windows, frequencies, len(lixels), settings.interval, seed)
    ranked = ranked_rows(
        network, lixels, partner, lines, windows, counted, crossed, chance, stretch, places,
        settings,
    )  # fmt: skip
    return Hotspots(table, stretches, ranked, _verdict(tested, chance, stretches, settings))


@dataclass(frozen=True, eq=False)
class _Points:
    """What `events.gather` takes: pieces on lixels, and what each event is."""

    lixel: Ints
    along_m: Floats
    weight: Floats
    event: Ints
    event_unit: list[tuple[bool, str]]
    event_kind: Ints
    event_xy: Floats


def _points(
    network: Network,
    lixels: Lixels,
    partner: Ints,
    mass: CrossingMass,
    sightings: gpd.GeoDataFrame,
    placement: Placement,
) -> _Points:
    """Each animal's expected crossing-days as one event in pieces, then the reports."""
    animal, lixel, days, along = mass.by_lixel()
    who, event = np.unique(animal, return_inverse=True)
    first = np.searchsorted(animal, who)
    own = places_xy(network, lixels.edge[lixel[first]], lixels.start_m[lixel[first]])
    report_lixel = partner[placement.lixel]
    units = [(False, mass.animals[a]) for a in who]
    units += [(True, str(o).strip()) for o in sightings["recordedBy"]]
    kinds = [CROSSING] * len(who) + [_KINDS.get(str(v), OTHER) for v in sightings["vitality"]]
    return _Points(
        np.concatenate([lixel, report_lixel]),
        np.concatenate([along, lixels.length_m[report_lixel] / 2]),
        np.concatenate([days, placement.weight]),
        np.concatenate([event, len(who) + placement.point]).astype(np.int64),
        units,
        np.array(kinds, np.int64),
        np.concatenate(
            [own, shapely.get_coordinates(sightings.geometry.to_numpy()).reshape(-1, 2)]
        ),
    )


def _without_faint(points: _Points, lixels: Lixels) -> _Points:
    """Leave out an animal's pieces on roads that few of its drawn paths cross.

    Without this every animal whose widest paths brush a road would count as one more
    different animal there.
    """
    crossing = points.event_kind[points.event] == CROSSING
    key = points.event * (lixels.edge.max(initial=0) + 1) + lixels.edge[points.lixel]
    _, road = np.unique(key, return_inverse=True)
    enough = np.bincount(road, points.weight) >= _FAINT_DAYS
    keep = ~crossing | enough[road]
    return replace(
        points, lixel=points.lixel[keep], along_m=points.along_m[keep],
        weight=points.weight[keep], event=points.event[keep],
    )  # fmt: skip


def _gathered(strands: Strands, points: _Points, settings: HotspotsSection) -> Events:
    return gather(
        strands, lixel=points.lixel, along_m=points.along_m, weight=points.weight,
        event=points.event, event_unit=points.event_unit, event_kind=points.event_kind,
        event_xy=points.event_xy, link_m=settings.link_m, window_m=settings.block_window_m,
    )  # fmt: skip


def _lixel_table(
    network: Network,
    lixels: Lixels,
    partner: Ints,
    lines: np.ndarray,
    events: Events,
    kernel: sparse.csr_array[Any, tuple[int, int]],
    chance: Chance,
    stretch: Ints,
    years: float,
) -> gpd.GeoDataFrame:
    def density(keep: np.ndarray) -> Floats:
        mass = np.bincount(events.lixel[keep], events.weight[keep], minlength=len(lixels))
        spread = np.asarray(kernel.T @ mass) / lixels.length_m * 1000 / years
        return np.asarray(np.maximum(spread, 0.0)[partner])

    crossing = events.kind == CROSSING
    return gpd.GeoDataFrame(
        {
            "segment_id": network.segments["segment_id"].to_numpy()[lixels.segment],
            "edge": lixels.edge,
            "start_m": lixels.start_m,
            "end_m": lixels.end_m,
            "density_per_km_year": density(np.ones(len(crossing), bool)),
            "density_crossings": density(crossing),
            "density_reports": density(~crossing),
            "statistic": chance.statistic[partner],
            "p_value": chance.p_value[partner],
            "stretch": stretch[partner],
        },
        geometry=lines,
        crs=network.crs,
    )


def _verdict(
    events: Events, chance: Chance, stretches: gpd.GeoDataFrame, settings: HotspotsSection
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
        settings=settings,
    )
