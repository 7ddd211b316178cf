"""An agency's attributes carried over to the segments by geometry, and where they disagree."""

from __future__ import annotations

import re
from dataclasses import replace
from typing import TYPE_CHECKING, Any, NamedTuple

import numpy as np
import pandas as pd
import shapely
from numba import njit

from roadrisk.roads.beside import SAMPLE_M, lines_beside
from roadrisk.roads.columns import road_labels
from roadrisk.roads.middles import lengths_of
from roadrisk.roads.osm_tags import is_main

if TYPE_CHECKING:
    from collections.abc import Callable

    import geopandas as gpd
    from numpy.typing import NDArray

    from roadrisk.roads.beside import Beside
    from roadrisk.roads.network import Floats, Ints, Network

    Bools = NDArray[np.bool_]

_TEXTS = ("direction", "owner", "layer_date")
_NUMBERS = ("aadt", "aadt_year", "speed_limit_kmh")
_SHORT = {
    "street": "st", "road": "rd", "avenue": "ave", "drive": "dr", "lane": "ln", "highway": "hwy",
    "boulevard": "blvd", "court": "ct", "place": "pl", "parkway": "pkwy", "north": "n",
    "south": "s", "east": "e", "west": "w", "saint": "st",
}  # fmt: skip


def carry_over(
    network: Network, agency_lines: gpd.GeoDataFrame, match_within_m: float
) -> tuple[Network, pd.DataFrame]:
    """Give the segments the attributes of the agency lines that run along them.

    Each segment is sampled about every 10 m. A sample matches the nearest agency line within
    `match_within_m` whose direction there differs by at most 30 degrees. The line with most
    samples gives direction, owner, AADT and its year, speed limit and layer date, the route
    with most samples gives the route, if at least half of the samples matched. Measures are
    those of the first and last matching sample, by projection on the line, continued at the
    same rate to the segment's ends.

    Parameters
    ----------
    network : Network
        From OpenStreetMap; its geometry, names and classes stay. A missing name is filled.
    agency_lines : geopandas.GeoDataFrame
        Columns of `records.schemas.AGENCY_LINES`, in the network's CRS.
    match_within_m : float
        [m].

    Returns
    -------
    network : Network
    mismatches : pandas.DataFrame
        Columns segment_id, road, problem.
    """
    table = network.segments
    ours, theirs = _vertices(table), _vertices(agency_lines)
    beside = lines_beside(*ours, *theirs, match_within_m)
    carried = _carried(table, agency_lines, lengths_of(*theirs), beside)
    problems = [
        *_lines_without_road(agency_lines, lines_beside(*theirs, *ours, match_within_m),
                             match_within_m),
        *_roads_without_line(table, ours, carried, beside),
        *_other_names(table, agency_lines, carried),
        *_backwards(table, agency_lines, carried),
    ]  # fmt: skip
    filled = _filled(table, agency_lines, carried)
    found = pd.DataFrame(problems, columns=["segment_id", "road", "problem"])
    return replace(network, segments=filled), found


def _vertices(table: gpd.GeoDataFrame) -> tuple[Floats, Ints]:
    """Vertices of all lines, and where each line's begin."""
    shapes = shapely.force_2d(np.asarray(table.geometry.array, dtype=object))
    xy, of = shapely.get_coordinates(shapes, return_index=True)
    count = np.bincount(of, minlength=len(shapes))
    return xy, np.concatenate([[0], np.cumsum(count)]).astype(np.int64)


def _carried(
    table: gpd.GeoDataFrame, agency: gpd.GeoDataFrame, agency_length: Floats, beside: Beside
) -> pd.DataFrame:
    """One row a segment: agency row (-1 = none), route and measures."""
    code, routes = pd.factorize(agency["route"], sort=True)
    row, route, begin, end, turns = _carry(
        beside.first,
        2 * beside.hits >= beside.places,
        beside.at_m,
        beside.other,
        beside.other_m,
        code.astype(np.int64),
        agency["begin_measure"].to_numpy(np.float64),
        agency["end_measure"].to_numpy(np.float64),
        agency_length,
        table["length_m"].to_numpy(np.float64),
    )
    words = np.append(np.asarray(routes, dtype=object), "")
    return pd.DataFrame({
        "row": row, "route": words[route], "begin_measure": begin, "end_measure": end,
        "turns_back": turns,
    })  # fmt: skip


@njit(cache=True)
def _carry(
    first: Ints,
    enough: np.ndarray,
    at_m: Floats,
    other: Ints,
    other_m: Floats,
    route_of: Ints,
    begin_measure: Floats,
    end_measure: Floats,
    length: Floats,
    segment_length: Floats,
) -> tuple[Ints, Ints, Floats, Floats, np.ndarray]:
    segments = len(first) - 1
    row, route = np.full(segments, -1, np.int64), np.full(segments, -1, np.int64)
    begin, end = np.full(segments, np.nan), np.full(segments, np.nan)
    turns = np.zeros(segments, np.bool_)
    for k in range(segments):
        if not enough[k]:
            continue
        places = np.arange(first[k], first[k + 1])
        places = places[other[places] >= 0]
        line = other[places]
        row[k] = _most(np.sort(line))
        route[k] = _most(np.sort(route_of[line]))
        measure = begin_measure[line] + other_m[places] / length[line] * (
            end_measure[line] - begin_measure[line]
        )
        known = (route_of[line] == route[k]) & ~np.isnan(measure)
        at, measure = at_m[places[known]], measure[known]
        if len(at) and at[-1] > at[0]:
            rate = (measure[-1] - measure[0]) / (at[-1] - at[0])
            begin[k] = measure[0] - rate * at[0]
            end[k] = measure[-1] + rate * (segment_length[k] - at[-1])
            # Small steps back come from projection on bends; real ones are longer.
            for i in range(len(at) - 1):
                step = (measure[i + 1] - measure[i]) * np.sign(rate)
                turns[k] |= step < -abs(rate) * 3 * SAMPLE_M
    return row, route, begin, end, turns


@njit(cache=True)
def _most(values: Ints) -> int:
    """Return the value that is there most often; of equals the lowest. Takes sorted values."""
    best, most, since = values[0], 0, 0
    for i in range(len(values)):
        if values[i] != values[since]:
            since = i
        if i - since + 1 > most:
            best, most = values[i], i - since + 1
    return best


def _filled(
    table: gpd.GeoDataFrame, agency: gpd.GeoDataFrame, carried: pd.DataFrame
) -> gpd.GeoDataFrame:
    filled = table.copy()
    has = carried["row"].to_numpy() >= 0
    row = carried["row"].to_numpy()[has]
    for column in ("route", "begin_measure", "end_measure"):
        filled[column] = carried[column].to_numpy()
    for column in (*_TEXTS, *_NUMBERS, "lanes", "name"):
        own = filled[column].to_numpy(copy=True)
        given = agency[column].to_numpy()[row]
        take = given != "" if own.dtype == object else ~np.isnan(given.astype(np.float64))
        if column == "name":
            take &= own[has] == ""
        elif column == "lanes":
            take &= np.isnan(own[has])
        own[np.flatnonzero(has)[take]] = given[take]
        filled[column] = own
    filled["road"] = road_labels(filled)
    return filled


def _lines_without_road(
    agency: gpd.GeoDataFrame, beside: Beside, within_m: float
) -> list[tuple[str, str, str]]:
    hit, total = beside.hits, beside.places
    rows = np.flatnonzero(2 * hit < total)
    return [
        (
            "",
            line.label,
            f"agency line {line.words} has no road beside it "
            f"({100 * hit[k] / total[k]:.0f} % of its length within {within_m:g} m of a road)",
        )
        for k, line in zip(rows, _agency_lines(agency, rows), strict=True)
    ]


class _Line(NamedTuple):
    """An agency line in words."""

    name: str
    ref: str
    route: str
    begin_measure: float
    end_measure: float

    @property
    def label(self) -> str:
        return self.name or self.ref or self.route or "unnamed agency line"

    @property
    def words(self) -> str:
        words = f"of route {self.route}" if self.route else "without route"
        if not (np.isnan(self.begin_measure) or np.isnan(self.end_measure)):
            words += f" from {self.begin_measure:g} to {self.end_measure:g}"
        return words


def _agency_lines(agency: gpd.GeoDataFrame, rows: Ints) -> list[_Line]:
    columns = [agency[column].iloc[rows].tolist() for column in _Line._fields]
    return [_Line(*values) for values in zip(*columns, strict=True)]


def _roads_without_line(
    table: gpd.GeoDataFrame, ours: tuple[Floats, Ints], carried: pd.DataFrame, beside: Beside
) -> list[tuple[str, str, str]]:
    """Find main roads with no agency line where a neighbour of the same name has one."""
    none = (carried["row"] < 0).to_numpy()
    name = table["name"].where(table["name"] != "", table["ref"])
    main = _each(is_main, table["road_class"])
    xy, first = ours
    ends = np.concatenate([xy[first[:-1]], xy[first[1:] - 1]])
    place = np.unique(ends[:, 0] + 1j * ends[:, 1], return_inverse=True)[1]
    # A name at a place, as one number; the first half are the lines' begins.
    code, names = pd.factorize(name)
    there = (place * (len(names) + 1) + np.tile(code, 2)).reshape(2, -1)
    lonely = np.flatnonzero(none & (name != "").to_numpy() & main)
    lonely = lonely[np.isin(there[:, lonely], there[:, ~none]).any(axis=0)]
    words = (
        "no agency line runs along this road, though one runs along the next segment of its name"
    )
    share = 100 * beside.hits[lonely] / beside.places[lonely]
    return [
        (segment, road, f"{words} ({part:.0f} % matched)")
        for segment, road, part in zip(
            table["segment_id"].iloc[lonely], table["road"].iloc[lonely], share, strict=True
        )
    ]


def _each(rule: Callable[[str], bool], texts: pd.Series[Any]) -> Bools:
    code, words = pd.factorize(texts)
    return np.array([rule(str(word)) for word in words], dtype=bool)[code]


def _other_names(
    table: gpd.GeoDataFrame, agency: gpd.GeoDataFrame, carried: pd.DataFrame
) -> list[tuple[str, str, str]]:
    ids, roads = table["segment_id"].to_numpy(object), table["road"].to_numpy(object)
    has = np.flatnonzero(carried["row"] >= 0)
    row = carried["row"].to_numpy()[has]
    found = []
    for column, word in (("name", ""), ("ref", "ref ")):
        ours, theirs = table[column].to_numpy(object)[has], agency[column].to_numpy(object)[row]
        differ = np.flatnonzero((ours != "") & (theirs != "") & (ours != theirs))
        same: dict[tuple[str, str], bool] = {}
        for i in differ.tolist():
            own, line = ours[i], theirs[i]
            if (own, line) not in same:
                same[own, line] = bool(_plain(own) & _plain(line))
            if not same[own, line]:
                problem = f"the map says {word}{own!r} and the agency layer {line!r}"
                found.append((str(ids[has[i]]), str(roads[has[i]]), problem))
    return found


def _plain(text: str) -> set[str]:
    """Return the names in a text without case, punctuation and the usual short forms."""
    found = set()
    for part in text.casefold().split(";"):
        words = re.findall(r"\w+", part)
        found.add("".join(_SHORT.get(word, word) for word in words))
    return found


def _backwards(
    table: gpd.GeoDataFrame, agency: gpd.GeoDataFrame, carried: pd.DataFrame
) -> list[tuple[str, str, str]]:
    rows = np.flatnonzero(agency["begin_measure"] > agency["end_measure"])
    found = [
        ("", line.label, f"measures run backwards on the agency line {line.words}")
        for line in _agency_lines(agency, rows)
    ]
    back = carried["turns_back"].to_numpy()
    return found + [
        (segment, road, f"measures of route {route} turn back along this road")
        for segment, road, route in zip(
            table["segment_id"][back], table["road"][back], carried["route"][back], strict=True
        )
    ]
