"""What an input names never leads out of the study folder, and never to a connection."""

from __future__ import annotations

import http.server
import json
import sqlite3
import struct
import threading

import geopandas as gpd
import pytest
import shapely

from roadrisk.errors import InputError
from roadrisk.records.checking import check
from roadrisk.records.decision_store import DecisionStore
from roadrisk.records.known_crs import known_crs
from roadrisk.records.layer_files import read_layer
from roadrisk.records.raw_table import Notes
from tests.hostile.broken_folders import LINES, OSM, change, good_folder, put, use

POINT = {
    "type": "Feature",
    "properties": {"a": 1},
    "geometry": {"type": "Point", "coordinates": [1, 2]},
}
JOURNAL = bytes.fromhex("d9d505f920a163d7")


@pytest.fixture
def asked():
    """Address of a server of this computer, and what was asked of it."""
    paths: list[str] = []

    class Listener(http.server.BaseHTTPRequestHandler):
        def do_GET(self):
            paths.append(self.path)
            self.send_error(404)

        do_HEAD = do_POST = do_GET  # noqa: N815  names of the standard library

        def log_message(self, *_):
            pass

    server = http.server.ThreadingHTTPServer(("127.0.0.1", 0), Listener)
    threading.Thread(target=server.serve_forever, daemon=True).start()
    yield f"http://127.0.0.1:{server.server_address[1]}", paths
    server.shutdown()
    server.server_close()


def layer(path, name=None):
    notes = Notes(path.name)
    return read_layer(path, name, notes), " ".join(r.line() for r in notes.remarks)


def points(path, **more):
    table = gpd.GeoDataFrame({"a": ["x"]}, geometry=[shapely.Point(1, 2)], crs=4326)
    table.to_file(path, engine="pyogrio", **more)
    return path


@pytest.mark.parametrize("key", ["crs", "CRS", "\\u0063rs", "c\\u0072s", "crs\\u0000x"])
@pytest.mark.parametrize("kind", ["link", "URL"])
def test_a_coordinate_system_is_not_fetched(tmp_path, asked, key, kind):
    # GDAL fetches a linked system (GeoJSON of 2008, section 3.2) while it opens the file.
    address, paths = asked
    linked = {"type": kind, "properties": {"href": f"{address}/system", "url": f"{address}/s"}}
    whole = json.dumps({"type": "FeatureCollection", "XX": linked, "features": [POINT]})
    path = tmp_path / "a.geojson"
    path.write_text(whole.replace("XX", key))
    found, said = layer(path)
    assert found is None
    assert "leads elsewhere" in said
    assert not paths


def test_a_named_system_and_a_column_of_that_name_are_read(tmp_path):
    # The control: what the case before refuses, said harmlessly.
    named = {"type": "name", "properties": {"name": "urn:ogc:def:crs:EPSG::32617"}}
    feature = {**POINT, "properties": {"crs": "mine"}}
    whole = {"type": "FeatureCollection", "crs": named, "features": [feature]}
    path = tmp_path / "a.geojson"
    path.write_text(json.dumps(whole))
    found, said = layer(path)
    assert not said
    assert found[0]["crs"] == "EPSG:32617"
    assert found[2]["crs"].tolist() == ["mine"]


@pytest.mark.parametrize("name", ["a.json", "a.gdalg.json", "a.geojson"])
def test_a_recipe_that_names_another_file_is_not_followed(tmp_path, asked, name):
    # GDAL runs such a recipe where a layer was expected, whatever the file's name.
    address, paths = asked
    folder = tmp_path / "study"
    folder.mkdir()
    (tmp_path / "secret.csv").write_text("a,b\nsecret,1\n")
    for source in (tmp_path / "secret.csv", f"/vsicurl/{address}/x.csv"):
        recipe = {
            "type": "gdal_streamed_alg",
            "command_line": f"gdal vector pipeline read {source}",
        }
        (folder / name).write_text(json.dumps(recipe))
        found, said = layer(folder / name)
        assert found is None
        assert "can't be read" in said
    assert not paths


@pytest.mark.parametrize("ending", ["geojson", "gpkg", "shp"])
@pytest.mark.parametrize("folder", ["zip!", "x;y", "what?"])
def test_signs_in_a_name_are_signs(tmp_path, ending, folder):
    # "a!/b" would be taken for the file /b in an archive a: the absolute path of another file.
    inside = tmp_path / folder
    inside.mkdir()
    path = points(tmp_path / f"p.{ending}")
    for part in tmp_path.glob("p.*"):
        part.rename(inside / part.name)
    found, said = layer(inside / path.name)
    assert not said
    assert found[2]["a"].tolist() == ["x"]
    (inside / "p;1").mkdir()
    for part in inside.glob("p.*"):
        part.rename(inside / "p;1" / part.name.replace("p.", "p;1!."))
    assert layer(inside / "p;1" / f"p;1!.{ending}")[0][2]["a"].tolist() == ["x"]


def test_a_database_of_another_kind_is_no_geopackage(tmp_path):
    path = tmp_path / "a.gpkg"
    link = sqlite3.connect(path)
    link.execute("CREATE TABLE a (b)")
    link.commit()
    link.close()
    assert "the content is not that of a .gpkg file" in layer(path)[1]


@pytest.mark.parametrize(
    "made",
    [
        "CREATE VIEW v AS WITH RECURSIVE c(x) AS (SELECT 1 UNION ALL SELECT x + 1 FROM c) "
        "SELECT x FROM c",
        "CREATE TABLE v (fid INTEGER PRIMARY KEY, a TEXT, b AS (hex(zeroblob(400000000))))",
    ],
)
def test_a_layer_that_is_computed_is_not_read(tmp_path, made):
    path = points(tmp_path / "a.gpkg", layer="p")
    link = sqlite3.connect(path)
    link.execute(made)
    link.execute(
        "INSERT INTO gpkg_contents (table_name, data_type, identifier, srs_id) "
        "VALUES ('v', 'attributes', 'v', 0)"
    )
    link.commit()
    link.close()
    assert "is computed while it is read" in layer(path, "v")[1]
    assert layer(path, "p")[0] is not None


def leading_journal(database, other):
    """Write a rollback journal as SQLite's file format has it, which names another file."""
    pages = database.stat().st_size // 4096
    head = JOURNAL + struct.pack(">IIIII", 0, 0, pages, 512, 4096)
    name = str(other).encode()
    total = sum(byte if byte < 128 else byte - 256 for byte in name) & 0xFFFFFFFF
    tail = struct.pack(">I", 2**30 // 4096 + 1) + name + struct.pack(">II", len(name), total)
    path = database.with_name(f"{database.name}-journal")
    path.write_bytes(head.ljust(512, b"\0") + tail + JOURNAL)


def test_sqlite_would_delete_what_a_journal_names(tmp_path):
    # The control: without the guard the other file is gone.
    database, other = tmp_path / "a.sqlite", tmp_path / "precious.txt"
    link = sqlite3.connect(database)
    link.execute("CREATE TABLE a (b)")
    link.close()
    other.write_text("precious")
    leading_journal(database, other)
    link = sqlite3.connect(database)
    link.execute("SELECT * FROM a")
    link.close()
    assert not other.exists()


def test_a_journal_that_names_another_file_is_refused(tmp_path):
    folder, other = good_folder(tmp_path / "s"), tmp_path / "precious.txt"
    other.write_text("precious")
    link = sqlite3.connect(folder / "decisions.sqlite")
    link.execute("CREATE TABLE a (b)")
    link.close()
    points(folder / "p.gpkg")
    leading_journal(folder / "decisions.sqlite", other)
    leading_journal(folder / "p.gpkg", other)
    (said,) = [r for r in check(folder) if r.file == "decisions.sqlite"]
    assert said.kind == "error"
    assert "leads to another file" in said.problem
    with pytest.raises(InputError, match="leads to another file"):
        DecisionStore(folder).history()
    assert "leads to another file" in layer(folder / "p.gpkg")[1]
    assert other.read_text() == "precious"


@pytest.mark.parametrize("ending", ["-wal", "-shm", "-journal"])
def test_logs_of_a_database_may_not_be_links(tmp_path, ending):
    folder, other = good_folder(tmp_path / "s"), tmp_path / "precious.txt"
    other.write_text("precious")
    link = sqlite3.connect(folder / "decisions.sqlite")
    link.execute("CREATE TABLE a (b)")
    link.close()
    (folder / f"decisions.sqlite{ending}").symlink_to(other)
    (said,) = [r for r in check(folder) if r.file == "decisions.sqlite"]
    assert "is a link" in said.problem
    assert other.read_text() == "precious"


@pytest.mark.parametrize(
    "text",
    [
        "+proj=longlat +datum=WGS84 +nadgrids=/etc/hostname",
        "+proj=longlat +ellps=GRS80 +nadgrids=@../../grid.gsb",
        "+proj=pipeline +step +proj=hgridshift +grids=https://example.org/a.tif",
        "+init=/etc/passwd:1",
        "+proj=utm +zone=17 +geoidgrids=~/a.gtx",
        'GEOGCS["a",DATUM["b",SPHEROID["c",6378137,298],EXTENSION["PROJ4_GRIDS","/etc/hostname"]],'
        'PRIMEM["Greenwich",0],UNIT["degree",0.0174532925199433]]',
        'LOCAL_CS["a"]', "EPSG:5773", "EPSG:4326\0", "", "x" * 200_000, "{" * 50_000,
    ],
)  # fmt: skip
def test_systems_that_name_files_or_no_place(text):
    assert known_crs(text) is None


@pytest.mark.parametrize(
    "text", ["EPSG:4326", "epsg:32617", "+init=epsg:4326", "EPSG:4267", "EPSG:2263", "OGC:CRS84",
             "+proj=utm +zone=34 +datum=WGS84 +units=m +no_defs"]
)  # fmt: skip
@pytest.mark.filterwarnings("ignore:.*authority.*:FutureWarning")
def test_systems_as_people_name_them(text):
    found = known_crs(text)
    assert found is not None
    assert known_crs(found.to_wkt()) == found
    assert known_crs(found.to_wkt("WKT1_GDAL")) is not None


def test_a_system_of_study_toml_may_not_name_a_file(tmp_path):
    folder = good_folder(tmp_path / "s")
    change("study.toml", "[fixes]", '[fixes]\ncrs = "+proj=longlat +nadgrids=/etc/hostname"')(
        folder
    )
    (said,) = [r for r in check(folder) if r.kind == "error"]
    assert (said.file, said.column) == ("study.toml", "fixes.crs")


def test_a_folder_called_like_an_address_is_a_folder(tmp_path, monkeypatch, asked):
    # libosmium hands what begins as an address to curl.
    address, paths = asked
    folder = good_folder(tmp_path / "s")
    inside = folder / "http:" / address.removeprefix("http://")
    inside.mkdir(parents=True)
    name = f"http:/{address.removeprefix('http://')}/roads.osm"
    use("roads.osm", name, OSM)(folder)
    monkeypatch.chdir(folder)
    from pathlib import Path

    assert not [r for r in check(Path()) if r.kind == "error"]
    assert not paths


def test_companions_of_a_shapefile_in_capitals_are_looked_at(tmp_path):
    folder = good_folder(tmp_path / "s")
    lines = gpd.GeoDataFrame.from_features(LINES["features"], crs="EPSG:4326")
    lines.to_file(folder / "l.shp", engine="pyogrio")
    (folder / "l.dbf").rename(tmp_path / "secret.dbf")
    (folder / "l.DBF").symlink_to(tmp_path / "secret.dbf")
    change("study.toml", "centrelines.geojson", "l.shp")(folder)
    said = [r for r in check(folder) if r.column == "roads.agency.file"]
    assert "leads out of the study folder" in said[0].problem


def test_a_packed_extract_that_unpacks_without_end(tmp_path, monkeypatch):
    import gzip

    from roadrisk.records import extract_guard

    folder = good_folder(tmp_path / "s")
    monkeypatch.setattr(extract_guard, "UNPACKED_BYTES", 1_000_000)
    use("roads.osm", "roads.osm.gz", gzip.compress(OSM.encode() + b" " * 20_000_000))(folder)
    (said,) = [r for r in check(folder) if r.kind == "error"]
    assert "unpacks to more than" in said.problem
    put("roads.osm.gz", gzip.compress(OSM.encode() + b" " * 200_000))(folder)
    assert not [r for r in check(folder) if r.kind == "error"]


def test_a_named_system_whose_name_is_a_link(tmp_path, asked):
    address, paths = asked
    named = {"type": "name", "properties": {"name": {"type": "link", "href": address}}}
    path = tmp_path / "a.geojson"
    path.write_text(json.dumps({"type": "FeatureCollection", "crs": named, "features": [POINT]}))
    assert "leads elsewhere" in layer(path)[1]
    assert not paths
