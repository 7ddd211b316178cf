"""The study area's outline."""

from __future__ import annotations

from pathlib import Path

import geopandas as gpd
import pytest
import shapely

from roadrisk.errors import InputError
from roadrisk.records.area_layer import read_area
from roadrisk.records.raw_table import Notes
from roadrisk.records.study_folder import read_study
from tests.hostile.broken_folders import change, good_folder
from tests.records.reading import said

BOX = shapely.box(-76.105, 38.49, -76.09, 38.51)
ROADS = [(-76.106, 38.495, -76.096, 38.505)]


def read(tmp_path: Path, shapes, ending="gpkg", crs="EPSG:4326"):
    path = tmp_path / f"area.{ending}"
    gpd.GeoDataFrame({"k": range(len(shapes))}, geometry=shapes, crs=crs).to_file(path)
    notes = Notes(path.name)
    return read_area(path, ROADS, notes), notes


@pytest.mark.parametrize("ending", ["gpkg", "shp", "geojson"])
def test_polygons_are_one_area(tmp_path, ending):
    # By hand: two halves make the whole.
    halves = [shapely.box(-76.105, 38.49, -76.1, 38.51), shapely.box(-76.1, 38.49, -76.09, 38.51)]
    area, notes = read(tmp_path, halves, ending)
    assert area.iloc[0].equals(BOX)
    assert area.crs == "EPSG:4326"
    assert not notes.remarks


def test_an_area_in_another_system(tmp_path):
    projected = gpd.GeoSeries([BOX], crs="EPSG:4326").to_crs("EPSG:32618")
    area, notes = read(tmp_path, projected, crs="EPSG:32618")
    assert area.crs == "EPSG:32618"
    assert not notes.remarks


@pytest.mark.parametrize(
    ("shapes", "says"),
    [
        ([shapely.LineString([(-76.1, 38.5), (-76.0, 38.5)])], "LineString where polygons"),
        ([shapely.Polygon([(-76.1, 38.5), (-76, 38.6), (-76, 38.5), (-76.1, 38.6)])], "broken"),
        ([shapely.Polygon()], "no outline"),
        ([shapely.box(10, 50, 11, 51)], "none of the roads"),
    ],
)
def test_what_is_no_area(tmp_path, shapes, says):
    area, notes = read(tmp_path, shapes)
    assert area is None
    assert len(said(notes, "error", says)) == len(notes.remarks) == 1


def test_an_area_without_a_system(tmp_path):
    gpd.GeoDataFrame(geometry=[BOX], crs="EPSG:4326").to_file(tmp_path / "area.shp")
    (tmp_path / "area.prj").unlink()
    notes = Notes("area.shp")
    assert read_area(tmp_path / "area.shp", ROADS, notes) is None
    assert said(notes, "error", "coordinate system")


def test_files_of_another_kind(tmp_path):
    notes = Notes("area.kml")
    assert read_area(tmp_path / "area.kml", ROADS, notes) is None
    assert said(notes, "error", ".kml are not read as an area")


def test_a_study_with_an_area(tmp_path):
    folder = good_folder(tmp_path / "study")
    gpd.GeoSeries([BOX], crs="EPSG:4326").to_file(folder / "area.gpkg")
    text = (folder / "study.toml").read_text()
    hotspots = '[hotspots]\nstudy_area = "area.gpkg"\nedge_correction = true\n'
    (folder / "study.toml").write_text(text + hotspots)
    study = read_study(folder)
    expected = gpd.GeoSeries([BOX], crs="EPSG:4326").to_crs(study.crs).iloc[0]
    assert study.area.equals_exact(expected, 1e-6)
    assert "area.gpkg" in {i.name for i in study.inputs}
    change("study.toml", '"area.gpkg"', '"aera.gpkg"')(folder)
    with pytest.raises(InputError) as caught:
        read_study(folder)
    (line,) = caught.value.lines()
    assert "hotspots.study_area" in line
    assert "did you mean 'area.gpkg'" in line
