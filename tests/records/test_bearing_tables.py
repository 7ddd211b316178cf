"""Reading bearings and their tests: dirty rows, what has to be said, what is asked for."""

from __future__ import annotations

import datetime as dt
from zoneinfo import ZoneInfo

import numpy as np
import pyproj
import pytest

from roadrisk.records.bearing_tables import read_bearing_table
from roadrisk.records.point_tables import place
from roadrisk.records.raw_table import Notes
from roadrisk.records.table_files import read_raw
from roadrisk.records.whereabouts import Whereabouts
from roadrisk.settings import StudySection
from roadrisk.table_settings import BearingsSection, BearingTestsSection

HEAD = "organismID,eventDate,decimalLatitude,decimalLongitude,bearing_degrees,north"
ROW = "007,2024-05-01T09:30,38.50120,-76.10010,47.5,magnetic"
TESTS = (
    "eventDate,decimalLatitude,decimalLongitude,transmitterLatitude,transmitterLongitude,"
    "bearing_degrees"
)
TEST = "2021-03-01,38.50120,-76.10010,38.50300,-76.10020,358"


def read(tmp_path, text, kind="bearings", **section):
    path = tmp_path / "b.csv"
    path.write_text(text, encoding="utf-8")
    part = {"bearings": BearingsSection, "bearing_tests": BearingTestsSection}[kind](
        file=("b.csv",), **section
    )
    study = StudySection(
        name="Reed Hollow", short_name="reed", species="Terrapene carolina",
        start=dt.date(2023, 1, 1), end=dt.date(2025, 12, 31), time_zone="America/New_York",
    )  # fmt: skip
    notes = Notes("b.csv")
    raw = read_raw(path, "b.csv", part, notes)
    where = Whereabouts(ZoneInfo("America/New_York"))
    return read_bearing_table(kind, raw, part, study, where, notes), notes


def lines(notes, kind):
    return [r.line() for r in notes.remarks if r.kind == kind]


def test_a_good_row(tmp_path):
    table, notes = read(tmp_path, f"{HEAD}\n{ROW}\n")
    assert notes.remarks == []
    row = table.iloc[0]
    assert (row["bearing_degrees"], row["north"], row["source_row"]) == (47.5, "magnetic", 2)
    assert np.isnan(row["bearing_sd_degrees"])
    assert str(row["time"]) == "2024-05-01 13:30:00+00:00"


def test_places_end_up_in_the_working_system(tmp_path):
    crs = pyproj.CRS("EPSG:32618")
    table, _ = read(tmp_path, f"{TESTS}\n{TEST}\n", "bearing_tests", north="true")
    placed, lost = place("bearing_tests", [table], crs)
    turn = pyproj.Transformer.from_crs("EPSG:4326", crs, always_xy=True)
    assert not lost.any()
    assert placed.geometry.iloc[0].coords[0] == pytest.approx(turn.transform(-76.1001, 38.5012))
    assert (placed["transmitter_x"].iloc[0], placed["transmitter_y"].iloc[0]) == pytest.approx(
        turn.transform(-76.1002, 38.503)
    )


def test_north_has_to_be_said(tmp_path):
    bare = f"{HEAD}\n{ROW}\n".replace(",north", "").replace(",magnetic", "")
    table, notes = read(tmp_path, bare)
    assert table is None
    (said,) = lines(notes, "error")
    assert "from true or from magnetic north" in said
    assert "[bearings]" in said
    table, notes = read(tmp_path, bare, north="true")
    assert table["north"].tolist() == ["true"]


def test_words_for_north_and_a_usual_one(tmp_path):
    rows = [ROW.replace("47.5,magnetic", f"{n},{w}") for n, w in
            enumerate(["MN", "True", "", "grid", "mag"])]  # fmt: skip
    table, notes = read(tmp_path, "\n".join([HEAD, *rows]), north="true")
    assert table["north"].tolist() == ["magnetic", "true", "true", "magnetic"]
    assert "row 5, column north: 'grid' is neither" in lines(notes, "doubt")[0]
    assert len(lines(notes, "left out")) == 1


def test_bad_bearings_are_left_out_and_said(tmp_path):
    rows = [ROW.replace("47.5", f'"{b}"') for b in ("361", "-3", "N45E", "", "360", "0", "12°")]
    table, notes = read(tmp_path, "\n".join([HEAD, *rows]))
    assert table["bearing_degrees"].tolist() == [360.0, 0.0, 12.0]
    assert [r.row for r in notes.remarks if r.kind == "left out"] == [5, 2, 3, 4]
    assert len(lines(notes, "doubt")) == 3


def test_bad_deviations_are_unknown(tmp_path):
    rows = [f"{ROW},{s}".replace("09:30", f"09:3{i}") for i, s in
            enumerate(["4.5", "0", "-2", "90", "about 5", ""])]  # fmt: skip
    table, notes = read(tmp_path, "\n".join([HEAD + ",bearing_sd_degrees", *rows]))
    assert table["bearing_sd_degrees"].notna().tolist() == [True] + [False] * 5
    assert len(lines(notes, "doubt")) == 4


def test_rows_without_animal_place_or_date_and_repeats(tmp_path):
    rows = [ROW, ROW, ROW.replace("007", ""), ROW.replace("38.50120,-76.10010", ","),
            ROW.replace("2024-05-01T09:30", ""), ROW.replace("47.5", "48")]  # fmt: skip
    table, notes = read(tmp_path, "\n".join([HEAD, *rows]))
    assert table["source_row"].tolist() == [2, 7]
    assert sorted(r.row for r in notes.remarks if r.kind == "left out") == [3, 4, 5, 6]


def test_magnetic_bearings_before_the_models_need_a_declination(tmp_path):
    old = f"{TESTS}\n{TEST.replace('2021', '2008')}\n"
    table, notes = read(tmp_path, old, "bearing_tests", north="magnetic")
    assert table is None
    (said,) = lines(notes, "error")
    assert said.startswith("b.csv, row 2, column eventDate: ")
    assert "declination_degrees" in said
    table, notes = read(tmp_path, old, "bearing_tests", north="magnetic", declination_degrees=-10.8)
    assert notes.remarks == []
    assert len(table) == 1
    assert read(tmp_path, old, "bearing_tests", north="true")[0] is not None


def test_tests_may_lie_outside_the_study_period_and_bearings_not(tmp_path):
    assert read(tmp_path, f"{TESTS}\n{TEST}\n", "bearing_tests", north="true")[1].remarks == []
    table, notes = read(tmp_path, f"{HEAD}\n{ROW.replace('2024', '2021')}\n")
    assert table is None
    assert "outside the study period" in lines(notes, "error")[0]


def test_tests_need_the_transmitters_place(tmp_path):
    text = f"{TESTS}\n{TEST}\n".replace("transmitterLongitude", "elsewhere")
    table, notes = read(tmp_path, text, "bearing_tests", north="true")
    assert table is None
    assert "where the transmitter was" in lines(notes, "error")[0]


def test_an_unknown_bearing_column_is_asked_for(tmp_path):
    text = f"{HEAD}\n{ROW}\n".replace("bearing_degrees", "azimuth")
    table, notes = read(tmp_path, text)
    assert table is None
    assert "[bearings.columns]" in lines(notes, "error")[0]
    table, _ = read(tmp_path, text, columns={"bearing_degrees": "azimuth"})
    assert table["bearing_degrees"].tolist() == [47.5]
