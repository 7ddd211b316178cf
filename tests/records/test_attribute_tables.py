"""Tagged animals and traffic."""

from __future__ import annotations

from zoneinfo import ZoneInfo

import numpy as np
import pandas as pd
import pyproj
import pytest

from roadrisk.records.attribute_tables import read_animals, read_traffic
from roadrisk.records.joined_tables import join_animals, join_sightings, strangers
from roadrisk.records.raw_table import Notes
from roadrisk.records.table_files import read_raw
from roadrisk.records.whereabouts import Whereabouts
from roadrisk.table_settings import AnimalsSection, TableSection
from tests.records.reading import said

HEAD = "organismID,sex,mass_g,transmitter_mass_g,tag_channel"


def animals(tmp_path, text, head=HEAD, roads=None, **section):
    path = tmp_path / "animals.csv"
    path.write_text(head + "\n" + text)
    notes = Notes("animals.csv")
    part = AnimalsSection(file=("animals.csv",), **section)
    raw = read_raw(path, "animals.csv", part, notes)
    where = Whereabouts(ZoneInfo("America/New_York"), roads)
    return read_animals(raw, part, where, notes), notes


def traffic(tmp_path, text):
    path = tmp_path / "traffic.csv"
    path.write_text(text)
    notes = Notes("traffic.csv")
    part = TableSection(file=("traffic.csv",))
    return read_traffic(read_raw(path, "traffic.csv", part, notes), part, notes), notes


def test_heavy_transmitters_are_doubted(tmp_path):
    # By hand: 20 g on 400 g are exactly 5 %, and 25 g are 6.2 %.
    rows, notes = animals(tmp_path, "007,F,400,20,1\n008,M,400,25,2\n009,M,,25,3\n")
    assert rows["organismID"].tolist() == ["007", "008", "009"]
    assert rows["sex"].tolist() == ["female", "male", "male"]
    (doubt,) = said(notes, "doubt")
    assert (doubt.row, doubt.record) == (3, "008")
    assert "6.2 % of the body mass, above 5 %" in doubt.problem
    assert "permit" in doubt.mend
    _, notes = animals(tmp_path, "008,M,400,25,2\n", transmitter_limit_percent=7.5)
    assert not notes.remarks


def test_masses_that_are_none(tmp_path):
    rows, notes = animals(tmp_path, "1,F,heavy,0,1\n2,F,-5,3,2\n")
    assert rows["mass_g"].isna().all()
    assert rows["transmitter_mass_g"].isna().tolist() == [True, False]
    assert [r.column for r in said(notes, "doubt")] == [
        "mass_g", "mass_g", "transmitter_mass_g",
    ]  # fmt: skip


def test_one_row_an_animal(tmp_path):
    rows, notes = animals(tmp_path, "1,F,400,10,1\n1,F,410,10,1\n,M,300,10,2\n")
    assert rows["mass_g"].tolist() == [400]
    assert {(r.row, r.kind) for r in notes.remarks} == {
        (3, "doubt"), (3, "left out"), (4, "left out"),
    }  # fmt: skip


PLACES = "organismID,decimalLatitude,decimalLongitude"
ROADS = (-76.2, 38.4, -76.0, 38.6)


def test_places_of_capture(tmp_path):
    # By hand: decimal degrees, degrees and minutes, and none.
    rows, notes = animals(tmp_path, "1,38.50123,-76.10456\n2,38°30.5'N,76°6.25'W\n3,,\n", PLACES)
    np.testing.assert_allclose(rows["capture_latitude"], [38.50123, 38 + 30.5 / 60, np.nan])
    np.testing.assert_allclose(rows["capture_longitude"], [-76.10456, -76 - 6.25 / 60, np.nan])
    assert not notes.remarks


def test_places_of_capture_under_other_names_and_in_metres(tmp_path):
    # Outside: pyproj's own transformation.
    east, north = pyproj.Transformer.from_crs(4326, 32618, always_xy=True).transform(-76.1, 38.5)
    rows, notes = animals(
        tmp_path, f"1,{east:.3f},{north:.3f}\n", "organismID,E,N",
        columns={"x": "E", "y": "N"}, crs="EPSG:32618",
    )  # fmt: skip
    np.testing.assert_allclose(rows[["capture_longitude", "capture_latitude"]], [[-76.1, 38.5]])
    assert not notes.remarks
    # Columns x and y that nobody named mean nothing.
    rows, notes = animals(tmp_path, "1,3,4\n", "organismID,x,y")
    assert rows["capture_latitude"].isna().all()
    assert not notes.remarks


@pytest.mark.parametrize(
    ("written", "problem", "mend"),
    [
        ("here,there", "a coordinate can't be read; where it was caught", "decimal degrees"),
        ("0,0", "position (0, 0) stands for unknown; where it was caught", "leave it empty"),
        ("38.501,", "only one coordinate, or one outside its system; where it was", "leave it"),
        ("-76.10123,38.50123", "seem to be exchanged; where it was caught", "38.50123"),
        ("138.50123,-76.10123", "is no place on Earth", "latitude"),
    ],
)
def test_places_of_capture_that_are_none(written, problem, mend, tmp_path):
    # The animal stays; only where it was caught is taken as unknown, and one doubt says so.
    good = "".join(f"{i},38.50123,-76.10123\n" for i in range(1, 6))
    rows, notes = animals(tmp_path, f"{good}6,{written}\n", PLACES, ROADS)
    assert rows["capture_latitude"].isna().tolist() == [False] * 5 + [True]
    (doubt,) = notes.remarks
    assert (doubt.kind, doubt.row, doubt.record) == ("doubt", 7, "6")
    assert problem in doubt.problem
    assert mend in doubt.mend


def test_a_whole_table_of_captures_with_the_wrong_sign(tmp_path):
    rows, notes = animals(tmp_path, "1,38.50123,76.10123\n2,38.50123,76.10123\n", PLACES, ROADS)
    (doubt,) = notes.remarks
    assert doubt.mend == 'write longitude = "unsigned west" in [animals]'
    text = "1,38.50123,76.10123\n"
    rows, notes = animals(tmp_path, text, PLACES, ROADS, longitude="unsigned west")
    assert rows["capture_longitude"].tolist() == [-76.10123]
    assert not notes.remarks


def test_half_a_place_of_capture_stops(tmp_path):
    rows, notes = animals(tmp_path, "1,-76.1\n", "organismID,decimalLongitude")
    assert rows is None
    (error,) = said(notes, "error")
    assert (error.column, error.mend.split(",")[0]) == (
        "decimalLongitude", "add the column decimalLatitude",
    )  # fmt: skip


def test_shared_channels_over_files(tmp_path):
    one, _ = animals(tmp_path, "1,F,400,10,150.110\n2,F,400,10,150.120\n")
    two, _ = animals(tmp_path, "3,M,400,10,150.110\n2,M,400,10,\n4,M,400,10,\n5,M,400,10,\n")
    joined, remarks = join_animals([one, two])
    assert joined["organismID"].tolist() == ["1", "2", "3", "4", "5"]
    (channel,) = [r for r in remarks if r.column == "tag_channel"]
    assert channel.problem == "animals 1, 3 share tag channel 150.110."
    assert [r.kind for r in remarks if r.record == "2"] == ["doubt", "left out"]


def test_repeated_report_ids_get_a_suffix():
    # By hand; a suffix that is taken is passed over.
    table = pd.DataFrame(
        {
            "occurrenceID": ["A", "A", "A-2", "A", "B"],
            "source_file": "s.csv",
            "source_row": [2, 3, 4, 5, 6],
        }
    )
    joined, remarks = join_sightings([table])
    assert joined["occurrenceID"].tolist() == ["A", "A-3", "A-2", "A-4", "B"]
    assert [(r.kind, r.row, r.record) for r in remarks] == [
        ("doubt", 3, "A-3"), ("doubt", 5, "A-4"),
    ]  # fmt: skip
    assert table["occurrenceID"].tolist() == ["A", "A", "A-2", "A", "B"]


def test_fixes_of_unknown_animals(tmp_path):
    known, _ = animals(tmp_path, "007,F,400,10,1\n")
    fixes = pd.DataFrame(
        {"organismID": ["007", "7", "7", "9"], "source_file": "f.csv", "source_row": [2, 3, 4, 5]}
    )
    remarks = strangers(known, fixes)
    assert [(r.kind, r.row, r.record) for r in remarks] == [("doubt", 3, "7"), ("doubt", 5, "9")]
    assert "leading zeros" in remarks[0].mend
    assert "2 fixes" in remarks[0].problem
    assert "leading zeros" not in remarks[1].mend


def test_traffic(tmp_path):
    # By hand: quoted thousands in a comma table are plain; 12,345 in a semicolon table is not.
    rows, notes = traffic(
        tmp_path,
        'name,route,begin_measure,end_measure,aadt,aadt_year\nReed Road,,,,"12,345",2023\n'
        ",R12,3.5,4.5,800,2021\n,,,,900,2021\nX,,,,busy,2021\n",
    )
    assert rows["source_row"].tolist() == [2, 3, 5]
    np.testing.assert_array_equal(rows["aadt"], [12345, 800, np.nan])
    assert rows["begin_measure"].iloc[1] == 3.5
    assert [r.row for r in said(notes, "left out")] == [4]
    assert [r.row for r in said(notes, "doubt")] == [5]
    rows, notes = traffic(tmp_path, "name;aadt\nA;12,345\nB;1200\nC;12.345\n")
    np.testing.assert_array_equal(rows["aadt"], [np.nan, 1200, np.nan])
    assert len(said(notes, "doubt", "thousands or a fraction")) == 2


@pytest.mark.parametrize("text", ["aadt\n5\n", "name\nA\n"])
def test_traffic_needs_a_road_and_a_count(tmp_path, text):
    rows, notes = traffic(tmp_path, text)
    assert rows is None
    assert said(notes, "error")
