"""Attributes carried over from an agency layer, traffic, and coordinates from measures."""

from __future__ import annotations

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
from shapely import LineString, Point

from roadrisk.roads.carry_over import carry_over
from roadrisk.roads.route_measures import coordinates_of
from roadrisk.roads.traffic import join_traffic
from tests.roads.small import make_network

Line = list[tuple[float, float]]
TEXTS = ("route", "direction", "owner", "layer_date", "name", "ref", "road_class")
NUMBERS = ("begin_measure", "end_measure", "aadt", "aadt_year", "speed_limit_kmh", "lanes")


def layer(lines: list[Line], **columns: object) -> gpd.GeoDataFrame:
    rows = len(lines)
    table: dict[str, object] = {c: [""] * rows for c in TEXTS}
    table |= {c: [np.nan] * rows for c in NUMBERS} | {"level": [0] * rows}
    table.update(columns)
    return gpd.GeoDataFrame(table, geometry=[LineString(line) for line in lines], crs=32633)


def traffic(rows: list[dict[str, object]]) -> pd.DataFrame:
    empty = {"name": "", "ref": "", "route": "", "begin_measure": np.nan, "end_measure": np.nan,
             "aadt": np.nan, "aadt_year": np.nan, "speed_limit_kmh": np.nan}  # fmt: skip
    table = pd.DataFrame([{**empty, **row} for row in rows])
    return table.assign(source_file="traffic.csv", source_row=np.arange(len(rows)) + 2)


def test_attributes_and_measures_are_carried_over() -> None:
    """By hand: a line 6 m beside the road, drawn the other way, cut in two rows."""
    net = make_network([[(0, 0), (400, 0)], [(400, 0), (1000, 0)], [(400, 0), (400, 300)]],
                       names=["High Road", "High Road", "Mill Lane"])  # fmt: skip
    agency = layer(
        [[(1000, 6), (500, 6)], [(500, 6), (0, 6)]],
        route=["R7", "R7"],
        begin_measure=[0.0, 0.5],
        end_measure=[0.5, 1.0],
        aadt=[900.0, 1200.0],
        aadt_year=[2023.0, 2024.0],
        owner=["County", "State"],
        speed_limit_kmh=[80.0, 60.0],
    )
    carried, problems = carry_over(net, agency, 20.0)
    table = carried.segments.set_index("length_m")
    west, east, lane = table.loc[400.0], table.loc[600.0], table.loc[300.0]
    assert (west["route"], east["route"], lane["route"]) == ("R7", "R7", "")
    np.testing.assert_allclose([west["begin_measure"], west["end_measure"]], [1.0, 0.6], atol=1e-9)
    np.testing.assert_allclose([east["begin_measure"], east["end_measure"]], [0.6, 0.0], atol=1e-9)
    assert (west["aadt"], west["owner"], west["speed_limit_kmh"]) == (1200.0, "State", 60.0)
    assert (east["aadt"], east["aadt_year"], east["owner"]) == (900.0, 2023.0, "County")
    assert np.isnan(lane["aadt"])
    assert problems.empty
    assert net.segments["route"].tolist() == ["", "", ""]


def test_a_cross_street_takes_nothing() -> None:
    """By hand: a line that crosses within reach but runs at a right angle does not match."""
    net = make_network([[(0, 0), (30, 0)]])
    carried, problems = carry_over(net, layer([[(15, -300), (15, 300)]], route=["R1"]), 20.0)
    assert carried.segments["route"].tolist() == [""]
    assert problems["problem"].str.contains("has no road beside it").tolist() == [True]


def test_mismatches_are_listed() -> None:
    """By hand: one of each kind."""
    net = make_network(
        [[(0, 0), (400, 0)], [(400, 0), (800, 0)], [(400, 0), (400, 300)]],
        names=["High Road", "High Road", "Mill Lane"],
        ref=["A 1", "A 1", ""],
        road_class=["primary", "primary", "residential"],
    )
    agency = layer(
        [[(0, 3), (400, 3)], [(403, 0), (403, 300)], [(0, 5000), (900, 5000)]],
        route=["R1", "R2", "R3"],
        name=["HIGH RD.", "Milner Lane", "Far Road"],
        ref=["B 9", "", ""],
        begin_measure=[0.4, 0.0, 0.0],
        end_measure=[0.0, 0.3, 0.9],
    )
    _, problems = carry_over(net, agency, 20.0)
    words = " | ".join(problems["problem"])
    assert len(problems) == 5
    assert "route R3 from 0 to 0.9 has no road beside it" in words
    assert "no agency line runs along this road" in words
    assert "the map says 'Mill Lane' and the agency layer 'Milner Lane'" in words
    assert "the map says ref 'A 1' and the agency layer 'B 9'" in words
    assert "measures run backwards on the agency line of route R1 from 0.4 to 0" in words


def test_traffic_by_name_ref_and_measures() -> None:
    """By hand: by name, by one of several refs, by a stretch of a route; newest year wins."""
    net = make_network(
        [[(0, 0), (400, 0)], [(400, 0), (1000, 0)], [(400, 0), (400, 300)]],
        names=["High Road", "High Road", ""],
        ref=["", "", "B 2;B 3"],
        route=["R1", "R1", ""],
        begin_measure=[0.0, 0.4, np.nan],
        end_measure=[0.4, 1.0, np.nan],
    )
    rows = [
        {"name": "high road", "aadt": 500, "aadt_year": 2024},
        {"name": "High Road", "aadt": 300, "aadt_year": 2019},
        {"ref": "B 3", "aadt": 90, "aadt_year": 2020, "speed_limit_kmh": 50},
        {"route": "R1", "begin_measure": 0.5, "end_measure": 0.9, "aadt": 800, "aadt_year": 2025},
        {"name": "Wheel Lane", "aadt": 10, "aadt_year": 2020},
        {"route": "R1", "begin_measure": 7.0, "end_measure": 8.0, "aadt": 1, "aadt_year": 2025},
    ]
    table, problems = join_traffic(net.segments, traffic(rows))
    by_length = table.set_index("length_m")
    assert by_length["aadt"].to_dict() == {400.0: 500.0, 600.0: 800.0, 300.0: 90.0}
    assert by_length.loc[300.0, "speed_limit_kmh"] == 50
    assert problems["problem"].tolist() == [
        "traffic.csv, row 6: the traffic row means no road here ('Wheel Lane')",
        "traffic.csv, row 7: the traffic row means no road here ('R1' from 7 to 8)",
    ]
    assert net.segments["aadt"].isna().all()


def test_coordinates_from_measures() -> None:
    """By hand: place along the line, 3 m to the side, looking along growing measures."""
    agency = layer(
        [[(0, 0), (1000, 0)], [(2000, 0), (1000, 0)]],
        route=["R 1", "R 1"],
        begin_measure=[0.0, 2.0],
        end_measure=[1.0, 1.0],
    )
    points = gpd.GeoDataFrame(
        {
            "source_file": "sightings.csv",
            "source_row": [2, 3, 4, 5, 6, 7],
            "occurrenceID": list("abcdef"),
            "route": ["R1", "R 1", "R 1", "R2", "R 1", ""],
            "route_measure": [0.25, 0.25, 1.5, 0.1, 9.0, np.nan],
            "side": ["", "L", "right", "", "", ""],
        },
        geometry=[None, None, None, None, None, Point(5, 5)],
        crs=32633,
    )
    placed, remarks = coordinates_of(points, agency)
    assert [tuple(p.coords[0]) for p in placed.geometry.iloc[:3]] == [
        (250, 0),
        (250, 3),
        (1500, -3),
    ]
    assert placed.geometry.iloc[5] == Point(5, 5)
    assert placed.geometry.iloc[3:5].isna().all()
    assert [(r.row, r.column, r.kind, r.record) for r in remarks] == [
        (5, "route", "left out", "d"),
        (6, "route_measure", "left out", "e"),
    ]
    assert remarks[0].line() == (
        "sightings.csv, row 5, column route: there is no route 'R2' in the agency layer. "
        "Mend: did you mean 'R 1'?"
    )
    assert "it runs from 0 to 2" in remarks[1].problem
    assert points.geometry.iloc[:5].isna().all()
    assert placed.crs == points.crs


def test_measures_without_an_agency_layer() -> None:
    """By hand: there is nothing to read them off."""
    points = gpd.GeoDataFrame(
        {"source_file": "f.csv", "source_row": [2], "organismID": ["x"], "route": ["R"],
         "route_measure": [1.0], "side": [""]},
        geometry=[Point()],
        crs=32633,
    )  # fmt: skip
    _, remarks = coordinates_of(points, None)
    assert len(remarks) == 1
    assert "[roads.agency]" in remarks[0].mend
    assert remarks[0].record == "x"


def test_nothing_to_place() -> None:
    """By hand: points with coordinates come back as they are."""
    points = gpd.GeoDataFrame({"route": [""]}, geometry=[Point(1, 2)], crs=32633)
    placed, remarks = coordinates_of(points, None)
    assert placed is points
    assert remarks == ()


@pytest.mark.parametrize("rows", [[], [0]])
def test_columns_of_mismatches(rows: list[int]) -> None:
    """By hand: the table has its columns even when it is empty."""
    net = make_network([[(0, 0), (100, 0)]])
    table = traffic([{"name": "x"} for _ in rows])
    if not rows:
        table = traffic([{"name": "x"}]).iloc[:0]
    _, problems = join_traffic(net.segments, table)
    assert list(problems.columns) == ["segment_id", "road", "problem"]
    assert len(problems) == len(rows)
