"""Home ranges of tagged animals, and which roads cut them."""

from __future__ import annotations

import os
from concurrent.futures import ThreadPoolExecutor
from typing import TYPE_CHECKING

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from numpy.typing import NDArray

from roadrisk.base.crs import require_metric
from roadrisk.base.seeds import generator
from roadrisk.telemetry.kernel_range import Rule, area_factors, kernel_utilisation

if TYPE_CHECKING:
    from shapely.geometry.base import BaseGeometry

Floats = NDArray[np.float64]

LEAST_FIXES = 5
CLOSE_H = 2.0  # fixes closer than this tell nearly the same
FEW_FIXES = 30  # common practice: below it the area still grows with every fix
_HA = 10_000.0

COLUMNS = (
    "organismID", "fixes", "mcp100_ha", "mcp95_ha", "kernel95_ha", "kernel95_ha_low",
    "kernel95_ha_high", "kernel50_ha", "kernel50_ha_low", "kernel50_ha_high", "bandwidth_m",
    "bandwidth", "note", "geometry",
)  # fmt: skip


def minimum_convex_polygon(xy: Floats, percent: float = 100.0) -> BaseGeometry:
    """Return the smallest convex shape around an animal's fixes.

    Parameters
    ----------
    xy : ndarray, shape (fixes, 2)
        [m].
    percent : float
        100: all fixes. Less: the fixes farthest from the arithmetic mean of all fixes are
        dropped first, as many whole fixes as fit into 100 - `percent` percent; of equally far
        ones the later goes first. Dropping by distance from the median place would give
        another polygon.

    Returns
    -------
    shapely geometry
        A Polygon; a line or a point where the fixes that are kept lie on one.
    """
    dropped = int(np.floor(len(xy) * (100 - percent) / 100 + 1e-9))
    far = np.hypot(*(xy - xy.mean(axis=0)).T)
    kept = xy[np.argsort(far, kind="stable")[: len(xy) - dropped]]
    return shapely.MultiPoint(kept).convex_hull


def home_ranges(
    fixes: gpd.GeoDataFrame,
    *,
    seed: int,
    rule: Rule = "reference",
    level: float = 0.90,
    draws: int = 200,
) -> gpd.GeoDataFrame:
    """Home range of each animal: convex polygons, and a kernel with 50 and 95 % contours.

    Parameters
    ----------
    fixes : geopandas.GeoDataFrame
        Columns organismID, geometry (Point, projected [m]), and time if it is known. Rows
        without a position are passed over.
    seed : int
        The study's seed.
    rule : {"reference", "least squares"}
        Bandwidth of the kernel; see `kernel_range.kernel_utilisation`.
    level : float
        Coverage of the intervals, two-sided.
    draws : int
        Resamples of the fixes.

    Returns
    -------
    geopandas.GeoDataFrame
        One row an animal, by organismID. Columns: organismID, fixes, mcp100_ha, mcp95_ha,
        kernel95_ha and kernel50_ha with _low and _high [ha], bandwidth_m [m], bandwidth (by
        what rule), note (why the area is not to be trusted, or empty), geometry (MultiPolygon
        that holds 95 % of the use, in the fixes' system). Below 5 fixes, or with all fixes at
        one place: NaN, an empty geometry, and the reason in the note.

    Raises
    ------
    CoordinateSystemError
        If the fixes are not in a projected system in metres.

    Notes
    -----
    The interval is a bootstrap over fixes (`kernel_range.area_factors`): how far the area
    depends on which fixes there happened to be. In simulations with 20 to 120 independent
    fixes (round, skewed, two patches) intervals for 90 % held the expected area in 77 to 95 %
    of cases: they are a little narrow. Fixes a few hours apart are not independent, and there
    they are much too narrow. The interval doesn't hold the kernel's own widening: for a round
    normal range the reference bandwidth makes the expected area larger by the share
    n^(-1/3), a third at 30 fixes. Errors of the fixes widen a range too and are not taken out.
    """
    crs = require_metric(fixes.crs)
    placed = fixes[~(fixes.geometry.is_empty | fixes.geometry.isna())]
    # An animal without any position still has a row, so that nobody gets lost.
    animals = sorted(fixes["organismID"].unique())

    def row_of(animal: str) -> dict[str, object]:
        some = placed[placed["organismID"] == animal]
        xy = shapely.get_coordinates(some.geometry.to_numpy())
        rng = generator(seed, f"telemetry.home_ranges.{animal}")
        row = _range_of(xy, rule, level, draws, rng)
        if close := _close_steps(some):
            said = f"{close} steps of {CLOSE_H:g} h or less: the intervals are too narrow"
            row["note"] = "; ".join(filter(None, [str(row["note"]), said]))
        return {"organismID": animal, **row}

    with ThreadPoolExecutor(os.cpu_count() or 1) as pool:
        rows = list(pool.map(row_of, animals))
    table = pd.DataFrame(rows, columns=list(COLUMNS))
    return gpd.GeoDataFrame(table, geometry="geometry", crs=crs)


def _close_steps(fixes: gpd.GeoDataFrame) -> int:
    if "time" not in fixes:
        return 0
    lag = fixes["time"].sort_values().diff().dt.total_seconds() / 3600
    return int((lag <= CLOSE_H).sum())


def roads_cut(ranges: gpd.GeoDataFrame, segments: gpd.GeoDataFrame) -> pd.DataFrame:
    """Which roads run through which home range.

    Parameters
    ----------
    ranges : geopandas.GeoDataFrame
        Of `home_ranges`.
    segments : geopandas.GeoDataFrame
        Of `Network.segments`, in the same system. Bridges, tunnels and other levels are
        passed over: they cut nothing on the ground.

    Returns
    -------
    pandas.DataFrame
        One row a pair of animal and segment, by organismID and segment. Columns: organismID,
        segment (row of `segments`), segment_id, road, metres_inside [m], above 0. A road that
        only touches a range is no pair.
    """
    off = (segments["level"] != 0) | segments["bridge"] | segments["tunnel"]
    ground = np.flatnonzero(~off.to_numpy(bool))
    lines = segments.geometry.to_numpy()[ground]
    shapes = ranges.geometry.to_numpy()
    row, hit = shapely.STRtree(lines).query(shapes, predicate="intersects")
    inside = shapely.length(shapely.intersection(shapes[row], lines[hit]))
    segment = ground[hit]
    table = pd.DataFrame(
        {
            "organismID": ranges["organismID"].to_numpy()[row],
            "segment": segment,
            "segment_id": segments["segment_id"].to_numpy()[segment],
            "road": segments["road"].to_numpy()[segment],
            "metres_inside": inside,
        }
    )
    kept = table[table["metres_inside"] > 0]
    return kept.sort_values(["organismID", "segment"]).reset_index(drop=True)


def _range_of(
    xy: Floats, rule: Rule, level: float, draws: int, rng: np.random.Generator
) -> dict[str, object]:
    blank = dict.fromkeys((c for c in COLUMNS if "_ha" in c or c == "bandwidth_m"), np.nan)
    none = {"fixes": len(xy), **blank, "bandwidth": "", "geometry": shapely.MultiPolygon()}
    if len(xy) < LEAST_FIXES:
        return {**none, "note": f"fewer than {LEAST_FIXES} fixes: no home range"}
    if (xy == xy[0]).all():
        return {**none, "note": "all fixes lie at one place: no home range"}
    use = kernel_utilisation(xy, rule=rule)
    outline, core = use.outline(95), use.outline(50)
    whole_factors, core_factors = area_factors(use, (95.0, 50.0), rng, level=level, draws=draws)
    notes = []
    if len(xy) < FEW_FIXES:
        notes.append(
            f"{len(xy)} fixes: below about {FEW_FIXES} the area still grows with every fix "
            "(common practice)"
        )
    if "no minimum" in use.rule:
        notes.append("least-squares cross-validation has no minimum: reference bandwidth taken")
    return {
        "fixes": len(xy),
        "mcp100_ha": minimum_convex_polygon(xy).area / _HA,
        "mcp95_ha": minimum_convex_polygon(xy, 95).area / _HA,
        "kernel95_ha": outline.area / _HA,
        "kernel95_ha_low": outline.area * whole_factors[0] / _HA,
        "kernel95_ha_high": outline.area * whole_factors[1] / _HA,
        "kernel50_ha": core.area / _HA,
        "kernel50_ha_low": core.area * core_factors[0] / _HA,
        "kernel50_ha_high": core.area * core_factors[1] / _HA,
        "bandwidth_m": use.sd_m,
        "bandwidth": use.rule,
        "note": "; ".join(notes),
        "geometry": outline,
    }
