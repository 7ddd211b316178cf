"""From route and measure, as agencies say it, to coordinates."""

from __future__ import annotations

import difflib
from typing import TYPE_CHECKING

import numpy as np
import shapely

from roadrisk.errors import Remark

if TYPE_CHECKING:
    import geopandas as gpd

    from roadrisk.roads.network import Ints

SIDE_M = 3.0
_SIDES = {"l": 1.0, "left": 1.0, "r": -1.0, "right": -1.0}


def coordinates_of(
    points: gpd.GeoDataFrame, agency_lines: gpd.GeoDataFrame | None
) -> tuple[gpd.GeoDataFrame, tuple[Remark, ...]]:
    """Place the records that give route and measure instead of coordinates.

    A line's measures run evenly along it. A side (L, R, left, right, looking along growing
    measures) moves the place 3 m off the line.

    Parameters
    ----------
    points : geopandas.GeoDataFrame
        Columns source_file, source_row, route, route_measure, side and geometry, empty where
        there were no coordinates; the records' id in occurrenceID or organismID.
    agency_lines : geopandas.GeoDataFrame or None
        Columns route, begin_measure, end_measure and geometry, in the same CRS.

    Returns
    -------
    points : geopandas.GeoDataFrame
        The same rows; those that could be placed have a point.
    remarks : tuple of Remark
        One for each record that could not, kind "left out".
    """
    shapes = points.geometry.to_numpy()
    missing = shapely.is_missing(shapes) | shapely.is_empty(shapes)
    wanted = np.flatnonzero(missing & (points["route"] != "").to_numpy())
    if not len(wanted):
        return points, ()
    rows = {} if agency_lines is None else lines_by_route(agency_lines)
    filled, remarks = shapes.copy(), []
    for k in wanted.tolist():
        record = points.iloc[k]
        measure = float(record["route_measure"])
        here = rows.get(plain_route(record["route"]))
        if here is None or agency_lines is None:
            problem = f"there is no route {record['route']!r} in the agency layer."
            remarks.append(_remark(record, "route", problem, _near(record["route"], agency_lines)))
            continue
        begin = agency_lines["begin_measure"].to_numpy(np.float64)[here]
        end = agency_lines["end_measure"].to_numpy(np.float64)[here]
        with np.errstate(invalid="ignore"):
            inside = _holds(begin, end, measure)
        if not inside.any():
            low, high = np.fmin(begin, end).min(), np.fmax(begin, end).max()
            problem = (
                f"route {record['route']} has no measure {measure:g}; it runs "
                f"from {low:g} to {high:g}."
            )
            remarks.append(_remark(record, "route_measure", problem, "correct the measure"))
            continue
        line = int(np.flatnonzero(inside)[0])
        share = (measure - begin[line]) / (end[line] - begin[line])
        side = _SIDES.get(str(record["side"]).strip().casefold(), 0.0)
        forward = 1.0 if end[line] >= begin[line] else -1.0
        shape = agency_lines.geometry.iloc[int(here[line])]
        filled[k] = _beside(shape, float(np.clip(share, 0.0, 1.0)), side * forward)
    return points.set_geometry(type(points.geometry.array)(filled, crs=points.crs)), tuple(remarks)


def lines_by_route(agency_lines: gpd.GeoDataFrame) -> dict[str, Ints]:
    """Return the rows of each route's lines, by `plain_route`.

    Parameters
    ----------
    agency_lines : geopandas.GeoDataFrame

    Returns
    -------
    dict of str to ndarray of int64
    """
    groups: dict[str, list[int]] = {}
    for row, route in enumerate(agency_lines["route"]):
        if route:
            groups.setdefault(plain_route(route), []).append(row)
    return {route: np.array(rows, dtype=np.int64) for route, rows in groups.items()}


def plain_route(route: str) -> str:
    """Return a route's name for comparison: no blanks, upper and lower case the same."""
    return "".join(str(route).split()).casefold()


def _holds(begin: np.ndarray, end: np.ndarray, measure: float) -> np.ndarray:
    """Whether lines hold a measure; a line without length in measures holds none."""
    slack = 1e-6 * max(1.0, abs(measure))
    low, high = np.minimum(begin, end) - slack, np.maximum(begin, end) + slack
    return np.asarray((low <= measure) & (measure <= high) & (begin != end))


def _beside(line: shapely.LineString, share: float, left: float) -> shapely.Point:
    along = share * line.length
    place = line.interpolate(along)
    if left == 0.0:
        return place
    a, b = line.interpolate(max(along - 1.0, 0.0)), line.interpolate(min(along + 1.0, line.length))
    length = np.hypot(b.x - a.x, b.y - a.y)
    if length == 0.0:
        return place
    dx, dy = (b.x - a.x) / length, (b.y - a.y) / length
    return shapely.Point(place.x - left * SIDE_M * dy, place.y + left * SIDE_M * dx)


def _near(route: str, agency_lines: gpd.GeoDataFrame | None) -> str:
    if agency_lines is None:
        return "name an agency layer with routes and measures under [roads.agency]"
    known = sorted({str(r) for r in agency_lines["route"] if r})
    near = difflib.get_close_matches(str(route), known, 1, cutoff=0.3)
    return f"did you mean {near[0]!r}?" if near else "give coordinates instead"


def _remark(record: gpd.GeoSeries, column: str, problem: str, mend: str) -> Remark:
    ids = [str(record[c]) for c in ("occurrenceID", "organismID") if c in record.index]
    return Remark(
        str(record["source_file"]),
        int(record["source_row"]),
        column,
        problem,
        mend,
        "left out",
        ids[0] if ids else "",
    )
