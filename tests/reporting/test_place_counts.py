"""Counts by place and time, by hand; sums are those of the reports they come from."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
from shapely.geometry import LineString, MultiLineString, Point
from shapely.ops import substring

from roadrisk.findings import Findings
from roadrisk.reporting.place_counts import FILTERED, MARGINAL, place_counts
from roadrisk.study import Study
from tests.reporting import made_up
from tests.reporting.made_up import CRS, X0, Y0

# Two roads that meet at a corner: 300 m to the east, then 120 m to the north.
ROADS = {"s0": [(0, 0), (300, 0)], "s1": [(300, 0), (300, 120)]}


def _road(name: str) -> LineString:
    return LineString([(X0 + x, Y0 + y) for x, y in ROADS[name]])


def _lixels() -> gpd.GeoDataFrame:
    rows, shapes = [], []
    for edge, name in enumerate(ROADS):
        line = _road(name)
        for a, b in pairwise(np.arange(0, line.length + 1, 10)):
            rows.append((name, edge, a, b))
            shapes.append(substring(line, a, b))
    table = pd.DataFrame(rows, columns=["segment_id", "edge", "start_m", "end_m"])
    return gpd.GeoDataFrame(table, geometry=shapes, crs=CRS)


def _reports(rows: list[tuple[float, float, str, str, str, str, float]]) -> gpd.GeoDataFrame:
    """Return exact reports: x, y, time (UTC), vitality, sex, eventID, counts_as."""
    table = pd.DataFrame(rows, columns=["x", "y", "time", "vitality", "sex", "eventID",
                                        "counts_as"])  # fmt: skip
    points = [Point(X0 + x, Y0 + y) for x, y in zip(table["x"], table["y"], strict=True)]
    return gpd.GeoDataFrame(
        table.drop(columns=["x", "y"]).assign(
            time=pd.to_datetime(table["time"], utc=True, format="ISO8601"),
            time_known=["T" in time for time in table["time"]], spread_m=0.0,
        ),
        geometry=points, crs=CRS,
    )  # fmt: skip


def _made() -> tuple[Study, Findings]:
    """Return a study with one window (100 to 200 m of the first road) and a survey of it all."""
    whole = made_up.findings()
    segments = gpd.GeoDataFrame(
        {"segment_id": list(ROADS), "road": ["Heron Road", ""], "band_of": "",
         "animals_in_reach": [2, 0]},
        geometry=[_road(name) for name in ROADS], crs=CRS,
    )  # fmt: skip
    window = gpd.GeoDataFrame({"rank": [1]}, geometry=[substring(_road("s0"), 100, 200)], crs=CRS)
    site = gpd.GeoDataFrame({"site": [4]}, geometry=[MultiLineString([_road("s1")])], crs=CRS)
    steps = gpd.GeoDataFrame(
        {"from_time": pd.to_datetime(["2022-05-30T00:00Z", "2022-06-01T00:00Z"]),
         "to_time": pd.to_datetime(["2022-06-02T00:00Z", "2022-06-02T00:00Z"])},
        geometry=[Point(X0 + 155, Y0), Point(X0 + 250, Y0)], crs=CRS,
    )  # fmt: skip
    findings = replace(
        whole, segments=segments, lixels=_lixels(), ranked=window,
        stretches=whole.stretches.iloc[:0], crossings=steps,
        measures=replace(whole.measures, chosen=site),
        sightings=_reports([
            # 22:30 UTC is half past midnight of the next day and month in Warsaw.
            (105, 3, "2022-05-31T22:30Z", "alive", "female", "", 1.0),
            (195, -3, "2022-06-01T10:00Z", "dead", "male", "E1", 0.5),
            (150, 0, "2022-06-01", "dead", "", "", 1.0),
            (205, 0, "2022-06-01T10:00Z", "alive", "", "", 1.0),
            (150, 1, "2023-07-09T10:00Z", "", "unknown", "", 1.0),
            (300, 60, "2023-07-09T10:00Z", "alive", "", "", 1.0),
        ]),
    )  # fmt: skip
    surveys = gpd.GeoDataFrame({"eventID": ["E1"]}, geometry=[_road("s0")], crs=CRS)
    return replace(made_up.study(), surveys=surveys), findings


def _row(table: pd.DataFrame, kind: str, by: str, value: int) -> dict[str, float]:
    mine = (table["place_kind"] == kind) & (table["counted_by"] == by) & (table["value"] == value)
    return table.loc[mine, list(MARGINAL[4:])].iloc[0].to_dict()  # type: ignore[return-value]


def test_a_place_by_month_hour_and_year_by_hand() -> None:
    """What lies in the window counts in local time; a survey's dead animal is a carcass."""
    table = place_counts(*_made()).marginal
    june = _row(table, "window", "month", 6)
    assert june == {"alive": 1, "dead": 1, "other": 0, "carcasses": 0.5, "crossings": 0}
    assert _row(table, "window", "month", 5)["crossings"] == 1  # 30 May to 2 June: 31 May
    assert _row(table, "window", "year", 2023)["other"] == 1
    assert _row(table, "window", "hour", 0)["alive"] == 1
    noon = _row(table, "window", "hour", 12)  # 10:00 UTC in summer
    assert (noon["carcasses"], noon["dead"]) == (0.5, 0)
    assert np.isnan(noon["crossings"])
    assert (table[table["counted_by"] == "hour"].groupby("place_kind").size() == 24).all()


def test_what_nobody_watched_is_not_known() -> None:
    """No survey and no tagged animal at the site: not zero. Its report counts."""
    table = place_counts(*_made()).marginal
    july = _row(table, "site", "month", 7)
    assert july["alive"] == 1
    assert np.isnan([july["carcasses"], july["crossings"]]).all()


def test_every_report_stands_on_one_piece_of_road() -> None:
    """Three pieces of 100 m and one of 120 m; the middles by hand; every report once."""
    study, findings = _made()
    table = place_counts(study, findings).filtered
    assert tuple(table.columns) == FILTERED
    assert table["count"].sum() == len(findings.sightings)
    places = table.assign(x=table["x_m"] - X0, y=table["y_m"] - Y0)
    assert places.groupby(["x", "y"])["count"].sum().to_dict() == {
        (155.0, 0.0): 4, (255.0, 0.0): 1, (300.0, 65.0): 1,
    }  # fmt: skip
    dead = table[(table["state"] == "dead") & (table["sex"] == "male")]
    assert dead[["road", "year", "month", "count"]].to_numpy().tolist() == [
        ["Heron Road", 2022, 6, 1]
    ]
    assert set(table["sex"]) == {"female", "male", ""}


def test_an_uncertain_report_lies_partly_in_the_window() -> None:
    """On the window's edge with 95 % radius 20 m half of it counts; sums over lixels are kept."""
    study, findings = _made()
    one = _reports([(200, 0, "2022-06-01T10:00Z", "alive", "", "", 1.0)]).assign(spread_m=20.0)
    table = place_counts(study, replace(findings, sightings=one)).marginal
    assert _row(table, "window", "year", 2022)["alive"] == pytest.approx(0.5, abs=1e-3)


def test_two_carriageways_are_one_road() -> None:
    """A report on the following carriageway counts in the window of the leading one."""
    study, findings = _made()
    other = LineString([(X0, Y0 + 12), (X0 + 300, Y0 + 12)])
    lixels = _lixels()
    more = lixels[lixels["segment_id"] == "s0"].assign(
        segment_id="s2", edge=2, geometry=[substring(other, a, a + 10) for a in range(0, 300, 10)]
    )
    segments = pd.concat([
        findings.segments,
        gpd.GeoDataFrame({"segment_id": ["s2"], "road": ["Heron Road"], "band_of": ["s0"],
                          "animals_in_reach": [2]}, geometry=[other], crs=CRS),
    ], ignore_index=True)  # fmt: skip
    one = _reports([(155, 13, "2022-06-01T10:00Z", "alive", "", "", 1.0)])
    with_two = replace(
        findings, segments=segments, sightings=one,
        lixels=pd.concat([lixels, more], ignore_index=True),
    )  # fmt: skip
    table = place_counts(study, with_two).marginal
    assert _row(table, "window", "year", 2022)["alive"] == 1


def test_nothing_recorded_gives_empty_counts() -> None:
    """No report, no place."""
    counts = place_counts(made_up.study(), made_up.without_evidence())
    assert counts.marginal.empty
    assert counts.filtered.empty
    assert tuple(counts.filtered.columns) == FILTERED


def test_the_made_up_study_is_counted_whole() -> None:
    """Tables without hours, surveys and carriageways are counted too."""
    findings = made_up.findings()
    counts = place_counts(made_up.study(), findings)
    assert counts.filtered["count"].sum() == len(findings.sightings)
    assert counts.marginal["carcasses"].isna().all()
