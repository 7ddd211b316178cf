"""Habitat polygons: by hand."""

from __future__ import annotations

from pathlib import Path

import geopandas as gpd
import pytest
import shapely

from roadrisk.records.habitat_layer import read_habitat
from roadrisk.records.raw_table import Notes
from roadrisk.records.study_folder import read_study
from tests.hostile.broken_folders import good_folder

BOX = shapely.box(-76.105, 38.49, -76.09, 38.51)
BOW = shapely.Polygon([(0, 0), (1, 1), (1, 0), (0, 1)])


def read(tmp_path: Path, kinds: list[object], shapes: list[object], column: str = "class"):
    path = tmp_path / "habitat.gpkg"
    gpd.GeoDataFrame({"class": kinds}, geometry=shapes, crs="EPSG:4326").to_file(path)
    notes = Notes(path.name)
    return read_habitat(path, None, column, notes), notes


def test_kinds_and_shapes(tmp_path: Path) -> None:
    """By hand: a polygon without a kind is left out, spaces around kinds go."""
    found, notes = read(tmp_path, [" wetland", "forest", None], [BOX, BOX, BOX])
    assert found["kind"].tolist() == ["wetland", "forest"]
    assert found.crs == "EPSG:4326"
    (doubt,) = notes.remarks
    assert (doubt.kind, doubt.row, doubt.column) == ("doubt", 4, "class")
    assert "1 of 3 polygons have no kind" in doubt.problem


@pytest.mark.parametrize(
    ("kinds", "shapes", "column", "says"),
    [
        (["wetland"], [BOX], "kind", "no column 'kind'"),
        (["wetland"], [shapely.Point(0, 0)], "class", "Point where polygons are needed"),
        (["wetland"], [BOW], "class", "a polygon is broken"),
        ([None], [BOX], "class", "0 kinds of habitat"),
        ([f"kind {k}" for k in range(21)], [BOX] * 21, "class", "21 kinds of habitat"),
    ],
)
def test_what_is_wrong_is_said(tmp_path: Path, kinds, shapes, column, says) -> None:
    """By hand: one line each, nothing raised."""
    found, notes = read(tmp_path, kinds, shapes, column)
    assert found is None
    assert says in " ".join(r.line() for r in notes.remarks)


def test_a_table_is_no_layer(tmp_path: Path) -> None:
    """By hand."""
    notes = Notes("habitat.csv")
    assert read_habitat(tmp_path / "habitat.csv", None, "class", notes) is None
    assert "not read as habitat" in notes.remarks[0].line()


def test_a_layer_elsewhere(tmp_path: Path) -> None:
    """By hand: the roads lie a quarter of the way round the Earth."""
    path = tmp_path / "habitat.gpkg"
    gpd.GeoDataFrame({"kind": ["fen"]}, geometry=[BOX], crs="EPSG:4326").to_file(path)
    notes = Notes(path.name)
    assert read_habitat(path, None, "kind", notes, [(13.0, 50.0, 13.1, 50.1)]) is None
    assert "none of the roads lies in or near this habitat" in notes.remarks[0].line()


def test_a_study_with_habitat(tmp_path: Path) -> None:
    """By hand: one of two layers, a column of another name, the study's system; far ones go."""
    folder = good_folder(tmp_path / "study")
    far = shapely.box(14, -1, 15, 1)  # a quarter of the way round: UTM 18 has no place for it
    table = gpd.GeoDataFrame({"cover": ["fen", "sea"]}, geometry=[BOX, far], crs="EPSG:4326")
    for layer in ("cover", "other"):
        table.to_file(folder / "land.gpkg", layer=layer)
    text = '[habitat]\nfile = "land.gpkg"\nlayer = "cover"\ncolumn = "cover"\nwithin_m = 150\n'
    with (folder / "study.toml").open("a") as file:
        file.write(text)
    study = read_study(folder)
    assert study.settings.habitat.within_m == 150
    assert list(study.habitat.columns) == ["kind", "geometry"]
    assert study.habitat.crs == study.crs
    expected = gpd.GeoSeries([BOX], crs="EPSG:4326").to_crs(study.crs).iloc[0]
    assert study.habitat.geometry.iloc[0].equals_exact(expected, 1e-6)
    assert study.habitat["kind"].tolist() == ["fen"]
    assert "land.gpkg" in {i.name for i in study.inputs}


def test_a_study_without_habitat(tmp_path: Path) -> None:
    """By hand."""
    assert read_study(good_folder(tmp_path / "study")).habitat is None
