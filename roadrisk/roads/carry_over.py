"""An agency's attributes carried over to the segments by geometry, and where they disagree."""

from __future__ import annotations

import re
from dataclasses import replace
from itertools import pairwise
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd
import shapely

from roadrisk.roads.columns import road_labels
from roadrisk.roads.osm_tags import is_main

if TYPE_CHECKING:
    import geopandas as gpd

    from roadrisk.roads.network import Floats, Ints, Network

SAMPLE_M = 10.0
BEARING_DEG = 30.0
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
    lines = np.asarray(agency_lines.geometry.array, dtype=object)
    samples = _samples(np.asarray(table.geometry.array, dtype=object))
    matched = _matched(samples, lines, match_within_m)
    carried = _carried(table, agency_lines, samples, matched)
    problems = [
        *_lines_without_road(agency_lines, table, match_within_m),
        *_roads_without_line(table, carried, matched, samples),
        *_other_names(table, agency_lines, carried),
        *_backwards(table, agency_lines, carried),
    ]
    filled = _filled(table, agency_lines, carried)
    found = pd.DataFrame(problems, columns=["segment_id", "road", "problem"])
    return replace(network, segments=filled), found


def _samples(lines: np.ndarray) -> pd.DataFrame:
    """Places along each line: both ends and about every 10 m; heading there [degrees]."""
    length = shapely.length(lines)
    count = np.maximum(3, np.ceil(length / SAMPLE_M).astype(np.int64) + 1)
    of = np.repeat(np.arange(len(lines)), count)
    within = np.arange(len(of)) - np.repeat(np.cumsum(count) - count, count)
    along = within / (count[of] - 1) * length[of]
    points = shapely.line_interpolate_point(lines[of], along)
    return pd.DataFrame(
        {"of": of, "along": along, "point": points, "heading": headings(lines[of], along)}
    )


def headings(lines: np.ndarray, along: Floats) -> Floats:
    """Return the direction of lines at places along them, over 4 m.

    Parameters
    ----------
    lines : array of shapely LineStrings, shape (n,)
    along : ndarray, shape (n,)
        [m].

    Returns
    -------
    ndarray, shape (n,)
        [degrees], counterclockwise from the x axis.
    """
    length = shapely.length(lines)
    a = shapely.line_interpolate_point(lines, np.maximum(along - 2.0, 0.0))
    b = shapely.line_interpolate_point(lines, np.minimum(along + 2.0, length))
    step = shapely.get_coordinates(b) - shapely.get_coordinates(a)
    return np.asarray(np.degrees(np.arctan2(step[:, 1], step[:, 0])))


def _matched(samples: pd.DataFrame, lines: np.ndarray, within_m: float) -> pd.DataFrame:
    """For each sample that has one, the nearest line of its direction: sample, line, along."""
    tree = shapely.STRtree(lines)
    points = samples["point"].to_numpy(object)
    sample, line = tree.query(points, predicate="dwithin", distance=within_m)
    along = shapely.line_locate_point(lines[line], points[sample])
    turn = headings(lines[line], along) - samples["heading"].to_numpy()[sample]
    turn = np.abs((turn + 90.0) % 180.0 - 90.0)
    near = np.round(shapely.distance(lines[line], points[sample]), 3)
    found = pd.DataFrame({"sample": sample, "line": line, "along": along, "near": near})
    found = found[turn <= BEARING_DEG].sort_values(["sample", "near", "line"])
    nearest: pd.DataFrame = found.drop_duplicates("sample").reset_index(drop=True)
    return nearest


def _carried(
    table: gpd.GeoDataFrame,
    agency: gpd.GeoDataFrame,
    samples: pd.DataFrame,
    matched: pd.DataFrame,
) -> pd.DataFrame:
    """One row a segment: agency row (-1 = none), route and measures."""
    of = samples["of"].to_numpy()[matched["sample"]]
    total = np.bincount(samples["of"], minlength=len(table))
    enough = 2 * np.bincount(of, minlength=len(table)) >= total
    hits = matched.assign(
        of=of,
        at=samples["along"].to_numpy()[matched["sample"]],
        route=agency["route"].to_numpy(object)[matched["line"]],
        measure=_measures(agency, matched["line"].to_numpy(), matched["along"].to_numpy()),
    )
    hits = hits[enough[of]]
    out = pd.DataFrame({"row": np.full(len(table), -1), "route": ""}, index=range(len(table)))
    length = table["length_m"].to_numpy(np.float64)
    begin, end = np.full(len(table), np.nan), np.full(len(table), np.nan)
    turns = np.zeros(len(table), dtype=bool)
    row, route = _most(hits, "line"), _most(hits, "route")
    out.loc[row.index, "row"] = row.to_numpy()
    out.loc[route.index, "route"] = route.to_numpy()
    hits = hits[(hits["route"] == out["route"].to_numpy()[hits["of"]]) & hits["measure"].notna()]
    first = np.flatnonzero(np.diff(hits["of"].to_numpy(), prepend=-1))
    all_at, all_measures = hits["at"].to_numpy(), hits["measure"].to_numpy()
    bounds = np.append(first, len(hits)).tolist()
    for low, high in pairwise(bounds):
        k, at, measure = hits["of"].to_numpy()[low], all_at[low:high], all_measures[low:high]
        if at[-1] > at[0]:
            rate = (measure[-1] - measure[0]) / (at[-1] - at[0])
            begin[k] = measure[0] - rate * at[0]
            end[k] = measure[-1] + rate * (length[k] - at[-1])
            # Small steps back come from projection on bends; real ones are longer.
            back = np.diff(measure) * np.sign(rate) < -abs(rate) * 3 * SAMPLE_M
            turns[k] = back.any()
    return out.assign(begin_measure=begin, end_measure=end, turns_back=turns)


def _measures(agency: gpd.GeoDataFrame, line: Ints, along: Floats) -> Floats:
    begin = agency["begin_measure"].to_numpy(np.float64)[line]
    end = agency["end_measure"].to_numpy(np.float64)[line]
    length = shapely.length(np.asarray(agency.geometry.array, dtype=object))[line]
    return np.asarray(begin + along / length * (end - begin))


def _most(hits: pd.DataFrame, column: str) -> pd.Series[Any]:
    """For each segment the value with most samples; of equals the lowest."""
    count = hits.groupby(["of", column]).size().rename("n").reset_index()
    count = count.sort_values(["of", "n", column], ascending=[True, False, True])
    return count.drop_duplicates("of").set_index("of")[column]


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
    agency: gpd.GeoDataFrame, table: gpd.GeoDataFrame, within_m: float
) -> list[tuple[str, str, str]]:
    samples = _samples(np.asarray(agency.geometry.array, dtype=object))
    matched = _matched(samples, np.asarray(table.geometry.array, dtype=object), within_m)
    of = samples["of"].to_numpy()
    total = np.bincount(of, minlength=len(agency))
    hit = np.bincount(of[matched["sample"]], minlength=len(agency))
    found = []
    for k in np.flatnonzero(2 * hit < total):
        line = agency.iloc[int(k)]
        share = 100 * hit[k] / total[k]
        found.append(
            (
                "",
                line["name"] or line["ref"] or line["route"] or "unnamed agency line",
                f"agency line {_route_words(line)} has no road beside it "
                f"({share:.0f} % of its length within {within_m:g} m of a road)",
            )
        )
    return found


def _route_words(line: pd.Series[Any]) -> str:
    words = f"of route {line['route']}" if line["route"] else "without route"
    if not (pd.isna(line["begin_measure"]) or pd.isna(line["end_measure"])):
        words += f" from {line['begin_measure']:g} to {line['end_measure']:g}"
    return words


def _roads_without_line(
    table: gpd.GeoDataFrame, carried: pd.DataFrame, matched: pd.DataFrame, samples: pd.DataFrame
) -> list[tuple[str, str, str]]:
    """Find main roads with no agency line where a neighbour of the same name has one."""
    none = (carried["row"] < 0).to_numpy()
    name = table["name"].where(table["name"] != "", table["ref"]).to_numpy(object)
    ends = [
        {(name[k], line.coords[0]), (name[k], line.coords[-1])}
        for k, line in enumerate(table.geometry)
    ]
    has = set().union(*(ends[k] for k in np.flatnonzero(~none)))
    hit = np.bincount(samples["of"].to_numpy()[matched["sample"]], minlength=len(table))
    total = np.bincount(samples["of"], minlength=len(table))
    words = (
        "no agency line runs along this road, though one runs along the next segment of its name"
    )
    return [
        (
            table["segment_id"].iloc[k],
            table["road"].iloc[k],
            f"{words} ({100 * hit[k] / total[k]:.0f} % matched)",
        )
        for k in np.flatnonzero(none & (name != ""))
        if ends[k] & has and is_main(table["road_class"].iloc[k])
    ]


def _other_names(
    table: gpd.GeoDataFrame, agency: gpd.GeoDataFrame, carried: pd.DataFrame
) -> list[tuple[str, str, str]]:
    ids, roads = table["segment_id"].to_numpy(object), table["road"].to_numpy(object)
    has = np.flatnonzero(carried["row"] >= 0)
    row = carried["row"].to_numpy()[has]
    found = []
    for column, word in (("name", ""), ("ref", "ref ")):
        ours, theirs = table[column].to_numpy(object)[has], agency[column].to_numpy(object)[row]
        for k, own, line in zip(has.tolist(), ours, theirs, strict=True):
            if own and line and not _plain(own) & _plain(line):
                problem = f"the map says {word}{own!r} and the agency layer {line!r}"
                found.append((str(ids[k]), str(roads[k]), problem))
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
    found = []
    for k in np.flatnonzero(agency["begin_measure"] > agency["end_measure"]):
        line = agency.iloc[int(k)]
        label = line["name"] or line["ref"] or line["route"] or "unnamed agency line"
        problem = f"measures run backwards on the agency line {_route_words(line)}"
        found.append(("", label, problem))
    for k in np.flatnonzero(carried["turns_back"]):
        row = table.iloc[int(k)]
        problem = f"measures of route {carried['route'].iloc[k]} turn back along this road"
        found.append((row["segment_id"], row["road"], problem))
    return found
