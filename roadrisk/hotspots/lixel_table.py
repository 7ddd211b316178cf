"""The table of lixels that findings hold: densities, chance, stretch."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import geopandas as gpd
import numpy as np

from roadrisk.hotspots.appendix import MOST_PIECES
from roadrisk.hotspots.events import ALIVE, CROSSING, DEAD, OTHER
from roadrisk.hotspots.path_kernel import spread_events
from roadrisk.hotspots.tiled_kernel import TiledKernel

if TYPE_CHECKING:
    from roadrisk.hotspots.chance import Chance
    from roadrisk.hotspots.events import Events
    from roadrisk.hotspots.path_kernel import LixelKernel
    from roadrisk.hotspots.ranking import Windows
    from roadrisk.roads.lixel_lines import LixelLines
    from roadrisk.roads.network import Floats, Ints, Lixels, Network

# So many lixels are written at most, in a study that is made in tiles.
MOST_WRITTEN = 500_000
COLUMNS = (
    "density_per_km_year", "density_crossings", "density_reports", "density_alive",
    "density_dead",
)  # fmt: skip


def densities(
    kernel: LixelKernel, events: Events, lixels: Lixels, partner: Ints, years: float
) -> dict[str, Floats]:
    """Spread crossings and reports along the roads.

    Parameters
    ----------
    kernel : scipy.sparse.csr_array, PathKernel or TiledKernel
        On `lixels`.
    events : Events
    lixels : Lixels
    partner : ndarray of int64, shape (lixels,)
        The lixel on which events are counted.
    years : float
        Length of the study [years].

    Returns
    -------
    dict of str to ndarray, shape (lixels,)
        `COLUMNS` [per km and year]; float32 with a tiled kernel.
    """
    crossing = events.kind == CROSSING
    if isinstance(kernel, TiledKernel):
        return _in_tiles(kernel, events, lixels, partner, years)

    def density(keep: np.ndarray) -> Floats:
        mass = np.bincount(events.lixel[keep], events.weight[keep], minlength=len(lixels))
        per_m = spread_events(kernel, mass.astype(np.float64)) / lixels.length_m
        return np.asarray((np.maximum(per_m, 0.0) * 1000 / years)[partner])

    kept = (np.ones(len(crossing), bool), crossing, ~crossing, events.kind == ALIVE,
            events.kind == DEAD)  # fmt: skip
    return {name: density(keep) for name, keep in zip(COLUMNS, kept, strict=True)}


def _in_tiles(
    kernel: TiledKernel, events: Events, lixels: Lixels, partner: Ints, years: float
) -> dict[str, Floats]:
    """Each kind once; sums of kinds are added up."""
    kinds = (CROSSING, ALIVE, DEAD, OTHER)
    masses = np.zeros((len(kinds), len(lixels)), np.float32)
    for row, kind in enumerate(kinds):
        keep = events.kind == kind
        np.add.at(masses[row], events.lixel[keep], events.weight[keep])
    spread: Any = kernel.spread(masses)
    spread /= lixels.length_m.astype(np.float32)
    spread *= np.float32(1000 / years)
    np.maximum(spread, 0.0, out=spread)
    if (partner != np.arange(len(partner))).any():
        spread = spread[:, partner]
    reports = spread[1] + spread[2] + spread[3]
    values = (spread[0] + reports, spread[0], reports, spread[1], spread[2])
    return dict(zip(COLUMNS, values, strict=True))


def lixel_table(
    network: Network,
    lixels: Lixels,
    partner: Ints,
    lines: np.ndarray | LixelLines,
    density: dict[str, Floats],
    chance: Chance,
    stretch: Ints,
    rows: Ints,
) -> gpd.GeoDataFrame:
    """Tabulate lixels as `Findings.lixels` but for deaths.

    Parameters
    ----------
    network : Network
    lixels : Lixels
    partner : ndarray of int64, shape (lixels,)
    lines : ndarray of LineString, shape (lixels,), or LixelLines
    density : dict
        Of `densities`.
    chance : Chance
    stretch : ndarray of int64, shape (lixels,)
    rows : ndarray of int64
        Those that are written.

    Returns
    -------
    geopandas.GeoDataFrame
    """
    other = partner[rows]
    return gpd.GeoDataFrame(
        {
            "segment_id": network.segments["segment_id"].to_numpy()[lixels.segment[rows]],
            "edge": lixels.edge[rows],
            "start_m": lixels.start_m[rows],
            "end_m": lixels.end_m[rows],
            **{name: np.asarray(density[name][rows], np.float64) for name in COLUMNS},
            "statistic": chance.statistic[other],
            "p_value": chance.p_value[other],
            "stretch": stretch[other],
        },
        geometry=lines[rows],
        crs=network.crs,
    )


def rows_to_write(
    lixels: Lixels, density: Floats, deaths: Floats | None, stretch: Ints, windows: Windows
) -> tuple[Ints, str]:
    """Choose the lixels that are written where all would be too many.

    Parameters
    ----------
    lixels : Lixels
    density : ndarray, shape (lixels,)
        Of all evidence.
    deaths : ndarray, shape (lixels,), or None
        Expected deaths, on any scale.
    stretch : ndarray of int64, shape (lixels,)
    windows : Windows
        Of the ranked list.

    Returns
    -------
    rows : ndarray of int64
        Rising; roads between junctions whole.
    words : str
        What was left out, or "".
    """
    if len(lixels) <= MOST_WRITTEN:
        return np.arange(len(lixels)), ""
    begin = lixels.first[:-1]
    first = _order(np.maximum.reduceat(density, begin))
    if deaths is not None:
        first = np.minimum(first, _order(np.maximum.reduceat(deaths, begin)))
    named = np.concatenate([lixels.edge[stretch > 0], lixels.edge[windows.first]])
    first[np.unique(named)] = -1
    order = np.argsort(first, kind="stable")
    size = np.diff(lixels.first)[order]
    many = int(np.searchsorted(np.cumsum(size), MOST_WRITTEN, side="right"))
    edge = np.sort(order[: max(many, int((first < 0).sum()))])
    kept = np.zeros(len(begin), np.bool_)
    kept[edge] = True
    rows = np.flatnonzero(kept[lixels.edge])
    words = (
        f"Of {len(lixels):,} pieces of road the {len(rows):,} with most evidence or deaths are "
        "written and drawn as pieces, whole roads between junctions, those of every stretch and "
        "of the list among them; the others are in the tables of segments. Gi* is listed for the "
        f"{MOST_PIECES:,} pieces with most evidence."
    )
    return rows, words


def _order(value: Floats) -> Ints:
    out = np.empty(len(value), np.int64)
    out[np.argsort(-value, kind="stable")] = np.arange(len(value))
    return out
