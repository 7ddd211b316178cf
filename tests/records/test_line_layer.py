"""An agency's centreline layer."""

from __future__ import annotations

import json

import geopandas as gpd
import numpy as np
import pytest
import shapely

from roadrisk.records import schemas
from roadrisk.records.line_layer import read_lines
from roadrisk.records.raw_table import Notes
from roadrisk.settings import AgencyRoads
from tests.records.reading import said

CRS = "EPSG:32618"


def read(tmp_path, lines, fields=None, ending="gpkg", crs=CRS, **more):
    path = tmp_path / f"lines.{ending}"
    frame = gpd.GeoDataFrame(fields or {"k": range(len(lines))}, geometry=lines, crs=crs)
    frame.to_file(path)
    return read_path(path, **more)


def read_path(path, **more):
    notes = Notes(path.name)
    return read_lines(path, AgencyRoads(file=path.name, **more), notes), notes


@pytest.mark.parametrize("ending", ["gpkg", "shp", "geojson"])
def test_attributes(tmp_path, ending):
    # By hand: 45 mph are 72.42 km/h; measures stay in the agency's unit.
    fields = {
        "RTE": ["R12", None], "FROM": [3.0, 3.9], "TO": [3.9, 5.0], "AADT": [2400, 0],
        "SPEED": ["45", ""], "level": [0, 1], "OWN": ["county", ""],
    }  # fmt: skip
    crs = "EPSG:4326" if ending == "geojson" else CRS
    table, notes = read(
        tmp_path,
        [shapely.LineString([(0, 0), (1, 0)]), shapely.LineString([(1, 0), (2, 1)])],
        fields,
        ending,
        crs,
        columns={
            "route": "RTE", "begin_measure": "FROM", "end_measure": "TO", "speed_limit": "SPEED",
            "owner": "own",
        },
        speed_unit="mph",
    )  # fmt: skip
    assert list(table.columns) == list(schemas.AGENCY_LINES.columns)
    assert table["route"].tolist() == ["R12", ""]
    assert table["begin_measure"].tolist() == [3.0, 3.9]
    np.testing.assert_allclose(table["speed_limit_kmh"], [45 * 1.609344, np.nan])
    np.testing.assert_array_equal(table["aadt"], [2400, np.nan])
    assert table["level"].tolist() == [0, 1]
    assert table["owner"].tolist() == ["county", ""]
    assert table.crs == crs
    assert not notes.remarks


def test_parts_heights_and_nothing(tmp_path):
    # By hand.
    joined = shapely.MultiLineString([[(0, 0), (1, 0)], [(1, 0), (3, 0)]])
    apart = shapely.MultiLineString([[(0, 5), (1, 5)], [(2, 5), (5, 5)]])
    high = shapely.LineString([(0, 9, 100), (1, 9, 120)])
    table, notes = read(
        tmp_path,
        [joined, apart, high, None, shapely.LineString([(2, 2), (2, 2)])],
        {"route": list("ABCDE"), "begin_measure": [10.0] * 5, "end_measure": [14.0] * 5},
    )
    assert table["route"].tolist() == ["A", "B", "B", "C"]
    assert (table.geom_type == "LineString").all()
    assert not table.has_z.any()
    assert table.length.tolist() == [3, 1, 3, 1]
    assert table["begin_measure"].tolist() == [10, 10, 11, 10]
    assert table["end_measure"].tolist() == [14, 11, 14, 14]
    assert [(r.row, r.record, r.problem) for r in said(notes, "left out")] == [
        (5, "D", "no geometry"),
        (6, "E", "a line of no length"),
    ]
    assert said(notes, "doubt", "several parts")[0].row == 3


def test_its_system(tmp_path):
    lines = [shapely.LineString([(0, 0), (1, 0)])]
    table, notes = read(tmp_path, lines, crs=CRS)
    assert table.crs == CRS
    path = tmp_path / "bare.shp"
    gpd.GeoDataFrame({"k": [1]}, geometry=lines, crs=CRS).to_file(path)
    path.with_suffix(".prj").unlink()
    table, notes = read_path(path)
    assert table is None
    assert 'crs = "EPSG:…" in [roads.agency]' in said(notes, "error")[0].mend
    table, _ = read_path(path, crs=CRS)
    assert table.crs == CRS
    # Where both speak and differ, the layer is believed and the doubt says so.
    table, notes = read_path(tmp_path / "lines.gpkg", crs="EPSG:32633")
    assert table.crs == CRS
    assert "was believed" in said(notes, "doubt")[0].problem


def test_numbers_that_are_text(tmp_path):
    lines = [shapely.LineString([(0, i), (1, i)]) for i in range(3)]
    fields = {"S": ["45 mph", "30", ""]}
    table, notes = read(tmp_path, lines, fields, columns={"speed_limit": "S"})
    np.testing.assert_array_equal(table["speed_limit_kmh"], [np.nan, 30, np.nan])
    assert "1 of 3 rows" in said(notes, "doubt", "'45 mph'")[0].problem


def test_what_is_no_layer_of_lines(tmp_path):
    for geometry in (shapely.Point(0, 0), shapely.box(0, 0, 1, 1)):
        table, notes = read(tmp_path, [shapely.LineString([(0, 0), (1, 0)]), geometry])
        assert table is None
        (error,) = said(notes, "error")
        assert error.row == 3
        assert f"{geometry.geom_type} where lines are needed" in error.problem
    table, notes = read(tmp_path, [shapely.LineString([(2, 2), (2, 2)])])
    assert table is None
    assert said(notes, "error", "no line of any length")


def test_mapped_field_that_is_absent(tmp_path):
    line = shapely.LineString([(0, 0), (1, 0)])
    table, notes = read(tmp_path, [line], {"ROUTE_ID": ["A"]}, columns={"route": "ROUTE_IT"})
    assert table is None
    (error,) = said(notes, "error")
    assert error.column == "ROUTE_IT"
    assert "did you mean 'ROUTE_ID'" in error.mend


@pytest.mark.parametrize("ending", ["gpkg", "shp"])
def test_a_layer_without_features_is_an_error(tmp_path, ending):
    path = tmp_path / f"lines.{ending}"
    fields = {"BEG": np.empty(0), "AADT": np.empty(0, np.int64), "RTE": np.empty(0, str)}
    frame = gpd.GeoDataFrame(fields, geometry=gpd.GeoSeries([], crs="EPSG:4326"))
    frame.to_file(path, geometry_type="LineString", engine="pyogrio")
    table, notes = read_path(
        path, crs="EPSG:4326", columns={"begin_measure": "BEG", "aadt": "AADT", "route": "RTE"}
    )
    assert table is None
    assert len(said(notes, "error", "no line of any length")) == 1


def test_a_list_in_a_property_is_text(tmp_path):
    path = tmp_path / "lines.geojson"
    line = {"type": "LineString", "coordinates": [[19.4, 52.2], [19.5, 52.2]]}
    features = [
        {"type": "Feature", "properties": {"RTE": route}, "geometry": line}
        for route in ([7, 8], [9], None)
    ]
    path.write_text(json.dumps({"type": "FeatureCollection", "features": features}), "utf-8")
    table, _ = read_path(path, columns={"route": "RTE"})
    assert table["route"].tolist() == ["[7, 8]", "[9]", ""]
