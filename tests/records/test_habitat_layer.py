"""Habitat polygons: by hand."""

from __future__ import annotations

from pathlib import Path

import geopandas as gpd
import pytest
import shapely

from roadrisk.records.habitat_layer import read_habitat
from roadrisk.records.raw_table import Notes

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
    assert not notes.remarks


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
