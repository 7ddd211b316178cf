"""Reports and steps across roads on the map: one by one, or counted by piece of road."""

from __future__ import annotations

from calendar import month_name
from itertools import pairwise
from typing import TYPE_CHECKING, Any

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely

from roadrisk.base.crs import WGS84
from roadrisk.reporting.colour_runs import feature, layer
from roadrisk.reporting.csv_text import plain_text
from roadrisk.reporting.place_counts import PIECE_M
from roadrisk.reporting.sheets import day_in, distance, road
from roadrisk.reporting.wording import count, number, short_length

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping

    from roadrisk.base.units import Units
    from roadrisk.reporting.colour_runs import Layer
    from roadrisk.reporting.editions.edition import Edition
    from roadrisk.study import Study

# Where the settings name no seasons.
_QUARTERS = ((1, 2, 3), (4, 5, 6), (7, 8, 9), (10, 11, 12))
_NOT_SAID = "n"


def crossing_layer(crossings: gpd.GeoDataFrame, roads: Mapping[str, str], study: Study) -> Layer:
    """Return straight steps across a road as points, with month, year and sex for the filters."""
    features, zone = [], study.settings.study.zone
    sexes: dict[str, str] = {}
    if {"organismID", "sex"} <= set(study.animals.columns):
        sexes = dict(zip(study.animals["organismID"], study.animals["sex"], strict=True))
    for row, point in _with_place(crossings):
        values = [
            plain_text(row["organismID"]),
            f"{day_in(row['from_time'], zone)} and {day_in(row['to_time'], zone)}",
            number(row["step_days"]),
            road(roads.get(row["segment_id"])),
        ]
        half = row["from_time"] + (row["to_time"] - row["from_time"]) / 2
        properties: dict[str, Any] = {"t": "Straight step across a road", "v": values}
        properties |= _when(half, zone)
        properties["x"] = _letter(sexes.get(row["organismID"]), ("female", "male"))
        features.append(feature("Point", point, properties))
    return layer(features)


def report_layer(
    sightings: gpd.GeoDataFrame, roads: Mapping[str, str], units: Units, zone: Any
) -> Layer:
    """Return single reports as points: ``a`` state, ``x`` sex, ``m`` month, ``y`` year."""
    features = []
    for row, point in _with_place(sightings):
        state = plain_text(row["vitality"]).strip().lower()
        state = state if state in {"alive", "dead"} else "not said"
        share = row["weight_there"]
        part = f" ({100 * share:.0f} % of it)" if np.isfinite(share) and share < 0.995 else ""
        repeats = row["repeats"]
        values = [
            plain_text(row["occurrenceID"]),
            day_in(row["time"], zone),
            plain_text(row["sex"]),
            plain_text(row["occurrenceRemarks"]),
            distance(row["spread_m"], units),
            distance(row["distance_m"], units),
            road(roads.get(row["segment_id"])) + part,
            count(repeats) if repeats > 1 else "",
            _counts_as(row["counts_as"]),
        ]
        title = {"alive": "Report: alive", "dead": "Report: dead"}.get(state)
        properties: dict[str, Any] = {
            "t": title or "Report: alive or dead not said", "v": values, "a": state[0],
        }  # fmt: skip
        properties |= {"x": _letter(row["sex"], ("female", "male"))} | _when(row["time"], zone)
        features.append(feature("Point", point, properties))
    return layer(features)


def count_layer(edition: Edition) -> Layer:
    """Return reports counted by piece of road: what an edition without single reports shows.

    Parameters
    ----------
    edition : Edition
        Of its counts `filtered` is drawn.

    Returns
    -------
    dict
        A point a piece, ``n`` reports in all, ``c`` their kinds as [year, month, sex, state, how
        many] for the filters; no date, id, observer or remark. Months that no season of the
        filters tells apart are one, named by the first of them.
    """
    table = edition.counts.filtered
    if table.empty:
        return layer([])
    first, kind_of = _first_alike(edition.study), ["year", "month", "sex", "state"]
    table = table.assign(month=[first[int(month)] for month in table["month"]])
    by = table.groupby(["x_m", "y_m", "road", *kind_of], sort=False, dropna=False)
    table = by["count"].sum().reset_index()
    features = []
    long = short_length(PIECE_M, edition.study.settings.study.units)
    places = table[["x_m", "y_m"]].drop_duplicates()
    points = gpd.GeoSeries.from_xy(places["x_m"], places["y_m"], crs=edition.study.crs)
    lonlat = np.round(shapely.get_coordinates(points.to_crs(WGS84)), 6).tolist()
    # Rows of one place stand together, in the order of the places.
    place_of = table.groupby(["x_m", "y_m"], sort=False).ngroup().to_numpy()
    order = np.argsort(place_of, kind="stable")
    ends = np.searchsorted(place_of[order], np.arange(len(places) + 1)).tolist()
    words = table["road"].to_numpy(object)[order]
    every: list[list[Any]] = [
        [int(year), int(month), _letter(sex, ("female", "male")),
         _letter(state, ("alive", "dead")), int(many)]
        for year, month, sex, state, many in zip(
            *(table[name].to_numpy(object)[order] for name in (*kind_of, "count")), strict=True
        )
    ]  # fmt: skip
    for place, (begin, end) in zip(lonlat, pairwise(ends), strict=True):
        kinds = every[begin:end]
        many = sum(kind[-1] for kind in kinds)
        years = [kind[0] for kind in kinds if kind[0]]
        named = road(words[begin])
        values = [
            "",
            ", ".join(f"{_sum(kinds, 3, a)} {words}" for a, words in _STATES),
            ", ".join(f"{_sum(kinds, 2, x)} {words}" for x, words in _SEXES),
            _span(years),
        ]
        properties = {
            "t": f"Reports on about {long} of {named}",
            "v": values,
            "n": many,
            "c": kinds,
        }
        features.append(feature("Point", place, properties))
    return layer(features)


def filter_words(edition: Edition) -> dict[str, Any]:
    """Return what the filters offer: seasons with their months, sexes, states, years.

    Seasons are those of the settings, else the profile's season and quarters of the year.
    """
    table = edition.counts.filtered
    years = sorted({int(year) for year in table["year"]} - {0})
    seasons = _seasons(edition.study)
    if (table["month"] == 0).any():
        seasons.append(("no date", (0,)))
    return {
        "season": [[words, list(months)] for words, months in seasons],
        "sex": [list(pair) for pair in _SEXES],
        "state": [list(pair) for pair in _STATES],
        "year": [[year, str(year)] for year in years],
        "all": "all",
        "as_asked": "as the filters ask",
    }


_SEXES = (("f", "female"), ("m", "male"), (_NOT_SAID, "not said"))
_STATES = (("a", "alive"), ("d", "dead"), (_NOT_SAID, "not said"))


def _seasons(study: Study) -> list[tuple[str, tuple[int, ...]]]:
    given = [tuple(season) for season in study.settings.hotspots.seasons]
    if given:
        rest = _in_turn(set(range(1, 13)) - {month for season in given for month in season})
        told = [(_months(season), season) for season in given]
        return told + ([(f"{_months(rest)} (the other months)", rest)] if rest else [])
    active = study.profile.months()
    first = [(f"active season: {_months(active)}", active)] if 0 < len(active) < 12 else []
    return first + [(_months(quarter), quarter) for quarter in _QUARTERS]


def _first_alike(study: Study) -> dict[int, int]:
    """Return for each month the first that lies in the same seasons; 0, no date, for 0."""
    seasons = _seasons(study)
    firsts: dict[tuple[bool, ...], int] = {}
    alike = {0: 0}
    for month in range(1, 13):
        alike[month] = firsts.setdefault(tuple(month in months for _, months in seasons), month)
    return alike


def _in_turn(months: set[int]) -> tuple[int, ...]:
    """Return months in their order, beginning after a month that isn't one of them."""
    starts = [month for month in sorted(months) if (month - 2) % 12 + 1 not in months]
    first = starts[-1] if starts else 1
    return tuple(sorted(months, key=lambda month: (month - first) % 12))


def _months(months: tuple[int, ...]) -> str:
    runs = [[months[0]]]
    for month in months[1:]:
        if month == runs[-1][-1] % 12 + 1:
            runs[-1].append(month)
        else:
            runs.append([month])
    ends = [dict.fromkeys((month_name[run[0]], month_name[run[-1]])) for run in runs]
    return ", ".join(" to ".join(names) for names in ends)


def _span(years: list[int]) -> str:
    if not years:
        return "not dated"
    first, last = min(years), max(years)
    return str(first) if first == last else f"{first} to {last}"


def _sum(kinds: list[list[Any]], at: int, letter: str) -> int:
    return sum(kind[-1] for kind in kinds if kind[at] == letter)


def _letter(said: object, known: tuple[str, ...]) -> str:
    """Return the first letter of one of the known words; "n" for not said."""
    text = plain_text(said).strip().lower()
    return text[0] if text in known else _NOT_SAID


def _when(time: Any, zone: Any) -> dict[str, int]:
    """Return month and year for the filters; 0 without a date."""
    if pd.isna(time):
        return {"m": 0, "y": 0}
    local = pd.Timestamp(time).tz_convert(zone)
    return {"m": local.month, "y": local.year}


def _counts_as(share: float) -> str:
    """Return what a report counts for, where it may repeat another one."""
    if share >= 0.995:
        return ""
    return f"{number(share, 2)}: it may be of an animal that was reported before"


def _with_place(table: gpd.GeoDataFrame) -> Iterable[tuple[dict[str, Any], list[float]]]:
    placed = table[~(table.geometry.is_empty | table.geometry.isna())]
    points = np.round(shapely.get_coordinates(placed.geometry.to_crs(WGS84)), 6).tolist()
    rows = pd.DataFrame(placed.drop(columns="geometry")).to_dict("records")
    return zip([{str(k): v for k, v in row.items()} for row in rows], points, strict=True)
