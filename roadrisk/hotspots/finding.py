"""The room in one call: from crossings and placed reports to stretches and the ranked list."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import geopandas as gpd
import numpy as np
import shapely

from roadrisk.base.progress import Progress, Silent
from roadrisk.base.seeds import generator
from roadrisk.hotspots.chance import Chance, compare_with_chance
from roadrisk.hotspots.events import ALIVE, CROSSING, DEAD, OTHER, Events, gather
from roadrisk.hotspots.kernels import lixel_kernel
from roadrisk.hotspots.looking import what_to_look_at
from roadrisk.hotspots.ranking import Tally, Windows, best_windows, tally
from roadrisk.hotspots.strands import Strands, lay_strands
from roadrisk.hotspots.stretches import describe_stretches, join_stretches
from roadrisk.hotspots.verdict import chance_words
from roadrisk.roads.lixels import lixel_geometry

if TYPE_CHECKING:
    from scipy import sparse

    from roadrisk.findings import ChanceTest
    from roadrisk.roads.network import Floats, Ints, Lixels, Network
    from roadrisk.roads.places import Places
    from roadrisk.roads.placing import Placement
    from roadrisk.study import HotspotsSection

_KINDS = {"alive": ALIVE, "dead": DEAD}


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
    crossings: gpd.GeoDataFrame,
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
    crossings : geopandas.GeoDataFrame
        `telemetry.crossings.Crossings.table`.
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
    events = _events(network, lixels, partner, crossings, sightings, placement, strands, settings)
    with shown.step("Kernel along the network", 1) as tick:
        kernel = lixel_kernel(network, lixels, settings.bandwidth_m)
        tick()
    chance = compare_with_chance(
        events,
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
    stretches = describe_stretches(network, lixels, lines, stretch, chance.p_value, events)
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
        years=years,
        level=settings.interval,
        rng=generator(seed, "hotspots.ranking"),
    )
    ranked = _ranked(
        network, lixels, partner, lines, windows, counted, chance, stretch, places, settings
    )
    return Hotspots(table, stretches, ranked, _verdict(events, chance, stretches, settings))


def _events(
    network: Network,
    lixels: Lixels,
    partner: Ints,
    crossings: gpd.GeoDataFrame,
    sightings: gpd.GeoDataFrame,
    placement: Placement,
    strands: Strands,
    settings: HotspotsSection,
) -> Events:
    once = crossings[_counted_once(network, crossings)]
    own = once["lixel"].to_numpy(np.int64)
    home = partner[own]
    along = once["offset_m"].to_numpy(np.float64) - lixels.start_m[own]
    report_lixel = partner[placement.lixel]
    units = [(False, str(a)) for a in once["organismID"]]
    units += [(True, str(o).strip()) for o in sightings["recordedBy"]]
    kinds = [CROSSING] * len(once) + [_KINDS.get(str(v), OTHER) for v in sightings["vitality"]]
    xy = np.concatenate([
        shapely.get_coordinates(once.geometry.to_numpy()).reshape(-1, 2),
        shapely.get_coordinates(sightings.geometry.to_numpy()).reshape(-1, 2),
    ])  # fmt: skip
    return gather(
        strands,
        lixel=np.concatenate([home, report_lixel]),
        along_m=np.concatenate(
            [np.where(home == own, along, lixels.length_m[home] / 2),
             lixels.length_m[report_lixel] / 2]
        ),
        weight=np.concatenate([np.ones(len(once)), placement.weight]),
        event=np.concatenate([np.arange(len(once)), len(once) + placement.point]).astype(np.int64),
        event_unit=units,
        event_kind=np.array(kinds, np.int64),
        event_xy=xy,
        link_m=settings.link_m,
        window_m=settings.block_window_m,
    )  # fmt: skip


def _counted_once(network: Network, crossings: gpd.GeoDataFrame) -> np.ndarray:
    """Mark crossings to count: not a following carriageway's whose step met the leading one."""
    segment_id = network.segments["segment_id"].to_numpy()
    band_of = network.segments["band_of"].to_numpy()
    segment = crossings["segment"].to_numpy(np.int64)
    step = crossings["step"].to_numpy(np.int64)
    leads = set(zip(step, segment_id[segment], strict=True))
    return np.array(
        [
            not band_of[s] or band_of[s] == segment_id[s] or (t, band_of[s]) not in leads
            for t, s in zip(step, segment, strict=True)
        ],
        bool,
    )


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


def _ranked(
    network: Network,
    lixels: Lixels,
    partner: Ints,
    lines: np.ndarray,
    windows: Windows,
    counted: list[Tally],
    chance: Chance,
    stretch: Ints,
    places: Places,
    settings: HotspotsSection,
) -> gpd.GeoDataFrame:
    segments = network.segments
    ids = segments["segment_id"].to_numpy()
    off_ground = (segments["bridge"] | segments["tunnel"] | (segments["level"] != 0)).to_numpy()
    followed = np.unique(partner[partner != np.arange(len(partner))])
    degree = np.bincount(np.concatenate([network.edge_u, network.edge_v]))
    rows, shapes = [], []
    for rank, (first, last, one) in enumerate(
        zip(windows.first, windows.last, counted, strict=True), start=1
    ):
        edge, begin = int(lixels.edge[first]), float(lixels.start_m[first])
        end = float(lixels.end_m[last - 1])
        here = slice(first, last)
        place = places.describe(edge, begin, end)
        own = segments["edge"].to_numpy() == edge
        margin = settings.rank_window_m / 2
        touches = own & (segments["edge_to_m"] > begin - margin).to_numpy()
        touches &= (segments["edge_from_m"] < end + margin).to_numpy()
        length = float(network.edge_length_m[edge])
        near_junction = (begin < margin and degree[network.edge_u[edge]] > 2) or (
            length - end < margin and degree[network.edge_v[edge]] > 2
        )
        hints = what_to_look_at(
            one,
            near_junction=bool(near_junction),
            near_bridge=bool(off_ground[touches].any()),
            two_bands=bool(np.isin(np.arange(first, last), followed).any()),
            stands_out=bool((stretch[here] > 0).any()),
            short=end - begin < 0.9 * settings.rank_window_m,
        )
        rows.append({
            "rank": rank, "road": place.road, "route": place.route,
            "begin_measure": place.begin_measure, "end_measure": place.end_measure,
            "place": place.text, "length_m": end - begin, "crossings": one.crossings,
            "reports_alive": one.reports_alive, "reports_dead": one.reports_dead,
            "reports_other": one.reports_other, "animals": one.animals,
            "observers": one.observers, "evidence_per_km_year": one.value,
            "evidence_per_km_year_low": one.low, "evidence_per_km_year_high": one.high,
            "interval_note": one.note, "p_value": float(chance.p_value[here].min()),
            "stretch": int(stretch[here].max()), "look_at": hints,
            "segment_ids": " ".join(dict.fromkeys(ids[lixels.segment[here]])),
        })  # fmt: skip
        shapes.append(_joined(lines[here]))
    frame = {c: [row[c] for row in rows] for c in RANKED_COLUMNS}
    return gpd.GeoDataFrame(frame, geometry=shapes, crs=network.crs)


def _joined(lines: np.ndarray) -> shapely.LineString:
    """Join lines that follow one another into one."""
    xy = shapely.get_coordinates(lines)
    new = np.concatenate([[True], (xy[1:] != xy[:-1]).any(axis=1)])
    return shapely.LineString(xy[new])


RANKED_COLUMNS = (
    "rank", "road", "route", "begin_measure", "end_measure", "place", "length_m", "crossings",
    "reports_alive", "reports_dead", "reports_other", "animals", "observers",
    "evidence_per_km_year", "evidence_per_km_year_low", "evidence_per_km_year_high",
    "interval_note", "p_value", "stretch", "look_at", "segment_ids",
)  # fmt: skip


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
