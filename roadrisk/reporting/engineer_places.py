"""Places as an engineer gives them: route and measures, or chainage from a named junction."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np
import pandas as pd
import shapely

from roadrisk.base.crs import WGS84
from roadrisk.base.units import M_PER_FOOT, M_PER_MILE
from roadrisk.reporting.csv_text import plain_text

if TYPE_CHECKING:
    from collections.abc import Mapping

    import geopandas as gpd

    from roadrisk.study import Study

COLUMNS = (
    "where", "begin_where", "end_where", "side", "begin_latitude", "begin_longitude",
    "end_latitude", "end_longitude",
)  # fmt: skip
BOTH_SIDES = "both sides"
_M_PER = {"km": 1000.0, "m": 1.0, "mi": M_PER_MILE, "ft": M_PER_FOOT}
# Measures are written to 10 m or to a hundredth of a mile, in the system the agency counts in.
_SAID_IN = {"km": ("km", 1000.0), "m": ("km", 1000.0), "mi": ("mile", M_PER_MILE),
            "ft": ("mile", M_PER_MILE)}  # fmt: skip


class _Words(NamedTuple):
    where: str
    begin: str
    end: str


def engineer_places(study: Study, table: gpd.GeoDataFrame) -> pd.DataFrame:
    """Return where things lie, in words and coordinates.

    Where the agency's layer has measures: its route with measures to 0.01 km (10 m) or 0.01 mile,
    kilometres where the layer counts in km or m and miles where it counts in mi or ft, in a study
    of either unit, since that is what stands on the posts. Elsewhere distances from the nearest
    named junction, as `roads.places.Places` gives them: metric or US customary as the study is.

    Parameters
    ----------
    study : Study
    table : geopandas.GeoDataFrame
        `Findings.ranked`, `Findings.stretches`, or `chosen` or `signs` of `MeasureTables`.

    Returns
    -------
    pandas.DataFrame
        A row each, with the table's index. Columns: where (all of it), begin_where, end_where,
        side ("both sides" of what lies along the road; of a sign its own side, looking along
        rising measures or as the traffic goes that reads it), begin_latitude, begin_longitude,
        end_latitude, end_longitude (WGS 84, 6 decimals). A sign has no end; nor has a stretch
        whose ends were not found a begin or an end.
    """
    agency = study.settings.roads.agency
    unit = agency.measure_unit if agency else "km"
    rows = table.drop(columns="geometry").to_dict("records")
    lone = "sign" in table
    said = [_of_point(row, unit) if lone else _of_length(row, unit) for row in rows]
    columns: dict[str, Any] = {
        "where": [words.where for words in said],
        "begin_where": [words.begin for words in said],
        "end_where": [words.end for words in said],
        "side": [plain_text(row["side"]) if lone else BOTH_SIDES for row in rows],
    }
    ends = _ends(table)
    for k, name in enumerate(COLUMNS[4:]):
        columns[name] = ends[:, k]
    return pd.DataFrame(columns, index=table.index, columns=list(COLUMNS))


def measure_words(route: str, begin: float, end: float, unit: str) -> str:
    """Return a route with one measure or two: "Q7, km 1.22 to 1.32"; "" without.

    Parameters
    ----------
    route : str
    begin, end : float
        Measures in the agency's unit; `end` NaN for a single place.
    unit : {"km", "m", "mi", "ft"}
        The agency's.

    Returns
    -------
    str
    """
    if not route or not np.isfinite(begin):
        return ""
    word, length = _SAID_IN[unit]
    first, last = (_hundredths(x * _M_PER[unit] / length) for x in (begin, end))
    return f"{route}, {word} {first}" + (f" to {last}" if last else "")


def _hundredths(value: float) -> str:
    # + 0.0 makes zero of minus zero.
    return f"{round(value, 2) + 0.0:.2f}" if np.isfinite(value) else ""


def _of_point(row: Mapping[Any, Any], unit: str) -> _Words:
    road, route = plain_text(row["road"]), plain_text(row["route"])
    measured = _with_road(measure_words(route, _number(row["route_measure"]), np.nan, unit), road)
    where = measured or _chainage(row["place"], road)
    return _Words(where, where, "")


def _of_length(row: Mapping[Any, Any], unit: str) -> _Words:
    road, route = plain_text(row["road"]), plain_text(row["route"])
    begin, end = _number(row["begin_measure"]), _number(row["end_measure"])
    if measure_words(route, begin, end, unit) and np.isfinite(end):
        pairs = ((begin, end), (begin, np.nan), (end, np.nan))
        return _Words(*(_with_road(measure_words(route, *pair, unit), road) for pair in pairs))
    first, last = (plain_text(row[f"{end}_place"]) for end in ("begin", "end"))
    if "place" in row:
        where = _chainage(row["place"], road)
    elif first and last:
        where = _chainage(_joined(first, last, road), road)
    else:
        note = plain_text(row.get("ends_note"))
        where = f"{road}: {note}" if note else road
    return _Words(where, *(_chainage(words, road) if words else "" for words in (first, last)))


def _joined(first: str, last: str, road: str) -> str:
    """Return both ends in one: the junction is named once where both are told from it."""
    one, other = (words.removesuffix(f", on {road}") for words in (first, last))
    far, _, junction = one.partition(" of the junction with ")
    other_far, _, other_junction = other.partition(" of the junction with ")
    if junction and junction == other_junction:
        (near, _, way), (far_end, _, other_way) = far.rpartition(" "), other_far.rpartition(" ")
        here = f"{near} to {far_end} {way}" if way == other_way else f"{far} to {other_far}"
        return f"from {here} of the junction with {junction}"
    return f"from {one} to {other}"


def _chainage(words: object, road: str) -> str:
    """Return words of `Places` with the road in front, as a place is given along a road."""
    said = plain_text(words)
    if said.endswith(f", on an {road}"):
        place = said.removesuffix(f", on an {road}")
    else:
        place = said.removesuffix(f", on {road}")
    place = place.removeprefix("from ").removeprefix("at ")
    return f"{road}, {place}" if road and place else road or place


def _with_road(measured: str, road: str) -> str:
    if not measured or not road or measured.startswith(f"{road},"):
        return measured
    return f"{measured} ({road})"


def _ends(table: gpd.GeoDataFrame) -> np.ndarray[Any, np.dtype[np.float64]]:
    """Return latitude and longitude of begin and end, NaN where there is none."""
    out = np.full((len(table), 4), np.nan)
    if "begin_x_m" in table:
        names = ("begin_x_m", "begin_y_m", "end_x_m", "end_y_m")
        xy = table[list(names)].to_numpy(np.float64).reshape(-1, 2)
    else:
        xy = _line_ends(table)
    known = np.isfinite(xy).all(axis=1)
    points = shapely.points(xy[known])
    degrees = shapely.get_coordinates(_in_wgs84(table, points))
    out.reshape(-1, 2)[known] = np.round(degrees[:, ::-1], 6)
    return out


def _line_ends(table: gpd.GeoDataFrame) -> np.ndarray[Any, np.dtype[np.float64]]:
    xy = np.full((len(table), 2, 2), np.nan)
    for k, shape in enumerate(table.geometry):
        at = shapely.get_coordinates(shape)
        xy[k, 0] = at[0]
        if len(at) > 1:
            xy[k, 1] = at[-1]
    return xy.reshape(-1, 2)


def _in_wgs84(table: gpd.GeoDataFrame, points: Any) -> Any:
    return type(table.geometry)(points, crs=table.crs).to_crs(WGS84).to_numpy()


def _number(value: object) -> float:
    return float(pd.to_numeric(pd.Series([value])).astype("float64").iloc[0])
