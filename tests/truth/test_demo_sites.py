"""The demo's culverts, driveways and works are found where they were put: known truth."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pytest

from roadrisk.mitigation.lines import road_lines
from roadrisk.mitigation.site_facts import constraints_on, site_facts
from roadrisk.records.study_folder import read_study
from roadrisk.roads.build import build_network
from roadrisk.roads.lixels import lay_lixels
from roadrisk.roads.pieces import lay_pieces

if TYPE_CHECKING:
    from pathlib import Path

# Metres along the line of the plan at which demo_area/site_tables.py put them.
PUT = {
    "C-01": ("Vellmark Road", 1330, "usable"),
    "C-02": ("Vellmark Road", 1130, "not usable"),
    "B-01": ("Vellmark Road", 2288, "usable"),
    "C-11": ("Tarnholt Lane", 300, "not usable"),
    "C-12": ("Tarnholt Lane", 480, "not usable"),
    "C-21": ("Dunsallow Drove", 470, "not known"),
    "C-31": ("Mirefield Lane", 2600, "usable"),
}


@pytest.fixture(scope="module")
def found(demo_area: Path):
    study = read_study(demo_area)
    network = build_network(study).network
    lixels = lay_lixels(network, 10.0)
    pieces = lay_pieces(network, lixels, 100.0)
    stops = ("motorway", "trunk", "primary", "secondary")
    lines = road_lines(network, lixels, pieces, stops_at=stops)
    return site_facts(study, network, lixels, pieces, lines), lines


def test_structures_lie_where_they_were_put(found) -> None:
    # The agency's lines drift by 2 to 4 m, and its measures with them.
    facts, lines = found
    length = {k: lines.length_m[lines.line == k].sum() for k in range(len(lines))}
    table = facts.structures.set_index("id")
    for name, (road, at, verdict) in PUT.items():
        row = table.loc[name]
        assert (row["road"], row["verdict"]) == (road, verdict)
        there = min(abs(row["at_m"] - at), abs(length[row["line"]] - row["at_m"] - at))
        assert there < 10.0, name
    assert set(facts.passage_id) == {"C-01", "B-01", "C-31"}


def test_bridges_that_only_the_map_has_are_to_be_surveyed(found) -> None:
    # Four bridges are planned over the creek; one of them is in the table.
    facts, _ = found
    table = facts.structures
    of_map = table[table["id"].str.startswith("map ")]
    assert sorted(of_map["road"]) == ["Eelbank Lane", "Mirefield Lane", "Osterlow Lane"]
    assert set(of_map["verdict"]) == {"not known"}


def test_what_is_planned_and_what_is_done(found) -> None:
    facts, lines = found
    works = facts.constraints[facts.constraints["kind"] == "works"]
    roads = lines.road[lines.line[works["place"].to_numpy()]]
    assert set(roads) == {"Vellmark Road", "Tarnholt Lane"}
    assert works["what"].str.contains("2024").sum() == 0
    by_road = lines.length_m[works["place"].to_numpy()][roads == "Vellmark Road"].sum()
    assert by_road == pytest.approx(800, abs=200)  # whole places of some 100 m
    assert "No crash records supplied." in facts.notes
    # All that is said of one run: each thing once.
    run = min(works["place"])
    table = constraints_on(facts, run, run + 8)
    assert len(table) == len(table.drop_duplicates())
    assert {"works", "parcel", "structure", "opening"} <= set(table["kind"])
