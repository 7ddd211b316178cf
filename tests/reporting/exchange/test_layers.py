"""GeoPackage and GeoJSON read back by geopandas: numbers, units, coordinate system, editions."""

from __future__ import annotations

import io
import json
import sqlite3
from dataclasses import replace

import geopandas as gpd
import numpy as np
import pandas as pd
import pyogrio
import pytest
import shapely

from roadrisk.base.units import M_PER_FOOT, M_PER_MILE
from roadrisk.reporting.editions.edition import Edition
from roadrisk.reporting.editions.making import make_edition
from roadrisk.reporting.exchange.layer_tables import CONFIDENTIAL_LAYERS
from roadrisk.reporting.exchange.layers import DESCRIPTIONS, layers_geojson, layers_gpkg
from tests.reporting import made_up
from tests.reporting.made_up_edition import confidential
from tests.reporting.made_up_measures import nothing_proposed

PLAIN = ("columns", "about")
# Layer, column in either system, factor from metric to US customary units.
FACTORS = [
    ("segments", "length_m", "length_ft", 1 / M_PER_FOOT),
    ("segments", "deaths_per_km_year", "deaths_per_mile_year", M_PER_MILE / 1000),
    ("segments", "speed_limit_kmh", "speed_limit_mph", 1000 / M_PER_MILE),
    ("deaths_pieces", "deaths_per_km_year_high", "deaths_per_mile_year_high", M_PER_MILE / 1000),
    ("ranked", "evidence_per_km_year", "evidence_per_mile_year", M_PER_MILE / 1000),
    ("ranked", "length_m", "length_ft", 1 / M_PER_FOOT),
    ("stretches", "end_high_m", "end_high_ft", 1 / M_PER_FOOT),
    ("measures", "fence_m", "fence_ft", 1 / M_PER_FOOT),
    ("signs", "distance_m", "distance_ft", 1 / M_PER_FOOT),
    ("reports", "spread_m", "spread_ft", 1 / M_PER_FOOT),
]


def in_us() -> Edition:
    return confidential(study=made_up.study(units="us"))


@pytest.fixture(scope="module")
def packages(tmp_path_factory):
    """Return paths of GeoPackages in metric and in US customary units."""
    folder = tmp_path_factory.mktemp("layers")
    for name, edition in (("metric", confidential()), ("us", in_us())):
        (folder / f"{name}.gpkg").write_bytes(layers_gpkg(edition))
    return {name: folder / f"{name}.gpkg" for name in ("metric", "us")}


@pytest.fixture(scope="module")
def collections():
    """Return GeoJSON collections in metric and in US customary units."""
    return {"metric": json.loads(layers_geojson(confidential())),
            "us": json.loads(layers_geojson(in_us()))}  # fmt: skip


def of_findings(layer):
    """Return the table of the findings that a layer draws."""
    findings = made_up.findings()
    return {
        "segments": findings.segments, "deaths_pieces": findings.deaths.pieces,
        "ranked": findings.ranked, "stretches": findings.stretches,
        "measures": findings.measures.chosen, "signs": findings.measures.signs,
        "reports": findings.sightings, "crossings": findings.crossings,
        "home_ranges": findings.tracked.home_ranges,
    }[layer]  # fmt: skip


@pytest.mark.parametrize(("layer", "metric", "us", "factor"), FACTORS)
def test_numbers_of_both_systems(packages, collections, layer, metric, us, factor) -> None:
    """Outside: geopandas reads both formats; the same values, times the factor, not only names."""
    own = pd.to_numeric(of_findings(layer)[metric]).to_numpy(np.float64)
    assert np.isfinite(own).any()
    for system, column, times in (("metric", metric, 1.0), ("us", us, factor)):
        read = gpd.read_file(packages[system], layer=layer)
        told = [f["properties"][column] for f in collections[system]["features"]
                if f["properties"]["layer"] == layer]  # fmt: skip
        for values in (read[column], pd.Series(told)):
            shown = pd.to_numeric(values).to_numpy(np.float64)
            # Rates have three digits; lengths are whole feet or tenths of a metre.
            assert shown == pytest.approx(own * times, rel=0.006, abs=0.51, nan_ok=True)
            if "per_" in column:
                assert shown == pytest.approx(own * times, rel=0.006, nan_ok=True)


def test_shapes_are_those_of_the_findings_in_wgs_84(packages, collections) -> None:
    """Outside: PROJ through geopandas; to half a unit of the 6th decimal."""
    for layer in set(DESCRIPTIONS) - {*PLAIN, "structures"}:
        own = of_findings(layer).geometry.to_crs("EPSG:4326")
        read = gpd.read_file(packages["metric"], layer=layer)
        assert read.crs.to_epsg() == 4326
        features = [
            f for f in collections["metric"]["features"] if f["properties"]["layer"] == layer
        ]
        again = gpd.GeoDataFrame.from_features(features)
        assert len(read) == len(own) == len(again)
        for shapes in (read.geometry, again.geometry):
            assert shapely.hausdorff_distance(
                shapes.to_numpy(), own.to_numpy()
            ).max() < 0.8e-6  # fmt: skip
            xy = shapely.get_coordinates(shapes.to_numpy())
            assert (xy == np.round(xy, 6)).all()


def test_a_structure_off_the_network_is_kept_without_a_place(packages, collections) -> None:
    read = gpd.read_file(packages["metric"], layer="structures")
    assert read["verdict"].tolist() == ["usable", "not usable", "not known"]
    assert read.geometry.isna().tolist() == [False, True, False]
    own = gpd.GeoSeries.from_xy([391_280.0], [5_785_107.0], crs=made_up.CRS).to_crs("EPSG:4326")
    assert read.geometry[0].distance(own[0]) < 0.8e-6
    shapes = [f["geometry"] for f in collections["metric"]["features"]
              if f["properties"]["layer"] == "structures"]  # fmt: skip
    assert [shape is None for shape in shapes] == [False, True, False]


def test_geojson_is_one_collection_as_rfc_7946_asks(collections) -> None:
    """RFC 7946: no crs member (section 4), exterior rings counter-clockwise (3.1.6)."""
    told = collections["metric"]
    assert told["type"] == "FeatureCollection"
    assert "crs" not in told
    assert all(f["type"] == "Feature" and "layer" in f["properties"] for f in told["features"])
    homes = [shapely.geometry.shape(f["geometry"]) for f in told["features"]
             if f["properties"]["layer"] == "home_ranges"]  # fmt: skip
    assert homes
    for home in homes:
        for part in shapely.get_parts(home):
            assert shapely.is_ccw(part.exterior)
    read = gpd.read_file(io.BytesIO(layers_geojson(confidential())))
    assert read.crs.to_epsg() == 4326


def test_all_columns_are_described(packages, collections) -> None:
    for system, path in packages.items():
        told = pyogrio.read_dataframe(path, layer="columns").fillna("")
        found = [
            (layer, column)
            for layer, _ in pyogrio.list_layers(path) if layer not in PLAIN
            for column in gpd.read_file(path, layer=layer, rows=1).columns if column != "geometry"
        ]  # fmt: skip
        assert list(zip(told["layer"], told["column"], strict=True)) == found
        assert (told["meaning"] != "").all()
        assert not told["unit"].str.contains("{", regex=False).any()
        spread = told.set_index(["layer", "column"]).loc[
            ("reports", "spread_ft" if system == "us" else "spread_m"), "unit"
        ]
        assert spread == ("ft" if system == "us" else "m")
        in_json = collections[system]["columns"]
        words = {
            ("stretches", "aadt"),
            ("ranked", "site"),
            ("stretches", "speed_limit_kmh" if system == "metric" else "speed_limit_mph"),
        }
        assert {(a, b) for a, columns in in_json.items() for b in columns} == {
            (a, f"{b}_words" if (a, b) in words else b) for a, b in found
        }


def test_about_carries_finding_edition_and_cautions(packages, collections) -> None:
    about = pyogrio.read_dataframe(packages["metric"], layer="about")
    words = made_up.findings().deaths.words
    assert about.loc[about["about"] == "Finding", "words"].tolist() == [words]
    assert about["words"].str.contains("not for publication").any()
    assert collections["metric"]["about"]["Finding"] == [words]
    assert about["about"][0] == "Invented"


def test_the_same_edition_gives_the_same_bytes() -> None:
    before = pyogrio.get_gdal_config_option("OGR_CURRENT_DATE")
    one = layers_gpkg(confidential())
    assert one == layers_gpkg(confidential())
    assert pyogrio.get_gdal_config_option("OGR_CURRENT_DATE") == before
    assert layers_geojson(confidential()) == layers_geojson(confidential())


def test_no_clock_time_stands_in_the_package(packages) -> None:
    with sqlite3.connect(packages["metric"]) as base:
        stamps = {row[0] for row in base.execute("SELECT last_change FROM gpkg_contents")}
        told = dict(base.execute("SELECT table_name, description FROM gpkg_contents"))
    base.close()
    assert stamps == {"1980-01-01T00:00:00.000Z"}
    assert told == {name: DESCRIPTIONS[name] for name in told}


def test_agency_edition_has_no_confidential_layer(tmp_path) -> None:
    """Nor any where a layer's table was handed on by mistake."""
    study, findings = made_up.study(), made_up.findings()
    edition = make_edition(study, findings, "agency")
    careless = Edition("agency", study, findings, edition.counts)
    for one in (edition, careless):
        path = tmp_path / "agency.gpkg"
        path.write_bytes(layers_gpkg(one))
        names = {name for name, _ in pyogrio.list_layers(path)}
        assert "ranked" in names
        assert not names & set(CONFIDENTIAL_LAYERS)
        told = json.loads(layers_geojson(one))
        layers = {f["properties"]["layer"] for f in told["features"]}
        assert layers == names - set(PLAIN)
    assert b"observer 1" not in layers_gpkg(edition)


def test_hostile_texts_and_infinite_numbers_pass(tmp_path) -> None:
    findings = made_up.findings()
    bad = ["=1+1", "a\x00b\ud800", "'; DROP TABLE ranked; --", '"}]}', "</script>", "ü", "\ufffe"]
    findings = replace(
        findings, ranked=findings.ranked.assign(owner=bad),
        stretches=findings.stretches.assign(times_around=np.inf),
    )  # fmt: skip
    edition = confidential(findings)
    path = tmp_path / "hostile.gpkg"
    path.write_bytes(layers_gpkg(edition))
    read = gpd.read_file(path, layer="ranked")
    assert read["owner"].tolist() == [bad[0], "a b ", *bad[2:6], " "]
    told = json.loads(layers_geojson(edition))
    around = [f["properties"]["times_around"] for f in told["features"]
              if f["properties"]["layer"] == "stretches"]  # fmt: skip
    assert around == [None]
    assert np.isinf(gpd.read_file(path, layer="stretches")["times_around"]).all()


def test_a_study_without_measures_has_no_such_layers(tmp_path) -> None:
    findings = made_up.findings()
    bare = confidential(replace(findings, measures=nothing_proposed(findings.measures),
                                stretches=findings.stretches.iloc[:0]))  # fmt: skip
    path = tmp_path / "bare.gpkg"
    path.write_bytes(layers_gpkg(bare))
    names = {name for name, _ in pyogrio.list_layers(path)}
    assert not names & {"measures", "signs", "stretches"}
    assert json.loads(layers_geojson(bare))["features"]
