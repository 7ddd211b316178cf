"""The thief's search finds what was planted, and nothing where nothing was.

By planting a known truth in every kind of file that an edition holds, in every form.
"""

from __future__ import annotations

import base64
import io
import json
import sqlite3
import struct
import zipfile
import zlib
from datetime import date, datetime
from pathlib import Path
from zoneinfo import ZoneInfo

import geopandas as gpd
import numpy as np
import pypdf
import pyproj
import pytest
import shapely
from PIL import Image
from PIL.PngImagePlugin import PngInfo

from tests.truth.cell_codes import geohash, plus_code
from tests.truth.leaks import search
from tests.truth.secrets_found import Secrets

ZONE = ZoneInfo("Asia/Tokyo")
PLACE = (130.48732164, 37.26371893)
CRS = "EPSG:32652"
ROADS = shapely.MultiLineString([[(130.4, 37.2), (130.6, 37.2)]])
SECRETS = Secrets(
    np.array([PLACE, (130.4421733, 37.2287914)]),
    ("Orlinde Vask", "Grauling-7x", "zq17k004v", "under the crooked alder"),
    (datetime(2024, 5, 17, 6, 41, 23, tzinfo=ZONE),), (date(2023, 8, 23),), CRS, ROADS,
)  # fmt: skip
FINER = {"extreme": 1, "high": 2, "medium": 3, "low": 4, "agency": 5}
"""Decimals of a degree one digit finer than the class's cells."""


def rounded(digits: int) -> tuple[float, float]:
    longitude, latitude = (round(value, digits) for value in PLACE)
    return longitude, latitude


def projected(crs: str = CRS) -> tuple[float, float]:
    x, y = pyproj.Transformer.from_crs("EPSG:4326", crs, always_xy=True).transform(*PLACE)
    return float(x), float(y)


def sexagesimal(value: float) -> str:
    minutes = (value % 1) * 60
    return f"{int(value)}°{int(minutes)}′{(minutes % 1) * 60:.1f}″"


def microdegrees() -> str:
    return f"{round(PLACE[1] * 1e6)} {round(PLACE[0] * 1e6)}"


PLACES = {
    "as it is": f"{PLACE[1]}, {PLACE[0]}",
    "longitude first": f"[{PLACE[0]},{PLACE[1]}]",
    "decimal comma": f"{PLACE[1]:.6f}; {PLACE[0]:.6f}".replace(".", ","),
    "working system": "x={:.0f} y={:.0f}".format(*projected()),
    "web map": "{:.1f} {:.1f}".format(*projected("EPSG:3857")),
    "no decimal point": microdegrees(),
    "degrees, minutes, seconds": f"{sexagesimal(PLACE[1])} N {sexagesimal(PLACE[0])} E",
    "named numbers": json.dumps({"latitude": PLACE[1], "road": "a lane", "longitude": PLACE[0]}),
    "geohash": geohash(*PLACE, 9),
    "plus code": plus_code(*PLACE),
}
WORDS = {
    "observer": "Told by Orlinde Vask.",
    "animal": "animal=GRAULING-7X",
    "record": "see zq17k004v",
    "remark": json.dumps("ünder") + " Under the crooked alder",
    "escaped": r"\u004frlinde Vask",
    "entities": "Orlinde&#32;Vask",
    "percent": "Orlinde%20Vask",
    "day": "2024-05-17",
    "day run together": "20240517",
    "day of another calendar's form": "17.05.2024",
    "day, month first": "5/17/2024",
    "day in words": "on 17 May",
    "month first in words": "May 17, 2024",
    "UTC day": "2024-05-16",
    "day without a time": "23 August 2023",
    "clock": "at 6:41",
    "seconds since 1970": str(int(SECRETS.instants[0].timestamp())),
    "row": "sightings.csv, row 17",
}


def plain(text: str) -> dict[str, bytes]:
    return {"public_cells.csv": f"cell,words\r\n1,{text}\r\n".encode()}


def page(text: str) -> dict[str, bytes]:
    data = base64.b64encode(f'{{"note": "{text} and some more of it 1"}}'.encode()).decode()
    return {"public.html": f'<p data-x="{data}">5 animals</p>'.encode()}


def data_picture(text: str) -> dict[str, bytes]:
    inside = base64.b64encode(picture(text)["map.png"]).decode()
    return {"public.html": f'<img src="data:image/png;base64,{inside}">'.encode()}


def picture(text: str) -> dict[str, bytes]:
    info = PngInfo()
    info.add_itxt("Comment", text, zip=True)
    out = io.BytesIO()
    Image.new("RGB", (4, 4)).save(out, "PNG", pnginfo=info)
    return {"map.png": out.getvalue()}


def older_chunk(text: str) -> dict[str, bytes]:
    whole = picture("none")["map.png"]
    data = b"Comment\0" + text.encode("latin-1", "replace")
    crc = struct.pack(">I", zlib.crc32(b"tEXt" + data))
    return {
        "map.png": whole[:33] + struct.pack(">I", len(data)) + b"tEXt" + data + crc + whole[33:]
    }


def pdf_property(text: str) -> dict[str, bytes]:
    writer = pypdf.PdfWriter()
    writer.add_blank_page(100, 100)
    writer.add_metadata({"/Subject": text})
    out = io.BytesIO()
    writer.write(out)
    return {"brief.pdf": out.getvalue()}


def pdf_attachment(text: str) -> dict[str, bytes]:
    writer = pypdf.PdfWriter()
    writer.add_blank_page(100, 100)
    writer.add_attachment("notes.txt", text.encode())
    writer.compress_identical_objects()
    out = io.BytesIO()
    writer.write(out)
    return {"brief.pdf": out.getvalue()}


def sheet_property(text: str) -> dict[str, bytes]:
    safe = text.replace("&", "&amp;").replace("<", "&lt;")
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as archive:
        archive.writestr("docProps/core.xml", f"<p><dc:subject>{safe}</dc:subject></p>")
    return {"list.xlsx": out.getvalue()}


def archive_comment(text: str) -> dict[str, bytes]:
    out = io.BytesIO()
    with zipfile.ZipFile(out, "w") as archive:
        archive.writestr("event.csv", "a")
        archive.comment = text.encode()
    return {"darwin_core.zip": out.getvalue()}


def layer_metadata(text: str) -> dict[str, bytes]:
    joined = sqlite3.connect(":memory:")
    joined.execute("CREATE TABLE gpkg_contents (table_name TEXT, description TEXT)")
    joined.execute("INSERT INTO gpkg_contents VALUES (?, ?)", ("cells", text))
    joined.commit()
    return {"layers.gpkg": joined.serialize()}


def file_name(text: str) -> dict[str, bytes]:
    return {f"map {text}.txt".replace("/", "-"): b"nothing"}


CARRIERS = [
    plain, page, picture, older_chunk, data_picture, pdf_property, pdf_attachment, sheet_property,
    archive_comment, layer_metadata, file_name,
]  # fmt: skip


@pytest.mark.parametrize("sensitivity", FINER)
@pytest.mark.parametrize("carrier", CARRIERS)
def test_nothing_is_found_where_nothing_was_planted(carrier, sensitivity):
    found = search(carrier("5 animals, 2023 to 2024"), SECRETS, sensitivity=sensitivity)
    assert found.leaks == ()


@pytest.mark.parametrize("carrier", CARRIERS)
@pytest.mark.parametrize("sensitivity", FINER)
def test_a_place_is_found_in_every_kind_of_file(carrier, sensitivity):
    for digits in (6, FINER[sensitivity]):
        longitude, latitude = rounded(digits)
        text = f"{latitude:.{digits}f} {longitude:.{digits}f}"
        assert search(carrier(text), SECRETS, sensitivity=sensitivity).leaks, text


@pytest.mark.parametrize("form", PLACES)
@pytest.mark.parametrize("sensitivity", FINER)
def test_a_place_is_found_in_every_form(form, sensitivity):
    assert search(plain(PLACES[form]), SECRETS, sensitivity=sensitivity).leaks


@pytest.mark.parametrize("digits", [4, 5, 6])
def test_one_coordinate_by_itself_is_found_in_a_public_file(digits):
    for value in rounded(digits):
        leaks = search(plain(f"{value:.{digits}f}"), SECRETS, sensitivity="medium").leaks
        assert bool(leaks) == (digits >= 5)


@pytest.mark.parametrize("form", WORDS)
@pytest.mark.parametrize("sensitivity", ["high", "agency"])
def test_names_ids_remarks_and_dates_are_found_in_every_form(form, sensitivity):
    assert search(plain(WORDS[form]), SECRETS, sensitivity=sensitivity).leaks


@pytest.mark.parametrize("form", ["observer", "record", "day", "clock"])
@pytest.mark.parametrize("carrier", [c for c in CARRIERS if c is not file_name])
def test_words_are_found_in_every_kind_of_file(carrier, form):
    assert search(carrier(WORDS[form]), SECRETS, sensitivity="high").leaks


def test_a_layer_that_holds_the_place_is_found(tmp_path):
    for name, crs in (("a.gpkg", "EPSG:4326"), ("b.gpkg", CRS)):
        layer = gpd.GeoDataFrame({"cell": ["1"]}, geometry=[shapely.Point(PLACE)], crs="EPSG:4326")
        layer.to_crs(crs).to_file(tmp_path / name, driver="GPKG")
        for sensitivity in FINER:
            files = {name: Path(tmp_path / name).read_bytes()}
            assert search(files, SECRETS, sensitivity=sensitivity).leaks


def test_a_number_in_memory_is_found():
    for order in "<>":
        content = b"\xff\x00\xfe" + struct.pack(f"{order}d", PLACE[0])
        assert search({"a.bin": content}, SECRETS, sensitivity="high").leaks
        assert not search({"a.bin": content}, SECRETS, sensitivity="agency").leaks
        content += b"\x01" + struct.pack(f"{order}d", PLACE[1])
        assert search({"a.bin": content}, SECRETS, sensitivity="agency").leaks


@pytest.mark.parametrize(
    ("sensitivity", "size"), [("high", 0.1), ("medium", 0.01), ("low", 0.001), ("agency", 0.001)]
)
def test_cells_of_the_class_are_no_leak(sensitivity, size):
    """Corners and the middle of the cell that holds the place, as a layer and as text."""
    west, south = (np.floor(value / size) * size for value in PLACE)
    box = shapely.box(west, south, west + size, south + size)
    corners = [[round(v, 7) for v in xy] for xy in box.exterior.coords]
    middle = f"{south + size / 2:.4f},{west + size / 2:.4f}"
    files = {"public_cells.geojson": json.dumps({"coordinates": [corners]}).encode()}
    files["public_cells.csv"] = f"cell,latitude,longitude,animals\r\n1,{middle},7\r\n".encode()
    assert search(files, SECRETS, sensitivity=sensitivity).leaks == ()


def test_ends_of_roads_are_no_leak_to_an_agency():
    """Four numbers in a row, of which two neighbours happen to be a secret place's."""
    text = f"{37.2},{PLACE[0]:.6f},{PLACE[1]:.6f},{130.45}"
    assert search(plain(text), SECRETS, sensitivity="agency").leaks
    upright = shapely.MultiLineString(
        [[(130.4, 37.2), (130.6, 37.2)], [(130.45, 37), (130.45, 38)]]
    )
    known = Secrets(
        SECRETS.places, SECRETS.names, SECRETS.instants, SECRETS.days, SECRETS.crs, upright
    )
    assert search(plain(text), known, sensitivity="agency").leaks == ()


def test_codes_are_the_published_ones():
    """From memory: geohash of 57.64911, 10.40744; plus code of a hill in Zürich's place."""
    assert geohash(10.40744, 57.64911, 11) == "U4PRUYDQQVJ"
    assert plus_code(8.524997, 47.365590) == "8FVC9G8F+6X"
