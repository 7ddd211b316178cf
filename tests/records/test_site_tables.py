"""Tables of what is there at or along roads: each kind of dirt, by hand."""

from __future__ import annotations

from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo

import geopandas as gpd
import numpy as np
import pytest
import shapely

from roadrisk.errors import InputError
from roadrisk.records.raw_table import Notes
from roadrisk.records.site_schemas import SITE_TABLES, site_schema
from roadrisk.records.site_tables import read_site_table
from roadrisk.records.study_folder import read_study
from roadrisk.table_settings import LandSection, SiteSection, StructuresSection
from tests.hostile.broken_folders import change, good_folder, put, with_table
from tests.records.reading import said

if TYPE_CHECKING:
    from pathlib import Path

ZONE = ZoneInfo("America/New_York")
SECTIONS = {"structures": StructuresSection, "parcels": LandSection, "wetlands": LandSection}
STRUCTURES = """\
id,type,span_m,rise_m,length_m,perched,water,grate,condition,inspected,decimalLatitude,decimalLongitude
C1,Box culvert,1.2,0.9,14,no,Seasonal,N,good,2024-05-02,38.5000,-76.1040
C2,pipe,,0.4,,yes,dry,,poor,2023,38.5001,-76.0990
"""


def read(tmp_path: Path, kind: str, text: str | gpd.GeoDataFrame, **more):
    """Write a table or a layer, read it, and return (table or None, notes)."""
    path = tmp_path / (f"{kind}.csv" if isinstance(text, str) else f"{kind}.gpkg")
    if isinstance(text, str):
        path.write_text(text, encoding="utf-8")
    else:
        text.to_file(path)
    section = SECTIONS.get(kind, SiteSection)(file=(path.name,), **more)
    notes = Notes(path.name)
    return read_site_table(path, path.name, kind, section, ZONE, notes), notes


def layer(shapes: list[object], **columns: list[object]) -> gpd.GeoDataFrame:
    return gpd.GeoDataFrame(columns, geometry=shapes, crs="EPSG:4326")


def test_structures_in_words_of_field_sheets(tmp_path: Path) -> None:
    found, notes = read(tmp_path, "structures", STRUCTURES)
    assert notes.remarks == []
    assert found["id"].tolist() == ["C1", "C2"]
    assert found["type"].tolist() == ["culvert", "culvert"]
    assert found["water"].tolist() == ["seasonal", "dry"]
    assert found["grate"].tolist() == ["no", ""]
    assert found["condition"].tolist() == ["good", "bad"]
    assert found["inspected"].tolist() == ["2024-05-02", "2023"]
    assert np.allclose(found["rise_m"], [0.9, 0.4])
    assert found["span_m"].isna().tolist() == [False, True]
    assert found["placed_by"].tolist() == ["point", "point"]
    assert (found.geometry.iloc[0].x, found.geometry.iloc[0].y) == (-76.104, 38.5)


def test_the_same_by_route_and_measure(tmp_path: Path) -> None:
    text = "type,route,route_measure\nculvert,R12,3.42\nbridge,,\n"
    found, notes = read(tmp_path, "structures", text)
    assert found["placed_by"].tolist() == ["route point"]
    assert found["route_measure"].tolist() == [3.42]
    assert found["id"].tolist() == ["structures-2"]
    assert found.geometry.isna().all()
    (left,) = notes.remarks
    assert (left.kind, left.row) == ("left out", 3)


@pytest.mark.parametrize(
    ("old", "new", "row", "column", "says"),
    [
        (",0.9,", ",low,", 2, "rise_m", "'low' is no number above 0"),
        (",0.9,", ",-1,", 2, "rise_m", "'-1' is no number above 0"),
        ("2024-05-02", "last spring", 2, "inspected", "can't be read as a year or a date"),
        ("2024-05-02", "03/04/2024", 2, "inspected", "doesn't tell day from month"),
        ("38.5001", "98.5001", 3, "decimalLatitude", "no place on Earth"),
        ("38.5001", "by the oak", 3, "decimalLatitude", "no place on Earth"),
        ("id,type", "id,tipe", None, "type", "there is no column type"),
    ],
)
def test_cells_that_cannot_be_read_are_errors(tmp_path: Path, old, new, row, column, says) -> None:
    found, notes = read(tmp_path, "structures", STRUCTURES.replace(old, new, 1))
    assert found is None
    (error,) = said(notes, "error")
    assert says in error.problem
    assert (error.row, error.column) == (row, column)
    assert error.mend


@pytest.mark.parametrize(
    ("old", "new", "column"),
    [(",yes,", ",slightly,", "perched"), ("Box culvert", "elephant pass", "type"),
     ("Seasonal", "muddy", "water"), ("good", "so so", "condition")],
)  # fmt: skip
def test_words_that_nobody_knows_are_doubts(tmp_path: Path, old, new, column) -> None:
    found, notes = read(tmp_path, "structures", STRUCTURES.replace(old, new))
    (doubt,) = notes.remarks
    assert (doubt.kind, doubt.column) == ("doubt", column)
    assert new.strip(",") in doubt.problem
    assert "" in found[column].tolist()


def test_one_id_twice_is_doubted(tmp_path: Path) -> None:
    found, notes = read(tmp_path, "structures", STRUCTURES.replace("C2", "C1"))
    (doubt,) = said(notes, "doubt")
    assert (doubt.row, doubt.column) == (3, "id")
    assert len(found) == 2


def test_fences_by_measures_ends_and_line(tmp_path: Path) -> None:
    text = (
        "id,height_m,side,built,route,begin_measure,end_measure,footprintWKT\n"
        "F1,0.6,,2019,R12,3.1,3.3,\n"
        'F2,,Left,,,,,"LINESTRING (-76.105 38.5, -76.103 38.5)"\n'
    )
    found, notes = read(tmp_path, "fences", text)
    assert notes.remarks == []
    assert found["placed_by"].tolist() == ["route", "line"]
    assert found["side"].tolist() == ["both", "left"]
    assert found["built"].tolist() == ["2019", ""]
    assert found["begin_measure"].tolist()[0] == 3.1


@pytest.mark.parametrize(
    ("row", "says"),
    [("F1,R12,3.1,", "only one measure"), ("F1,,,", "doesn't say which road")],
)
def test_fences_nowhere_are_errors(tmp_path: Path, row, says) -> None:
    found, notes = read(tmp_path, "fences", f"id,route,begin_measure,end_measure\n{row}\n")
    assert found is None
    assert says in notes.remarks[0].problem
    assert notes.remarks[0].row == 2


def test_works_at_places_and_along_roads(tmp_path: Path) -> None:
    text = (
        "id,kind,year,route,begin_measure,end_measure,route_measure,decimalLatitude,"
        "decimalLongitude\n"
        "W1,resurfacing,2027,R12,3.1,3.6,,,\n"
        "W2,culvert replacement,2028,R12,,,3.4,,\n"
        "W3,widening,,,,,,38.5,-76.1\n"
    )
    found, notes = read(tmp_path, "works", text)
    assert notes.remarks == []
    assert found["placed_by"].tolist() == ["route", "route point", "point"]
    assert found["year"].tolist() == ["2027", "2028", ""]
    assert found["route_measure"].tolist()[1] == 3.4


def test_a_layer_of_works_holds_lines_and_points(tmp_path: Path) -> None:
    shapes = [shapely.LineString([(-76.105, 38.5), (-76.1, 38.5)]), shapely.Point(-76.1, 38.5)]
    found, notes = read(tmp_path, "works", layer(shapes, kind=["a", "b"], year=[2027, 2028]))
    assert notes.remarks == []
    assert found["placed_by"].tolist() == ["line", "point"]
    assert found["year"].tolist() == ["2027", "2028"]


def test_a_layer_of_points_for_structures(tmp_path: Path) -> None:
    shapes = [shapely.Point(-76.104, 38.5), None]
    found, notes = read(tmp_path, "structures", layer(shapes, type=["culvert", "bridge"]))
    assert len(found) == 1
    assert [r.kind for r in notes.remarks] == ["left out"]
    line = [shapely.LineString([(-76.1, 38.5), (-76.0, 38.5)])]
    found, notes = read(tmp_path, "structures", layer(line, type=["culvert"]))
    assert found is None
    assert "LineString where points are needed" in notes.remarks[0].problem


def test_waypoints_of_a_device(tmp_path: Path) -> None:
    path = tmp_path / "culverts.gpx"
    path.write_text(
        '<gpx version="1.1" creator="by hand" xmlns="http://www.topografix.com/GPX/1/1">'
        '<wpt lat="38.5" lon="-76.104"><name>C7</name><type>culvert</type></wpt></gpx>'
    )
    section = StructuresSection(file=(path.name,), columns={"id": "name"})
    notes = Notes(path.name)
    found = read_site_table(path, path.name, "structures", section, ZONE, notes)
    assert notes.remarks == []
    assert found["id"].tolist() == ["C7"]
    assert found.geometry.iloc[0].x == -76.104


def test_land_in_polygons(tmp_path: Path) -> None:
    box = shapely.box(-76.105, 38.499, -76.1, 38.501)
    text = layer([box, box, None], kind=["ROW", "swampish", "private"], owner=["County", "", "X"])
    found, notes = read(tmp_path, "parcels", text)
    assert found["kind"].tolist() == ["right-of-way", ""]
    assert sorted(r.kind for r in notes.remarks) == ["doubt", "left out"]
    found, notes = read(tmp_path, "wetlands", layer([shapely.Point(0, 0)], kind=["fen"]))
    assert found is None
    assert "polygons are needed" in notes.remarks[0].problem


def test_crashes_are_read_without_what_is_said_of_people(tmp_path: Path) -> None:
    text = (
        "id,eventDate,severity,animal,decimalLatitude,decimalLongitude,driver\n"
        "K1,2024-05-02,slight,yes,38.5,-76.1,A. Person\n"
    )
    found, _ = read(tmp_path, "crashes", text)
    assert found["animal"].tolist() == ["yes"]
    assert "driver" not in found.columns


@pytest.mark.parametrize("kind", SITE_TABLES)
def test_every_table_comes_with_its_declared_columns(tmp_path: Path, kind: str) -> None:
    """By hand: a row with nothing but a place keeps to the schema."""
    needed = SITE_TABLES[kind].needed
    if SITE_TABLES[kind].places == "areas":
        box = shapely.box(-76.105, 38.499, -76.1, 38.501)
        text = layer([box], **{t: [""] for t in needed}, id=["1"])
    else:
        head = ",".join(["id", *needed, "route", "route_measure", "begin_measure", "end_measure"])
        text = f"{head}\nA{',' * len(needed)},R12,3.2,3.1,3.3\n"
    found, notes = read(tmp_path, kind, text)
    assert said(notes, "error") == []
    assert list(found.columns) == list(site_schema(kind).columns)


def test_a_study_carries_them_in_its_own_system(tmp_path: Path) -> None:
    folder = good_folder(tmp_path / "s")
    with_table("structures", STRUCTURES)(folder)
    study = read_study(folder)
    assert study.structures is not None
    assert study.structures.crs == study.crs
    assert study.fences is None
    assert "structures.csv" in {i.name for i in study.inputs}


def test_land_that_misses_all_roads_is_an_error(tmp_path: Path) -> None:
    folder = good_folder(tmp_path / "s")
    layer([shapely.box(10, 50, 11, 51)], kind=["private"]).to_file(folder / "parcels.gpkg")
    change("study.toml", "[animals]", '[parcels]\nfile = "parcels.gpkg"\n\n[animals]')(folder)
    with pytest.raises(InputError, match="none of the roads lies in or near these parcels"):
        read_study(folder)


def test_a_file_that_is_not_there_is_an_error(tmp_path: Path) -> None:
    folder = good_folder(tmp_path / "s")
    change("study.toml", "[animals]", '[works]\nfile = "work.csv"\n\n[animals]')(folder)
    put("works.csv", "kind,year\n")(folder)
    with pytest.raises(InputError, match=r"did you mean 'works\.csv'"):
        read_study(folder)
