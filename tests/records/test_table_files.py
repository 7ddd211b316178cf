"""Files as they come: delimiters, encodings, blank rows, workbooks, GPX and map layers."""

from __future__ import annotations

import datetime as dt
import json

import geopandas as gpd
import numpy as np
import pytest
import shapely
from openpyxl import Workbook

from roadrisk.records.columns import numbers
from roadrisk.records.raw_table import Notes
from roadrisk.records.table_files import read_raw
from roadrisk.records.text_size import find_delimiter
from roadrisk.table_settings import TableSection
from tests.records.reading import read_path, read_text, said


def raw_of(path, **section):
    notes = Notes(path.name)
    return read_raw(path, path.name, TableSection(file=(path.name,), **section), notes), notes


def raw_text(tmp_path, text, name="t.csv", encoding="utf-8", **section):
    path = tmp_path / name
    path.write_bytes(text if isinstance(text, bytes) else text.encode(encoding))
    return raw_of(path, **section)


@pytest.mark.parametrize(
    ("text", "delimiter"),
    [
        ("a,b,c\n1;2;3,4,5\n", ","),
        ("a;b;c\n1,2;3,4;5\n", ";"),
        ("a\tb\tc\n", "\t"),
        ("\n\n;;\na;b\n", ";"),
        ('"x,y,z";b;c\n', ";"),
        ("alone\n1\n", ","),
        ("a;b\r1;2\r", ";"),
        ("a;" + "b" * 200_000 + "\n1;2\n", ";"),
    ],
)
def test_the_delimiter_is_read_off_the_header(text, delimiter):
    # By hand.
    assert find_delimiter(text) == delimiter


def test_decimal_commas_in_a_semicolon_table(tmp_path):
    # By hand: 38,5012 is 38.5012 degrees; 12,5 m is twelve and a half.
    rows, notes = read_text(
        tmp_path,
        "fixes",
        "organismID;eventDate;decimalLatitude;decimalLongitude;coordinateUncertaintyInMeters\n"
        "7;2024-05-01;38,5012;-76,1001;12,5\n",
    )
    assert rows[["lat", "lon"]].iloc[0].tolist() == [38.5012, -76.1001]
    assert rows["coordinateUncertaintyInMeters"].tolist() == [12.5]
    assert not notes.remarks


def test_a_comma_between_groups_of_digits_is_no_decimal_comma():
    # By hand: 12,345 in a table cut by commas is twelve thousand.
    import pandas as pd

    text = pd.Series(["12,345", "1,234,567.5", "12,34", "7", "", "1e3", "inf"])
    expected = [12345, 1234567.5, np.nan, 7, np.nan, 1000, np.nan]
    np.testing.assert_array_equal(numbers(text, decimal_comma=False), expected)
    np.testing.assert_array_equal(
        numbers(pd.Series(["12,345", "0,5", "-7"]), decimal_comma=True), [12.345, 0.5, -7]
    )


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16"])
def test_unicode_with_and_without_a_mark(tmp_path, encoding):
    raw, notes = raw_text(tmp_path, "Größe,b\nÅ,2\n", encoding=encoding)
    assert raw.frame.columns.tolist() == ["Größe", "b"]
    assert raw.frame["Größe"].tolist() == ["Å"]
    assert not notes.remarks


def test_other_encodings_are_doubted_unless_named(tmp_path):
    text = "name,note\na,x\nb,déjà – vu\n"
    raw, notes = raw_text(tmp_path, text, encoding="cp1252")
    assert raw.frame["note"].tolist() == ["x", "déjà – vu"]
    (doubt,) = notes.remarks
    assert (doubt.kind, doubt.row) == ("doubt", 3)
    assert 'encoding = "cp1252"' in doubt.mend
    raw, notes = raw_text(tmp_path, text, encoding="cp1252", name="u.csv")
    path = tmp_path / "u.csv"
    raw, notes = raw_of(path, encoding="cp1252")
    assert raw.frame["note"].iloc[1] == "déjà – vu"
    assert not notes.remarks
    # 0x81 has no meaning in Windows-1252.
    raw, notes = raw_text(tmp_path, b"a,b\n\xe9,\x81\n")
    assert "latin-1" in notes.remarks[0].problem
    raw, notes = (
        raw_text(tmp_path, b"a,b\n\xe9,1\n", encoding="ascii")
        if False
        else raw_of(tmp_path / "t.csv", encoding="utf-8")
    )
    assert raw is None
    assert notes.remarks[0].row == 2


def test_ids_keep_their_zeros_and_blanks_are_blank(tmp_path):
    raw, _ = raw_text(tmp_path, "id,b\n007, NA\n 1e5 ,nan\n,#N/A\n0x1,null\n")
    assert raw.frame["id"].tolist() == ["007", "1e5", "0x1"]
    assert raw.frame["b"].tolist() == ["", "", ""]


def test_row_numbers_are_those_of_a_spreadsheet(tmp_path):
    # By hand: blank rows, rows of delimiters only, and line breaks in cells don't shift them.
    raw, _ = raw_text(tmp_path, 'a,b\n1,x\n\n,,\n2,"two\nlines"\n3,y\n')
    assert raw.frame["a"].tolist() == ["1", "2", "3"]
    assert raw.rows.tolist() == [2, 5, 6]
    raw, _ = raw_text(tmp_path, "\n\na,b\n1,x\n", name="late.csv")
    assert raw.rows.tolist() == [4]


def test_short_and_long_rows(tmp_path):
    raw, notes = raw_text(tmp_path, "a,b,c\n1\n1,2,3,\n1,2,3,4\n5,6,7\n")
    assert raw.frame.to_numpy().tolist() == [["1", "", ""], ["1", "2", "3"], ["5", "6", "7"]]
    assert raw.rows.tolist() == [2, 3, 5]
    assert [(r.kind, r.row) for r in notes.remarks] == [("doubt", 4), ("left out", 4)]


def test_a_row_that_is_wider_than_any_of_its_lines(tmp_path):
    # By hand: five fields over two lines of three and two.
    raw, notes = raw_text(tmp_path, 'a,b,c\n1,2,3\n1,2,"x\ny",4,5\n7,8,9\n')
    assert raw.frame["a"].tolist() == ["1", "7"]
    assert [(r.kind, r.row) for r in notes.remarks] == [("doubt", 3), ("left out", 3)]


def test_rows_swallowed_by_an_open_quote_are_doubted(tmp_path):
    text = 'a,b,c\n1,2,"x\n4,5,6\n7,8,"y"\n9,9,9\n'
    raw, notes = raw_text(tmp_path, text)
    if raw is not None:
        assert said(notes, "doubt", "quote")
    else:
        assert said(notes, "error", "quote")
    # A remark of several lines is no such thing.
    _, notes = raw_text(tmp_path, 'a,b,c\n1,2,"x, and\nmore, of it"\n', name="fine.csv")
    assert not notes.remarks


def test_many_alike_doubts_are_counted_after_the_first_twenty(tmp_path):
    _, notes = raw_text(tmp_path, "a\n" + "1,2\n" * 50 + "3\n")
    assert len(said(notes, "doubt")) == 21
    assert "30 more rows" in said(notes, "doubt")[-1].problem
    assert len(said(notes, "left out")) == 50


@pytest.fixture
def workbook(tmp_path):
    book = Workbook()
    page = book.active
    page.append(["organismID", "eventDate", "decimalLatitude", "decimalLongitude", "Zeit"])
    page.append(["007", dt.datetime(2024, 5, 1), 38.5012, -76.1001, None])  # noqa: DTZ001
    page.append([None] * 5)
    page.append([8, dt.datetime(2024, 5, 2, 17, 30), "38,5013", "76°06.12'W", None])  # noqa: DTZ001
    page.append([8.0, "2024-05-03", 38.5014, -76.1003, dt.time(9, 5)])
    page["B2"].number_format = "yyyy-mm-dd"
    page["B4"].number_format = "yyyy-mm-dd hh:mm"
    path = tmp_path / "t.xlsx"
    book.save(path)
    return path


def test_workbook(workbook):
    # By hand: a date cell without a time stays a date; the blank row keeps its number.
    rows, notes = read_path(workbook, "fixes", columns={"eventTime": "Zeit"})
    assert rows["organismID"].tolist() == ["007", "8", "8"]
    assert rows["source_row"].tolist() == [2, 4, 5]
    assert rows["eventDate"].tolist() == [
        "2024-05-01",
        "2024-05-02T17:30:00",
        "2024-05-03T09:05:00",
    ]
    assert rows["time_known"].tolist() == [False, True, True]
    assert rows["lat"].tolist() == pytest.approx([38.5012, 38.5013, 38.5014])
    assert rows["lon"].iloc[1] == pytest.approx(-(76 + 6.12 / 60))
    assert not said(notes, "error")


def test_sheets(tmp_path):
    book = Workbook()
    book.active.append(["a"])
    book.active.append([1])
    other = book.create_sheet("2024")
    other.append(["b"])
    other.append([2])
    book.create_sheet("empty")
    path = tmp_path / "t.xlsx"
    book.save(path)
    raw, notes = raw_of(path)
    assert raw.frame.columns.tolist() == ["a"]
    assert "2 sheets" in notes.remarks[0].problem
    raw, notes = raw_of(path, sheet="2024")
    assert raw.frame.columns.tolist() == ["b"]
    assert not notes.remarks
    raw, notes = raw_of(path, sheet="2023")
    assert raw is None
    assert "'2024'" in notes.remarks[0].mend


GPX = """<?xml version="1.0"?>
<gpx version="1.1" creator="x" xmlns="http://www.topografix.com/GPX/1/1">{}</gpx>"""
WPT = '<wpt lat="38.5" lon="-76.1"><time>2024-05-01T13:00:00Z</time><name>007</name></wpt>'
TRK = (
    "<trk><name>008</name><trkseg>"
    '<trkpt lat="38.6" lon="-76.2"><time>2024-05-02T13:00:00Z</time></trkpt>'
    '<trkpt lat="38.7" lon="-76.3"><time>2024-05-02T14:00:00Z</time></trkpt>'
    "</trkseg></trk>"
)


def test_gpx(tmp_path):
    # By hand.
    columns = {"organismID": "name"}
    rows, _ = read_text(tmp_path, "fixes", GPX.format(WPT), name="w.gpx", columns=columns)
    assert rows[["organismID", "lat", "lon", "source_row"]].to_numpy().tolist() == [
        ["007", 38.5, -76.1, 2]
    ]
    assert rows["time"].iloc[0].isoformat() == "2024-05-01T13:00:00+00:00"
    both = GPX.format(WPT + TRK)
    rows, notes = read_text(tmp_path, "fixes", both, name="b.gpx", columns=columns)
    assert rows is None
    assert 'layer = "waypoints"' in notes.remarks[0].mend
    rows, _ = read_text(tmp_path, "fixes", both, name="b.gpx", columns=columns, layer="tracks")
    assert rows["organismID"].tolist() == ["008", "008"]
    assert rows["lon"].tolist() == [-76.2, -76.3]


@pytest.mark.parametrize("ending", ["gpkg", "shp", "geojson"])
def test_layers_of_points(tmp_path, ending):
    # Against geopandas, which wrote the layer: every position comes back in WGS 84.
    crs = "EPSG:4326" if ending == "geojson" else "EPSG:32618"
    points = gpd.GeoDataFrame(
        {"animal": ["007", "008"], "when": ["2024-05-01", "2024-05-02T08:00:00"], "n": [1, 2]},
        geometry=gpd.points_from_xy([-76.1, -76.2], [38.5, 38.6], crs="EPSG:4326"),
    ).to_crs(crs)
    path = tmp_path / f"t.{ending}"
    points.to_file(path)
    rows, notes = read_path(path, "fixes", columns={"organismID": "animal", "eventDate": "when"})
    assert rows["organismID"].tolist() == ["007", "008"]
    np.testing.assert_allclose(rows[["lon", "lat"]], [[-76.1, 38.5], [-76.2, 38.6]], atol=1e-9)
    assert rows["time_known"].tolist() == [False, True]
    assert rows["source_row"].tolist() == [2, 3]
    assert not said(notes, "error")


def test_layer_with_an_empty_point_and_a_single_multipoint(tmp_path):
    points = gpd.GeoDataFrame(
        {"organismID": ["1", "2", "3"], "eventDate": ["2024-05-01"] * 3},
        geometry=[shapely.Point(-76.1, 38.5), None, shapely.MultiPoint([(-76.2, 38.6)])],
        crs="EPSG:4326",
    )
    path = tmp_path / "t.gpkg"
    points.to_file(path)
    rows, notes = read_path(path, "fixes")
    assert rows["organismID"].tolist() == ["1", "3"]
    assert [r.row for r in said(notes, "left out", "no coordinates")] == [3]


def test_layer_with_lines_is_no_table_of_points(tmp_path):
    path = tmp_path / "t.geojson"
    line = {"type": "LineString", "coordinates": [[0, 0], [1, 1]]}
    feature = {"type": "Feature", "properties": {}, "geometry": line}
    path.write_text(json.dumps({"type": "FeatureCollection", "features": [feature]}))
    rows, notes = read_path(path, "fixes")
    assert rows is None
    assert "LineString where points are needed" in notes.remarks[0].problem
