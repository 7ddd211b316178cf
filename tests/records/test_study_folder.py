"""A study folder as a whole: working system, inputs, lines of study.toml, partial reading."""

from __future__ import annotations

import hashlib
import json
from importlib.resources import files

import numpy as np
import pyproj
import pytest

from roadrisk.cli import main
from roadrisk.errors import InputError
from roadrisk.records import schemas
from roadrisk.records.checking import check
from roadrisk.records.settings_file import find_line
from roadrisk.records.study_folder import gather, read_settings, read_study
from roadrisk.species import GENERIC, built_in_profile
from tests.hostile.broken_folders import FIXES, LINES, SIGHTINGS, STUDY, change, good_folder, put


@pytest.fixture
def folder(tmp_path):
    return good_folder(tmp_path / "study")


def test_what_a_study_holds(folder):
    # By hand: UTM zone 18 holds 76.1 degrees west; 45 mph; the tables keep the file's order.
    study = read_study(folder)
    assert study.crs.to_epsg() == 32618
    for table in (study.fixes, study.sightings, study.agency_lines):
        assert table.crs == study.crs
    assert study.animals["organismID"].tolist() == ["007", "008"]
    assert study.fixes["source_row"].tolist() == [2, 3, 4, 5, 6, 7]
    assert study.sightings["occurrenceRemarks"].iloc[1] == "by the gate, shell broken"
    assert study.sightings["vitality"].tolist() == [
        "alive", "dead", "alive", "dead", "alive", "dead",
    ]  # fmt: skip
    assert study.agency_lines["speed_limit_kmh"].iloc[0] == pytest.approx(72.42, abs=0.01)
    assert study.traffic["aadt"].tolist() == [2400]
    assert len(study.osm_graph.node_id) == 4
    for name in ("animals", "fixes", "sightings", "agency_lines", "traffic"):
        getattr(schemas, name.upper()).validate(getattr(study, name))
    # Outside: pyproj, the way back.
    back = study.fixes.to_crs("EPSG:4326").geometry
    np.testing.assert_allclose([back.iloc[0].x, back.iloc[0].y], [-76.10010, 38.50120], atol=1e-9)


def test_inputs_are_hashed(folder):
    # Outside: hashlib over the whole file.
    inputs = {i.name: i for i in read_study(folder).inputs}
    assert set(inputs) == {p.name for p in folder.iterdir()}
    for name, item in inputs.items():
        data = (folder / name).read_bytes()
        assert item.sha256 == hashlib.sha256(data).hexdigest()
        assert item.size_bytes == len(data)
    assert inputs["fixes.csv"].rows == 6


def test_shapefile_companions_are_inputs(folder):
    import geopandas as gpd

    lines = gpd.GeoDataFrame.from_features(LINES["features"], crs="EPSG:4326")
    (folder / "gis").mkdir()
    lines.to_file(folder / "gis" / "c.shp")
    change("study.toml", "centrelines.geojson", "gis/c.shp")(folder)
    names = {i.name for i in read_study(folder).inputs}
    assert {"gis/c.shp", "gis/c.dbf", "gis/c.shx", "gis/c.prj"} <= names


def test_stated_working_system(folder):
    change("study.toml", "invented = true", 'crs = "EPSG:26918"')(folder)
    assert read_study(folder).crs == pyproj.CRS.from_epsg(26918)


def test_several_files_a_table(folder):
    put("more.csv", FIXES.replace("2024", "2025"))(folder)
    change("study.toml", 'file = "fixes.csv"', 'file = ["fixes.csv", "more.csv"]')(folder)
    study = read_study(folder)
    assert study.fixes["source_file"].tolist() == ["fixes.csv"] * 6 + ["more.csv"] * 6


def test_only_routes_take_the_zone_of_the_roads(folder):
    put("fixes.csv", "organismID,eventDate,route,route_measure\n007,2024-05-01,R12,3.5\n")(folder)
    change("study.toml", '[sightings]\nfile = "sightings.csv"\n[sightings.columns]\n'
           'occurrenceRemarks = "Notes"\n', "")(folder)  # fmt: skip
    study = read_study(folder)
    assert study.crs.to_epsg() == 32618
    assert study.fixes.geometry.is_empty.all()
    assert study.fixes["route_measure"].tolist() == [3.5]
    assert len(study.sightings) == 0


def test_agency_layer_alone(folder):
    change("study.toml", '[roads.osm]\nfile = "roads.osm"\n', "")(folder)
    study = read_study(folder)
    assert study.osm_graph is None
    assert len(study.agency_lines) == 1


def test_points_in_another_hemisphere_leave_the_zone_to_the_roads(folder):
    change("fixes.csv", ",-76.", ",76.")(folder)
    change("sightings.csv", ",-76.", ",76.")(folder)
    study = read_study(folder)
    assert study.crs.to_epsg() == 32618
    proposed = [r for r in study.remarks if "unsigned west" in r.mend]
    assert [r.file for r in proposed] == ["fixes.csv", "sightings.csv"]


def test_remarks_name_their_kind(folder):
    put("sightings.csv", SIGHTINGS + "A6,2024-06-01,38.5,-76.1,,alive,\nA8,2024-06-01,0,0,5,,\n")(
        folder
    )
    study = read_study(folder)
    assert study.sightings["occurrenceID"].tolist()[-1] == "A6-2"
    assert [(r.row, r.record) for r in study.remarks if r.kind == "left out"] == [(9, "A8")]
    # check() says the same, errors first.
    assert sorted(check(folder)) == sorted(study.remarks)


def test_the_profile_of_the_package(folder):
    study = read_study(folder)
    assert study.profile is built_in_profile("terrapene_carolina")
    assert "eastern box turtle" in study.profile_words
    assert not [r for r in study.remarks if "profile" in r.problem]


def test_a_profile_of_ones_own(folder):
    text = (files("roadrisk.species") / "TEMPLATE.toml").read_text(encoding="utf-8")
    put("mine.toml", text.replace("Exemplum tardum", "Terrapene carolina"))(folder)
    change("study.toml", "invented = true", 'profile = "mine.toml"')(folder)
    study = read_study(folder)
    assert study.profile.common_name == "example animal (invented)"
    assert "mine.toml" in study.profile_words
    assert [i.name for i in study.inputs if i.name == "mine.toml"] == ["mine.toml"]


def test_an_unknown_species_is_doubted_and_checking_says_so(folder):
    change("study.toml", "Terrapene carolina", "Testudo ficta")(folder)
    study = read_study(folder)
    assert study.profile is built_in_profile(GENERIC)
    (doubt,) = [r for r in study.remarks if r.column == "study.species"]
    assert (doubt.kind, doubt.row) == ("doubt", 4)
    assert doubt in check(folder)


def test_errors_of_the_profile_stand_beside_all_others(folder, capsys):
    put("mine.toml", "[body\n")(folder)
    change("study.toml", "invented = true", 'profile = "mine.toml"')(folder)
    change("fixes.csv", "organismID", "who")(folder)
    with pytest.raises(InputError) as caught:
        read_study(folder)
    assert {r.file for r in caught.value.remarks} == {"mine.toml", "fixes.csv"}
    with pytest.raises(SystemExit) as stopped:
        main(["check", str(folder)])
    assert stopped.value.code == 2
    said = capsys.readouterr()
    assert "Traceback" not in said.err + said.out
    lines = [line for line in (said.out + said.err).splitlines() if "mine.toml" in line]
    assert len(lines) == 1
    assert "the TOML is broken" in lines[0]


def test_places_of_capture(folder):
    # By hand: the roads reach from 38.5 to 38.505 N; 40 N is more than a degree away.
    put("animals.csv", "organismID,decimalLatitude,decimalLongitude\n"
        "007,38.50050,-76.10200\n008,40.00050,-76.10200\n009,,\n")(folder)  # fmt: skip
    study = read_study(folder)
    assert study.animals["organismID"].tolist() == ["007", "008", "009"]
    np.testing.assert_allclose(study.animals["capture_latitude"], [38.5005, 40.0005, np.nan])
    np.testing.assert_allclose(study.animals["capture_longitude"], [-76.102, -76.102, np.nan])
    (doubt,) = [r for r in study.remarks if r.file == "animals.csv"]
    assert (doubt.kind, doubt.row, doubt.record) == ("doubt", 3, "008")
    assert "far from all others" in doubt.problem


def test_checking_builds_no_network(folder, monkeypatch):
    monkeypatch.setattr("roadrisk.records.osm_extract.read_osm_graph", None)
    assert not [r for r in check(folder) if r.kind == "error"]
    assert gather(folder, build_roads=False).study is None


def test_settings_alone(folder):
    assert read_settings(folder).study.short_name == "reed_hollow"
    change("study.toml", "start =", "begin =")(folder)
    with pytest.raises(InputError) as caught:
        read_settings(folder)
    assert {r.column for r in caught.value.remarks} == {"study.begin", "study.start"}


@pytest.mark.parametrize(
    ("key", "line"),
    [
        ("study.time_zone", 8),
        ("fixes.file", 15),
        ("sightings.columns.occurrenceRemarks", 20),
        ("roads.agency.columns.speed_limit", 35),
        ("roads.agency.crs", 28),
        ("fixes", 14),
        ("nowhere.at.all", None),
    ],
)
def test_lines_of_keys(key, line):
    # By hand.
    assert find_line(STUDY, key) == line


def test_lines_of_keys_written_otherwise():
    text = (
        'study.name = "x"\n[fixes]\n# file = 1\n"file" = "a"\ncolumns.organismID = "b"\n'
        '[ roads . osm ]\nfile="c"\n'
    )
    assert find_line(text, "study.name") == 1
    assert find_line(text, "fixes.file") == 4
    assert find_line(text, "fixes.columns.organismID") == 5
    assert find_line(text, "roads.osm.file") == 7


def test_settings_with_a_mark_and_windows_line_ends(folder):
    path = folder / "study.toml"
    path.write_bytes(b"\xef\xbb\xbf" + path.read_bytes().replace(b"\n", b"\r\n"))
    assert len(read_study(folder).fixes) == 6


def test_extent_of_the_roads_helps_where_the_zone_says_nothing(folder):
    # The zone is UTC, the roads lie in the west: the sign is found by the roads.
    change("study.toml", "America/New_York", "UTC")(folder)
    change("fixes.csv", ",-76.", ",76.")(folder)
    found = [r for r in check(folder) if r.file == "fixes.csv" and r.column == "decimalLongitude"]
    assert [r.mend for r in found] == ['write longitude = "unsigned west" in [fixes]']


def test_roads_of_several_features_keep_their_rows(folder):
    empty = {"type": "Feature", "properties": {}, "geometry": None}
    put("centrelines.geojson", json.dumps({**LINES, "features": [empty, *LINES["features"]]}))(
        folder
    )
    study = read_study(folder)
    assert [(r.file, r.row) for r in study.remarks if r.kind == "left out"] == [
        ("centrelines.geojson", 2)
    ]
