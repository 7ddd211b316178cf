"""Small valid files of every kind that is read, all made here, for the fuzzer to spoil."""

from __future__ import annotations

import csv
import io
import json
import tempfile
import warnings
from functools import cache
from pathlib import Path

import pandas as pd

ROOT = Path(__file__).resolve().parents[2]
FOUND = Path(__file__).parent / "found"
_DEMO = ROOT / "demo_area"
_ROWS, _FEATURES = 14, 4
_MORE = """
[background]
file = "background.csv"

[bearings]
file = "bearings.csv"

[bearing_tests]
file = "bearing_tests.csv"

[effort]
file = "effort.csv"

[compare]
file = "compare.csv"

[inspections]
file = "inspections.csv"

[passage_use]
file = "passage_use.csv"

[crashes]
file = "crashes.csv"

[fences]
file = "fences.csv"

[wetlands]
file = "wetlands.geojson"
"""
_AT = "52.1996,19.4102"
_TABLES = {
    "background.csv": "occurrenceID,eventDate,decimalLatitude,decimalLongitude,scientificName,"
    f"recordedBy\nB1,2024-05-01,{_AT},Lutra ficta,Ida\nB2,2024-06-01T10:00,{_AT},Lepus ficta,\n",
    "bearings.csv": "organismID,eventDate,eventTime,decimalLatitude,decimalLongitude,"
    f"bearing_degrees,north\nT01,2024-05-01,10:00,{_AT},120,true\n"
    "T01,2024-05-01,10:05,52.1990,19.4150,300,magnetic\n",
    "bearing_tests.csv": "eventDate,decimalLatitude,decimalLongitude,bearing_degrees,north,"
    f"transmitterLatitude,transmitterLongitude\n2024-05-01,{_AT},120,true,52.1990,19.4150\n"
    f"2024-05-02,{_AT},118,true,52.1990,19.4150\n",
    "effort.csv": "eventDate,samplingEffort,footprintWKT\n"
    '2024-05-02,3 passes,"LINESTRING (19.41 52.20, 19.42 52.20)"\n2024-05-03,2,'
    '"LINESTRING (19.41 52.20, 19.42 52.21)"\n',
    "compare.csv": "site,kind,built,begun,of_site,footprintWKT\n"
    'F1,works,2024-03-01,2024-01-05,,"LINESTRING (19.41 52.20, 19.42 52.20)"\n'
    'C1,control,2024-03-01,,,"LINESTRING (19.43 52.20, 19.44 52.20)"\n',
    "inspections.csv": "eventDate,site,breaches,mended\n2024-05-02,F1,0,\n2024-07-02,F1,2,yes\n",
    "passage_use.csv": "site,structure,from_date,to_date,camera_days,animals\n"
    "F1,S1,2024-05-01,2024-06-01,60,4\n",
    "crashes.csv": f"eventDate,decimalLatitude,decimalLongitude\n2024-05-01,{_AT}\n",
    "fences.csv": 'footprintWKT\n"LINESTRING (19.41 52.20, 19.42 52.20)"\n',
}


@cache
def base_files() -> dict[str, bytes]:
    """Return a whole study folder, cut short: every section that there is, few rows each."""
    files = {
        path.name: path.read_bytes()
        for path in _DEMO.iterdir()
        if path.suffix in (".toml", ".csv", ".geojson")
    }
    files |= {name: text.encode() for name, text in _TABLES.items()}
    for name, content in files.items():
        if name.endswith(".csv"):
            files[name] = _first_rows(content)
        elif name.endswith(".geojson"):
            whole = json.loads(content)
            whole["features"] = whole["features"][:_FEATURES]
            files[name] = json.dumps(whole).encode()
    files["wetlands.geojson"] = files["habitat.geojson"]
    files["roads.osm"] = _first_ways((_DEMO / "roads.osm").read_text("utf-8")).encode()
    files["study.toml"] += _MORE.encode()
    files |= {f"texts/{p.name}": p.read_bytes() for p in (_DEMO / "texts").iterdir()}
    sightings = list(csv.reader(io.StringIO(files["sightings.csv"].decode())))
    if "associatedMedia" not in sightings[0]:
        sightings = [[*row, "photo.jpg" if k else "associatedMedia"]
                     for k, row in enumerate(sightings)]  # fmt: skip
    files["sightings.csv"] = as_csv(sightings)
    files["photo.jpg"] = photos()["jpg"]
    return files


def as_csv(rows: list[list[str]]) -> bytes:
    out = io.StringIO()
    csv.writer(out, lineterminator="\n").writerows(rows)
    return out.getvalue().encode()


def _first_rows(content: bytes) -> bytes:
    return as_csv(list(csv.reader(io.StringIO(content.decode())))[: _ROWS + 1])


def _first_ways(text: str) -> str:
    """Keep a few ways that may be driven on and their nodes."""
    import re

    ways = re.findall(r"<way .*?</way>", text, re.DOTALL)
    some = [w for w in ways if 'k="highway"' in w and 'v="track"' not in w][:12]
    refs = set(re.findall(r'ref="(-?\d+)"', "".join(some)))
    nodes = [n for n in re.findall(r"<node [^>]*/>", text)
             if re.search(r' id="(-?\d+)"', n)[1] in refs]  # fmt: skip  # type: ignore[index]
    return (
        '<?xml version="1.0" encoding="UTF-8"?>\n<osm version="0.6">\n'
        + "\n".join(nodes + some) + "\n</osm>\n"
    )  # fmt: skip


@cache
def layers() -> dict[str, dict[str, bytes]]:
    """Return layers of points, lines and polygons as each format's files, by kind and ending."""
    import geopandas as gpd
    import shapely

    files = base_files()
    table = pd.read_csv(io.BytesIO(files["sightings.csv"]), dtype=str)
    points = gpd.GeoDataFrame(
        table[["occurrenceID", "eventDate", "vitality"]],
        geometry=shapely.points(
            table["decimalLongitude"].astype(float), table["decimalLatitude"].astype(float)
        ),
        crs=4326,
    )
    kinds = {
        "points": points,
        "lines": gpd.read_file(io.BytesIO(files["agency_roads.geojson"])),
        "polygons": gpd.read_file(io.BytesIO(files["habitat.geojson"])),
    }
    out: dict[str, dict[str, bytes]] = {}
    for kind, layer in kinds.items():
        for ending in ("geojson", "gpkg", "shp"):
            with tempfile.TemporaryDirectory() as folder, warnings.catch_warnings():
                warnings.simplefilter("ignore")  # a shapefile's short names
                layer.to_file(Path(folder) / f"layer.{ending}", engine="pyogrio")
                out[f"{kind}.{ending}"] = {
                    p.name: p.read_bytes() for p in sorted(Path(folder).iterdir())
                }
    return out


@cache
def workbook() -> bytes:
    """Return the reports as a workbook."""
    from openpyxl import Workbook

    book = Workbook()
    for row in csv.reader(io.StringIO(base_files()["sightings.csv"].decode())):
        book.active.append(row)  # type: ignore[union-attr]
    out = io.BytesIO()
    book.save(out)
    return out.getvalue()


@cache
def gpx() -> bytes:
    return (
        b'<?xml version="1.0"?><gpx version="1.1" creator="hand" '
        b'xmlns="http://www.topografix.com/GPX/1/1">'
        b'<wpt lat="52.1996" lon="19.4102"><ele>3</ele><time>2024-05-01T10:00:00Z</time>'
        b"<name>W1</name><cmt>c</cmt><desc>d</desc><sym>s</sym><type>t</type></wpt>"
        b'<wpt lat="52.1999" lon="19.4112"><time>2024-05-02T10:00:00Z</time><name>W2</name></wpt>'
        b'<trk><name>T01</name><trkseg><trkpt lat="52.1996" lon="19.4102">'
        b"<time>2024-05-01T10:00:00Z</time></trkpt></trkseg></trk></gpx>"
    )


@cache
def extracts() -> dict[str, bytes]:
    """Return the roads in every packing."""
    import bz2
    import gzip

    import osmium

    xml = base_files()["roads.osm"]
    with tempfile.TemporaryDirectory() as folder:
        source, target = Path(folder) / "a.osm", Path(folder) / "a.osm.pbf"
        source.write_bytes(xml)
        with osmium.SimpleWriter(target) as writer:
            for item in osmium.FileProcessor(source):
                writer.add(item)
        packed = target.read_bytes()
    return {
        "roads.osm": xml,
        "roads.osm.gz": gzip.compress(xml, mtime=0),
        "roads.osm.bz2": bz2.compress(xml),
        "roads.osm.pbf": packed,
    }


@cache
def photos() -> dict[str, bytes]:
    from PIL import Image, TiffImagePlugin

    def sixtieths(*parts: float) -> tuple[object, ...]:
        return tuple(TiffImagePlugin.IFDRational(round(p * 100), 100) for p in parts)

    exif = Image.Exif()
    exif[0x010F] = "invented"
    exif.get_ifd(0x8769).update({0x9003: "2024:05:10 12:30:00", 0x9011: "+02:00"})
    exif.get_ifd(0x8825).update(
        {1: "N", 2: sixtieths(52, 12, 8.9), 3: "E", 4: sixtieths(19, 25, 1), 7: sixtieths(9, 0, 30),
         29: "2024:05:10"}
    )  # fmt: skip
    found = {}
    for ending in ("jpg", "png", "webp"):
        out = io.BytesIO()
        kind = {"jpg": "JPEG", "png": "PNG", "webp": "WEBP"}[ending]
        Image.new("RGB", (8, 6), "green").save(out, kind, exif=exif)
        found[ending] = out.getvalue()
    return found


@cache
def decisions() -> bytes:
    """Return a history of decisions as one file."""
    import sqlite3

    from roadrisk.decisions import Draft
    from roadrisk.records.decision_store import DecisionStore

    with tempfile.TemporaryDirectory() as folder:
        store = DecisionStore(Path(folder))
        store.append(
            [
                Draft("verdict", "R-1", "f1", verdict="accept", reason="seen"),
                Draft("place", "R-2", "f2", longitude=19.4, latitude=52.2),
                Draft("same", "R-1", "f1", other_key="R-2", other_fingerprint="f2"),
            ],
            who="Ida Reed",
        )
        store.append([Draft("undo", undoes=2)], who="Ida Reed")
        link = sqlite3.connect(store.path)
        link.execute("PRAGMA wal_checkpoint(TRUNCATE)")
        link.close()
        return store.path.read_bytes()


@cache
def review() -> bytes:
    """Return a review workbook that a reviewer filled in."""
    from tests.records.filled_in import fill, written

    with tempfile.TemporaryDirectory() as folder:
        path = written(Path(folder) / "r.xlsx")
        fill(path, {"R-02": {"Your verdict": "accept", "Reason": "seen"},
                    "R-03": {"Your verdict": "reject", "Reason": "no"}})  # fmt: skip
        return path.read_bytes()
