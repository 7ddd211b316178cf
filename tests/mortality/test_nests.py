"""Nests and gravid females by road: all by hand, on three roads of invented names."""

from __future__ import annotations

from dataclasses import replace
from types import SimpleNamespace
from zoneinfo import ZoneInfo

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
import shapely

from roadrisk.mortality.nests import COLUMNS, gravid_females, nesting_table
from roadrisk.records.schemas import FIXES, NESTS, SIGHTINGS, conform, empty
from roadrisk.roads.lixels import lay_lixels
from roadrisk.roads.placing import PieceIndex
from roadrisk.sightings.placed import place_sightings
from tests.roads.small import make_network
from tests.sightings.made_reports import reports

CRS = "EPSG:32633"


@pytest.fixture(scope="module")
def roads():
    # Sedge Lane at y = 0, Mill Lane at y = 300, and a bridge of High Road at y = 600.
    network = make_network(
        [[(0, 0), (1000, 0)], [(0, 300), (1000, 300)], [(0, 600), (1000, 600)]],
        ["Sedge Lane", "Mill Lane", "High Road"],
        bridge=[False, False, True], level=[0, 0, 1],
    )  # fmt: skip
    return network, lay_lixels(network, 10.0), PieceIndex.build(network)


def nests_at(xy, females=None, months=None, uncertainty=5.0):
    n = len(xy)
    table = pd.DataFrame({
        "source_file": "nests.csv", "source_row": np.arange(n) + 2,
        "occurrenceID": [f"N{k}" for k in range(n)], "eventDate": "",
        "time": pd.to_datetime([f"2024-{m:02}-15T12:00" for m in months or [6] * n], utc=True),
        "time_known": True, "coordinateUncertaintyInMeters": uncertainty,
        "organismID": females or [""] * n, "recordedBy": "", "nest_outcome": "not known",
        "occurrenceRemarks": "",
    })  # fmt: skip
    return conform(gpd.GeoDataFrame(table, geometry=shapely.points(xy), crs=CRS), NESTS)


def fixes_at(animal, xy):
    table = pd.DataFrame({"organismID": animal}, index=range(len(xy)))
    return gpd.GeoDataFrame(table, geometry=shapely.points(xy), crs=CRS)


def table_of(roads, *, nests=None, fixes=None, found=None, counts_as=1.0):
    network, lixels, index = roads
    table = empty(SIGHTINGS, CRS) if found is None else found
    placed = place_sightings(table, network, lixels, index, near_m=30.0, units="metric")
    weight = placed.placement.weight * counts_as
    counted = SimpleNamespace(
        placed=replace(placed, placement=replace(placed.placement, weight=weight))
    )
    study = SimpleNamespace(
        settings=SimpleNamespace(study=SimpleNamespace(zone=ZoneInfo("Europe/Berlin"))),
        nests=nests, fixes=empty(FIXES, CRS), crs=CRS,
    )  # fmt: skip
    rows, notes = nesting_table(study, counted, network, lixels, fixes)
    assert tuple(rows.columns) == COLUMNS
    return rows.set_index("road"), " ".join(notes)


def test_nothing_to_tell(roads):
    rows, notes = table_of(roads)
    assert rows.empty
    assert notes == ""


def test_nests_near_roads(roads):
    # By hand: 20 m and 90 m from Sedge Lane; 130 m from it and 170 from Mill Lane; one at the
    # bridge, which no animal on the ground meets.
    nests = nests_at([(100, 20), (500, 90), (800, 130), (500, 605)], months=[6, 7, 5, 8])
    rows, notes = table_of(roads, nests=nests)
    assert rows.index.tolist() == ["Sedge Lane"]
    (row,) = rows.to_dict("records")
    assert (row["nests_within_30_m"], row["nests_within_100_m"]) == (1, 2)
    assert row["nearest_nest_m"] == 20
    assert row["months"] == "June, July"
    assert (row["gravid_alive"], row["gravid_dead"], row["nesting_lines_across"]) == (0, 0, 0)
    assert notes.startswith("CONFIDENTIAL")
    assert "crossings that fixes days apart miss" in notes
    assert "permit" in notes


def test_distances_are_rounded(roads):
    rows, _ = table_of(roads, nests=nests_at([(100, 47.3)]))
    assert rows["nearest_nest_m"].tolist() == [50]


def test_walks_from_home_to_nest(roads):
    # By hand: F1 lives at y = 400 (one far fix moves no median) and nests at y = 150, so Mill Lane
    # lies between; F2 at y = 700 with a nest at y = -150 crosses both lanes below the bridge; F3
    # has four fixes, F4 none.
    fixes = pd.concat([
        fixes_at("F1", [(500, 400)] * 5 + [(500, -4000)]),
        fixes_at("F2", [(600, 690), (600, 700), (600, 710), (590, 700), (610, 700)]),
        fixes_at("F3", [(500, 400)] * 4),
    ])  # fmt: skip
    nests = nests_at(
        [(500, 150), (600, -150), (500, -150), (500, -150), (400, 150)],
        ["F1", "F2", "F3", "F4", ""], [5, 6, 7, 7, 7],
    )  # fmt: skip
    rows, notes = table_of(roads, nests=nests, fixes=fixes)
    assert rows["nesting_lines_across"].to_dict() == {"Mill Lane": 2, "Sedge Lane": 1}
    assert rows["months"].to_dict() == {"Mill Lane": "May, June", "Sedge Lane": "June"}
    assert rows["nests_within_100_m"].tolist() == [0, 0]
    # Of a road without a nest near it the nearest is told all the same: 150 m.
    assert rows["nearest_nest_m"].tolist() == [150, 150]
    assert "has a known home (the median place of 5 fixes or more): 2;" in notes
    assert "has too few fixes: 2." in notes


def test_gravid_females(roads):
    # By hand: two live ones, which count half each, and a dead one; one that isn't gravid.
    seen = reports(
        [(100, 0), (200, 0), (300, 300), (400, 300)], CRS, coordinateUncertaintyInMeters=0.01,
        vitality=["alive", "alive", "dead", "alive"],
        reproductiveCondition=["gravid", "Nesting female", "gravid (3 eggs)", "not gravid"],
        time=pd.to_datetime(
            [f"{day}T23:00" for day in ("2024-05-31", "2024-06-09", "2024-07-01", "2024-08-01")],
            utc=True),
    )  # fmt: skip
    rows, notes = table_of(roads, found=seen, counts_as=0.5)
    assert rows["gravid_alive"].to_dict() == {"Mill Lane": 0.0, "Sedge Lane": 1.0}
    assert rows["gravid_dead"].to_dict() == {"Mill Lane": 0.5, "Sedge Lane": 0.0}
    # One in the morning of 1 June in Berlin.
    assert rows["months"].to_dict() == {"Mill Lane": "July", "Sedge Lane": "June"}
    assert rows["nearest_nest_m"].isna().all()
    assert "Reports of gravid or nesting females on roads: 3, 1 of them dead" in notes


@pytest.mark.parametrize(
    ("said", "is_so"),
    [
        ("gravid", True), ("Gravid?", True), ("female, gravid", True), ("nesting", True),
        ("NESTING, 5 EGGS", True), ("gravid, no tag", True), ("gravid: yes", True),
        ("", False), ("not gravid", False), ("non-gravid", False), ("nongravid", False),
        ("not yet gravid", False), ("gravid: no", False), ("gravid = false", False),
        ("post-nesting", False), ("never nesting", False), ("adult", False),
    ],
)  # fmt: skip
def test_words_for_gravid(said, is_so):
    assert gravid_females(pd.Series([said], dtype=str)).tolist() == [is_so]


def test_places_don_t_come_out(roads):
    nests = nests_at([(123, 17)], uncertainty=250.0)
    rows, notes = table_of(roads, nests=nests)
    text = rows.reset_index().to_csv() + notes
    assert "123" not in text
    assert "17" not in text
    assert "Known to no better than 100 m: 1;" in notes
