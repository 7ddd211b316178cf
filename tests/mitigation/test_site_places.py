"""Runs of places in words and as lines, by hand."""

from __future__ import annotations

import numpy as np
import pytest

from roadrisk.mitigation.lines import road_lines
from roadrisk.mitigation.site_places import lixels_of, site_places
from roadrisk.roads.lixels import lay_lixels
from roadrisk.roads.pieces import lay_pieces
from roadrisk.roads.places import Places
from tests.mitigation.test_lines import CROSS, NAMES
from tests.roads.small import make_network


@pytest.fixture(scope="module")
def sites():
    network = make_network(CROSS, NAMES, owner=["North", "South", "Parish", "Parish"])
    lixels = lay_lixels(network, 10.0)
    pieces = lay_pieces(network, lixels, 100.0)
    lines = road_lines(network, lixels, pieces)
    long_road = int(np.flatnonzero(lines.road == "Long Road")[0])
    whole = int(lines.first[long_road]), int(lines.first[long_road + 1])
    first = np.array([whole[0], whole[0] + 1])
    last = np.array([whole[1], whole[0] + 2])
    places = Places(network, None, "metric")
    table = site_places(network, lixels, pieces, lines, places, first, last)
    return table, lixels_of(pieces, lines, *whole), lixels


def test_a_whole_road_is_one_line_through_its_junction(sites) -> None:
    table, _, _ = sites
    row = table.iloc[0]
    assert row["road"] == "Long Road"
    assert row["length_m"] == pytest.approx(300 + np.hypot(400, 10))
    assert row.geometry.length == pytest.approx(row["length_m"])
    assert {row.geometry.coords[0], row.geometry.coords[-1]} == {(0, 0), (700, 10)}
    assert row["owner"] == "North / South"
    assert "300 m west" in row["place"]
    assert "400 m east" in row["place"]
    assert row["place"].count("on Long Road") == 1
    # Begin and end as the line is drawn.
    west = "300 m west of the junction with Short Lane, on Long Road"
    at = "begin_place" if row.geometry.coords[0] == (0, 0) else "end_place"
    assert row[at] == west
    assert "400 m east" in row["end_place" if at == "begin_place" else "begin_place"]


def test_a_run_on_one_edge_has_both_ends_in_words(sites) -> None:
    table, _, _ = sites
    row = table.iloc[1]
    assert row["length_m"] == pytest.approx(row.geometry.length)
    assert row["place"].startswith("from ")
    assert "junction with Short Lane" in row["place"]


def test_lixels_of_a_run_cover_it(sites) -> None:
    table, own, lixels = sites
    assert lixels.length_m[own].sum() == pytest.approx(table["length_m"].iloc[0])
