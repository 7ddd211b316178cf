"""When, where and who: all by hand, on two roads of which one has two carriageways."""

from __future__ import annotations

from dataclasses import replace
from types import SimpleNamespace
from zoneinfo import ZoneInfo

import numpy as np
import pandas as pd
import pytest

from roadrisk.mortality.when_where import COLUMNS, SEXES, count_by, when_table
from roadrisk.roads.bands import with_bands
from roadrisk.roads.lixels import lay_lixels
from roadrisk.roads.placing import PieceIndex
from roadrisk.sightings.placed import place_sightings
from tests.roads.small import make_network
from tests.sightings.made_reports import reports

ZONE = "Europe/Berlin"  # two hours before UTC in summer, one in winter
CRS = "EPSG:32633"


@pytest.fixture(scope="module")
def roads():
    network = with_bands(
        make_network(
            [[(0, 0), (1000, 0)], [(1000, 20), (0, 20)], [(0, 500), (1000, 500)]],
            ["High Road", "High Road", "Mill Lane"],
            oneway=[1, 1, 0],
            road=["High Road north", "High Road south", "Mill Lane"],
        )
    )
    return network, lay_lixels(network, 10.0), PieceIndex.build(network)


REPORTS = reports(
    [(300, 0), (400, 20), (500, 500), (600, 500), (700, 20)],
    CRS,
    coordinateUncertaintyInMeters=0.01,
    vitality=["dead", "dead", "alive", "notAssessed", "dead"],
    sex=["female", "", "male", "hen", "female"],
    time=pd.to_datetime(
        ["2024-05-31T23:30", "2024-06-02T10:00", "2024-12-31T23:30", "2024-07-01T06:00",
         "2024-06-30T21:59"], utc=True),
    time_known=[True, False, True, True, True],
)  # fmt: skip
COUNTS_AS = np.array([1.0, 0.5, 1.0, 0.25, 0.0])
SURVEYED = np.array([False, True, False, False, False])


def animals(crossings=True):
    ids = ["A", "B"] if crossings else []
    return SimpleNamespace(
        animals=pd.DataFrame({"organismID": ids, "total_crossings": [6.0, 2.0][: len(ids)]}),
        segments=pd.DataFrame({"segment": [0, 2], "total_crossings": [5.0, 3.0]})[: 2 * crossings],
        by_month=pd.DataFrame({"month": range(1, 13), "total_crossings": [0.0] * 4 + [8.0]
                               + [0.0] * 7}),
        by_hour=pd.DataFrame({"hour": range(24), "total_crossings": [0.0] * 20 + [8.0]
                              + [0.0] * 3}),
        totals_identified=False,
    )  # fmt: skip


def study(surveys=True):
    return SimpleNamespace(
        settings=SimpleNamespace(study=SimpleNamespace(zone=ZoneInfo(ZONE), time_zone=ZONE)),
        surveys=pd.DataFrame({"eventID": ["S1"]}) if surveys else None,
        animals=pd.DataFrame({"organismID": ["A", "B"], "sex": ["female", ""]}),
    )


def made(roads, table=REPORTS, counts_as=COUNTS_AS):
    network, lixels, index = roads
    placed = place_sightings(table, network, lixels, index, near_m=30.0, units="metric")
    placement = placed.placement
    weight = placement.weight * counts_as[placement.point]
    whole = replace(placed, placement=replace(placement, weight=weight))
    return SimpleNamespace(placed=whole)


def table_of(roads, *, surveys=True, crossings=True, deaths=None):
    found = SimpleNamespace(found=animals(crossings))
    return when_table(study(surveys), made(roads), SURVEYED, found, roads[0], roads[1], deaths)


def rows(table, by):
    return table[table["counted_by"] == by].set_index("value")


def test_every_month_hour_road_and_sex_has_a_row(roads):
    table, _ = table_of(roads)
    assert tuple(table.columns) == COLUMNS
    # The road of the leading carriageway stands for both.
    (north,) = set(rows(table, "road").index) - {"Mill Lane"}
    assert north.startswith("High Road")
    assert rows(table, "month").index.tolist() == [str(m) for m in range(1, 13)]
    assert rows(table, "hour").index.tolist() == [str(h) for h in range(24)]
    assert rows(table, "sex").index.tolist() == list(SEXES)


def test_months_and_hours_are_local(roads):
    # By hand: half past eleven at night UTC is the next day, and the next month and year.
    table, _ = table_of(roads)
    month, hour = rows(table, "month"), rows(table, "hour")
    dead = month["reports_dead"]
    assert dead[dead > 0].to_dict() == {"6": 1.0}
    assert month["carcasses"]["6"] == 0.5
    assert month["reports_alive"].idxmax() == "1"
    assert month["reports_other"]["7"] == 0.25
    assert hour["reports_dead"]["1"] == 1.0
    assert hour["reports_alive"]["0"] == 1.0
    # The carcass has a date and no time of day.
    assert hour["carcasses"].sum() == 0
    assert hour["reports_other"]["8"] == 0.25


def test_roads_count_two_carriageways_once(roads):
    table, _ = table_of(roads, deaths={"all roads": 9.0, "Mill Lane": 2.5})
    road = rows(table, "road")
    (high,) = set(road.index) - {"Mill Lane"}
    assert road.loc[high, ["carcasses", "reports_dead"]].tolist() == [0.5, 1.0]
    assert road.loc["Mill Lane", ["reports_alive", "reports_other"]].tolist() == [1.0, 0.25]
    assert road["crossings"].to_dict() == {high: 5.0, "Mill Lane": 3.0}
    assert road.at["Mill Lane", "deaths"] == 2.5  # noqa: PD008
    assert np.isnan(road["deaths"][high])
    assert table["deaths"].notna().sum() == 1


def test_sexes(roads):
    sex = rows(table_of(roads)[0], "sex")
    assert sex["reports_dead"].tolist() == [1.0, 0.0, 0.0]
    assert sex["carcasses"].tolist() == [0.0, 0.0, 0.5]
    assert sex["reports_alive"].tolist() == [0.0, 1.0, 0.0]
    # A word that is no sex counts as not known; so does an animal without one.
    assert sex["reports_other"].tolist() == [0.0, 0.0, 0.25]
    assert sex["crossings"].tolist() == [6.0, 0.0, 2.0]


def test_every_way_of_counting_adds_up_to_the_same(roads):
    table, _ = table_of(roads)
    for name in ("reports_dead", "reports_alive", "reports_other", "carcasses", "crossings"):
        total = {by: rows(table, by)[name].sum() for by in ("month", "road", "sex")}
        assert max(total.values()) == pytest.approx(min(total.values()))


def test_what_is_not_there_is_not_zero(roads):
    table, notes = table_of(roads, surveys=False, crossings=False)
    assert table["carcasses"].isna().all()
    assert table["crossings"].isna().all()
    assert not any("identified" in n for n in notes)


def test_what_is_said(roads):
    _, notes = table_of(roads)
    said = " ".join(notes)
    # The report of an animal reported before counts 0 and isn't spoken of.
    assert "1 of 4 reports have no time of day" in said
    assert "dead or alive: 1;" in said
    assert "not identified" in said


def test_a_report_between_two_roads_is_shared_out(roads):
    # By hand: halfway between High Road's northern band (y = 20) and Mill Lane (y = 500), known
    # to 400 m: the bands' share and the lane's add up to one.
    one = reports([(500, 260)], CRS, coordinateUncertaintyInMeters=400.0, vitality="dead")
    found = SimpleNamespace(found=animals(False))
    counted = made(roads, one, np.array([1.0]))
    table, _ = when_table(study(), counted, np.array([False]), found, roads[0], roads[1])
    dead = rows(table, "road")["reports_dead"]
    assert dead.sum() == pytest.approx(1.0)
    # Two bands at 240 and 260 m against one lane at 240 m: more than half, less than two thirds.
    assert 1 / 3 < dead["Mill Lane"] < 1 / 2


def test_counting():
    value, kind = np.array(["a", "b", "", "a"], object), np.array(["carcasses"] * 4, object)
    table = count_by("x", ("a", "b", "c"), value, kind, np.array([1.0, 2.0, 4.0, 0.5]))
    assert table["carcasses"].tolist() == [1.5, 2.0, 0.0]
    assert table["reports_dead"].tolist() == [0.0] * 3
