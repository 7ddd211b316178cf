"""Survey effort and other reports as they are written: by hand."""

from __future__ import annotations

import geopandas as gpd
import numpy as np
import pytest
from shapely import LineString

from roadrisk.records.effort_tables import read_effort
from roadrisk.records.point_tables import read_point_table
from roadrisk.records.raw_table import Notes
from roadrisk.records.study_folder import read_study
from roadrisk.records.table_files import read_raw
from roadrisk.records.whereabouts import Whereabouts
from roadrisk.table_settings import BackgroundSection, EffortSection
from tests.hostile.broken_folders import change, good_folder, put
from tests.records.reading import said, study


def effort(tmp_path, text, name="effort.csv", **section):
    path = tmp_path / name
    path.write_text(text, encoding="utf-8")
    notes = Notes(name)
    part = EffortSection(file=(name,), **section)
    return read_effort(path, name, part, study(), notes), notes


ROUTE = "route,begin_measure,end_measure,"


def test_amounts_in_words_and_units(tmp_path):
    # By hand: passes, a bare number, kilometres, miles.
    rows, notes = effort(
        tmp_path, ROUTE + "samplingEffort\nR1,0,1,3 passes\nR1,1,2,2\nR1,2,3,1.5 km\nR1,3,4,2 mi\n"
    )
    assert rows["amount"].tolist() == pytest.approx([3, 2, 1500, 3218.688])
    assert rows["amount_unit"].tolist() == ["passes", "passes", "metres", "metres"]
    assert not notes.remarks
    rows, _ = effort(
        tmp_path, ROUTE + "sampleSizeValue,sampleSizeUnit\nR1,0,1,90,minutes\nR1,1,2,2,h\n"
    )
    assert rows["amount"].tolist() == pytest.approx([1.5, 2])
    assert set(rows["amount_unit"]) == {"hours"}


def test_a_row_without_an_amount_column_is_one_pass(tmp_path):
    rows, _ = effort(tmp_path, "route,eventDate\nR1,2024-05-01\nR1,\n")
    assert rows["amount"].tolist() == [1, 1]
    assert rows["time"].notna().tolist() == [True, False]
    assert rows["begin_measure"].isna().all()


def test_no_effort_and_effort_outside_the_period_are_left_out(tmp_path):
    rows, notes = effort(
        tmp_path,
        "route,eventDate,samplingEffort\nR1,2024-05-01,0\nR1,2019-05-01,2\nR1,2024-05-02,1\n",
    )
    assert rows["source_row"].tolist() == [4]
    assert [r.problem for r in said(notes, "left out")] == [
        "effort outside the study period", "no effort (0)",
    ]  # fmt: skip


@pytest.mark.parametrize(
    ("text", "row", "column", "words"),
    [
        ("route,samplingEffort\nR1,2\nR1,often\n", 3, "samplingEffort", "'often' is no amount"),
        ("route,samplingEffort\nR1,-2\n", 2, "samplingEffort", "'-2' is no amount"),
        ("route,samplingEffort\nR1,\n", 2, "samplingEffort", "doesn't say how much"),
        ("route,samplingEffort\nR1,2 moons\n", 2, "samplingEffort", "'moons' is no unit"),
        ("route,samplingEffort\nR1,2 h\nR1,3\n", 2, "samplingEffort", "can't be added up"),
        ("route,eventDate\nR1,2024-13-45\n", 2, "eventDate", "can't be read as a date"),
        ("route,begin_measure,end_measure\nR1,1,x\n", 2, "begin_measure", "only one measure"),
        ("route,samplingEffort\n,2\n", 2, "", "doesn't say which road"),
        ("footprintWKT\nLINE(1 2)\n", 2, "footprintWKT", "can't be read"),
        ('footprintWKT\n"CIRCULARSTRING (0 0, 1 1, 2 0)"\n', 2, "footprintWKT", "can't be read"),
        ("footprintWKT\nPOINT(-76 38)\n", 2, "footprintWKT", "no line of any length"),
        ("beginLatitude,beginLongitude,endLatitude,endLongitude\n38.5,-76.1,38.6,\n", 2,
         "beginLongitude", "missing or no place on Earth"),
        ("begin_x,begin_y,end_x,end_y\n1,2,3,4\n", None, "begin_x", "need the system"),
    ],
)  # fmt: skip
def test_bad_rows_are_errors(tmp_path, text, row, column, words):
    # A row that can't be read would silently change what the records are compared with.
    rows, notes = effort(tmp_path, text)
    assert rows is None
    (error,) = said(notes, "error")
    assert (error.row, error.column) == (row, column)
    assert words in error.problem
    assert error.mend
    assert error.line().isprintable()


def test_lines_and_ends(tmp_path):
    # By hand: WKT, ends in degrees, and the same ends in metres.
    rows, _ = effort(tmp_path, 'footprintWKT\n"LINESTRING (-76.1 38.5, -76.0 38.5)"\n')
    assert rows["placed_by"].tolist() == ["line"]
    assert rows.geometry.iloc[0].length == pytest.approx(0.1)
    head = "beginLatitude,beginLongitude,endLatitude,endLongitude\n"
    by_degrees, _ = effort(tmp_path, head + "38.5,76.1,38.5,76.0\n", longitude="unsigned west")
    assert by_degrees["placed_by"].tolist() == ["ends"]
    assert by_degrees.geometry.iloc[0].coords[0] == pytest.approx((-76.1, 38.5))
    metres = gpd.GeoSeries(by_degrees.geometry).to_crs("EPSG:32618").iloc[0]
    text = "begin_x,begin_y,end_x,end_y\n" + ",".join(f"{v}" for v in np.ravel(metres.coords))
    by_metres, _ = effort(tmp_path, text + "\n", crs="EPSG:32618")
    assert by_metres.geometry.iloc[0].equals_exact(by_degrees.geometry.iloc[0], 1e-6)


def test_a_layer_of_lines(tmp_path):
    lines = gpd.GeoDataFrame(
        {"samplingEffort": ["2", "4 passes"]},
        geometry=[LineString([(500_000, 4e6), (500_900, 4e6)])] * 2, crs="EPSG:32618",
    )  # fmt: skip
    lines.to_file(tmp_path / "effort.gpkg", engine="pyogrio")
    notes = Notes("effort.gpkg")
    part = EffortSection(file=("effort.gpkg",))
    rows = read_effort(tmp_path / "effort.gpkg", "effort.gpkg", part, study(), notes)
    assert rows["amount"].tolist() == [2, 4]
    assert rows.to_crs("EPSG:32618").length.tolist() == pytest.approx([900, 900], rel=1e-6)


def test_two_files_of_effort(tmp_path):
    # One by route without dates, one by line with dates: both rows, and no warning.
    folder = good_folder(tmp_path / "s")
    section = '[effort]\nfile = ["walks.csv", "drives.csv"]\n\n[animals]'
    change("study.toml", "[animals]", section)(folder)
    put("walks.csv", "route\nR12\n")(folder)
    line = "LINESTRING (-76.106 38.5, -76.102 38.5)"
    put("drives.csv", f'footprintWKT,eventDate\n"{line}",2024-05-02\n')(folder)
    rows = read_study(folder).effort
    assert rows["placed_by"].tolist() == ["route", "line"]
    assert rows["time"].isna().tolist() == [True, False]
    assert rows.geometry.iloc[1].length == pytest.approx(349, abs=2)


def test_background_needs_no_ids_and_leaves_out_the_species_itself(tmp_path):
    # By hand: three reports, one of the study's own species.
    path = tmp_path / "others.csv"
    path.write_text(
        "eventDate,decimalLatitude,decimalLongitude,scientificName,recordedBy\n"
        "2024-05-01,38.501,-76.101,Rana,A\n2024-05-01,38.502,-76.101,terrapene carolina,A\n"
        "2024-05-02,38.503,-76.101,,\n"
    )
    notes = Notes("others.csv")
    part = BackgroundSection(file=("others.csv",))
    raw = read_raw(path, "others.csv", part, notes)
    about = study()
    rows = read_point_table("background", raw, part, about, Whereabouts(about.zone), notes)
    assert rows["recordedBy"].tolist() == ["A", ""]
    assert (rows["coordinateUncertaintyInMeters"] == 100).all()
    (left,) = said(notes, "left out")
    assert (left.row, "own species" in left.problem) == (3, True)
