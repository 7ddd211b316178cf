"""Photos in the study folder: when and where they say they were taken, and what isn't read."""

from __future__ import annotations

import datetime as dt
import zlib
from zoneinfo import ZoneInfo

import numpy as np
import pandas as pd
import pytest
from PIL import Image, TiffImagePlugin

from roadrisk.records.photos import PHOTOS, read_photos

ZONE = ZoneInfo("Europe/Warsaw")
TAKEN, OFFSET = 0x9003, 0x9011
LAT_REF, LAT, LON_REF, LON, TIME, DATE = 1, 2, 3, 4, 7, 29


def save(path, taken=None, offset=None, gps=None, **options):
    exif = Image.Exif()
    exif[0x010F] = "invented"
    inside = {TAKEN: taken, OFFSET: offset}
    exif.get_ifd(0x8769).update({k: v for k, v in inside.items() if v is not None})
    exif.get_ifd(0x8825).update(gps or {})
    path.parent.mkdir(exist_ok=True, parents=True)
    Image.new("RGB", (8, 6), "green").save(path, exif=exif, **options)
    return path


def sixtieths(*parts):
    return tuple(TiffImagePlugin.IFDRational(round(p * 10_000), 10_000) for p in parts)


def place(lat, lon, letters="NE"):
    return {LAT_REF: letters[0], LAT: sixtieths(*lat), LON_REF: letters[1], LON: sixtieths(*lon)}


def naming(*media):
    n = len(media)
    return pd.DataFrame(
        {
            "report_key": [f"r{i}" for i in range(n)],
            "occurrenceID": [f"r{i}" for i in range(n)],
            "source_file": "s.csv",
            "source_row": np.arange(n) + 2,
            "associatedMedia": list(media),
        }
    )


def read(folder, *media):
    return read_photos(folder, naming(*media), zone=ZONE)


@pytest.mark.parametrize(
    ("taken", "offset", "gps", "time", "zone_known"),
    [
        # By hand. With its offset; in the study's zone (summer: two hours ahead of UTC);
        # by the satellites' clock; offsets that can't be; no time at all.
        ("2024:05:10 12:30:00", "+05:00", None, "2024-05-10T07:30", True),
        ("2024:05:10 12:30:00", "-03:30", None, "2024-05-10T16:00", True),
        ("2024:05:10 12:30:00", None, None, "2024-05-10T10:30", False),
        ("2024:01:10 12:30:00", "", None, "2024-01-10T11:30", False),
        ("2024:05:10 12:30:00", None, {DATE: "2024:05:10", TIME: sixtieths(9, 0, 30)},
         "2024-05-10T09:00:30", True),
        ("2024:05:10 12:30:00", "+99:00", None, "2024-05-10T10:30", False),
        ("0000:00:00 00:00:00", None, None, None, False),
        ("yesterday", "+01:00", {DATE: "2024:05:10", TIME: sixtieths(25, 0, 0)}, None, False),
        ("9999:12:31 23:59:59", "-12:00", None, None, False),
        (None, None, None, None, False),
    ],
)  # fmt: skip
def test_when_a_photo_was_taken(tmp_path, taken, offset, gps, time, zone_known):
    save(tmp_path / "a.jpg", taken, offset, gps)
    table, remarks, inputs = read(tmp_path, "a.jpg")
    assert list(table.columns) == list(PHOTOS)
    assert not remarks
    assert [i.name for i in inputs] == ["a.jpg"]
    (row,) = table.itertuples()
    assert row.report_key == "r0"
    if time is None:
        assert row.time is pd.NaT
    else:
        assert row.time == pd.Timestamp(time, tz="UTC")
        assert row.zone_known == zone_known


@pytest.mark.parametrize(
    ("gps", "lon", "lat"),
    [
        (place((52, 12, 8.892), (19, 25, 0.948)), 19.41693, 52.20247),
        (place((33, 30, 1.8), (70, 15, 0), "SW"), -70.25, -33.5005),
        (place((52.5, 0, 0), (19.25, 0, 0)), 19.25, 52.5),
        (place((0, 0, 0), (0, 0, 0)), np.nan, np.nan),  # no fix
        (place((95, 0, 0), (19, 0, 0)), np.nan, np.nan),
        ({LAT_REF: "N", LAT: sixtieths(52, 12, 8)}, np.nan, np.nan),
        ({**place((52, 0, 0), (19, 0, 0)), LAT_REF: "?"}, np.nan, np.nan),
        ({**place((52, 0, 0), (19, 0, 0)), LON: sixtieths(19, 1)}, np.nan, np.nan),
        (None, np.nan, np.nan),
    ],
)
def test_where_a_photo_was_taken(tmp_path, gps, lon, lat):
    # By hand: degrees, minutes and seconds.
    save(tmp_path / "a.jpg", gps=gps)
    table, _, _ = read(tmp_path, "a.jpg")
    np.testing.assert_allclose(table[["longitude", "latitude"]], [[lon, lat]], atol=1e-6)


@pytest.mark.parametrize("ending", ["jpg", "png", "webp"])
def test_formats(tmp_path, ending):
    save(tmp_path / f"a.{ending}", "2024:05:10 12:30:00", "+02:00")
    table, remarks, _ = read(tmp_path, f"a.{ending}")
    assert not remarks
    assert table["time"].tolist() == [pd.Timestamp("2024-05-10T10:30", tz="UTC")]


def test_lists_of_photos_and_where_they_may_lie(tmp_path):
    save(tmp_path / "a.jpg")
    save(tmp_path / "photos" / "b.JPG")
    save(tmp_path / "photos" / "2024" / "c.png")
    table, remarks, inputs = read(
        tmp_path, "a.jpg | b.JPG", "photos/b.JPG; 2024\\c.png", "", "a film.mp4, notes.txt"
    )
    assert not remarks
    assert table[["report_key", "photo"]].to_numpy().tolist() == [
        ["r0", "a.jpg"], ["r0", "photos/b.JPG"], ["r1", "photos/b.JPG"],
        ["r1", "photos/2024/c.png"],
    ]  # fmt: skip
    assert len(inputs) == 3
    assert all(len(i.sha256) == 64 for i in inputs)


def test_nothing_is_fetched_and_nothing_outside_the_folder_is_opened(tmp_path):
    # Hostile: addresses, ways out of the folder, a link that leads out.
    folder = tmp_path / "study"
    folder.mkdir()
    secret = save(tmp_path / "secret.jpg", "2024:05:10 12:30:00", "+02:00")
    (folder / "link.jpg").symlink_to(secret)
    names = [
        "https://example.org/invented/a.jpg", "file:///" + secret.as_posix(), "../secret.jpg",
        "..\\secret.jpg", secret.as_posix(), "link.jpg", "a\x00.jpg", "x" * 5000 + ".jpg",
    ]  # fmt: skip
    table, remarks, inputs = read(folder, *names)
    assert table.empty
    assert not inputs
    (remark,) = remarks  # one for all that aren't there; addresses on the web are passed over
    assert remark.problem.startswith("6 of 6 photos")
    assert "'../secret.jpg'" in remark.problem


def test_what_is_no_picture_is_one_doubt_each(tmp_path):
    good = save(
        tmp_path / "good.jpg", "2024:05:10 12:30:00", "+02:00", place((52, 1, 1), (19, 1, 1))
    )
    data = good.read_bytes()
    (tmp_path / "empty.jpg").write_bytes(b"")
    (tmp_path / "page.jpg").write_text("<script>alert(1)</script>")
    (tmp_path / "code.png").write_bytes(b"%!PS-Adobe-3.0 EPSF-3.0\n(x) run\n")
    table, remarks, _ = read(tmp_path, "empty.jpg", "page.jpg", "code.png", "good.jpg, page.jpg")
    assert table["report_key"].tolist() == ["r3"]
    assert [r.row for r in remarks] == [2, 3, 4]
    assert all(r.kind == "doubt" and "can't be read" in r.problem for r in remarks)
    # Broken anywhere: read or doubted, never an error.
    rng = np.random.default_rng(1)
    for k in range(200):
        spoiled = bytearray(data[: rng.integers(1, len(data))] if k % 2 else data)
        for at in rng.integers(0, len(spoiled), 8):
            spoiled[at] = rng.integers(0, 256)
        (tmp_path / "spoiled.jpg").write_bytes(bytes(spoiled))
        table, remarks, _ = read(tmp_path, "spoiled.jpg")
        assert len(table) + len(remarks) == 1


def test_a_picture_of_endless_size_is_only_looked_at(tmp_path, monkeypatch):
    # Hostile: a head that promises 12,000 by 12,000 pixels; no pixel is read.
    path = tmp_path / "huge.png"
    for exif in (True, False):
        if exif:
            save(path, "2024:05:10 12:30:00", "+02:00")
        else:
            Image.new("RGB", (8, 6)).save(path)
        data = bytearray(path.read_bytes())
        data[16:24] = (12_000).to_bytes(4) * 2
        data[29:33] = zlib.crc32(bytes(data[12:29])).to_bytes(4)
        path.write_bytes(bytes(data))
        monkeypatch.setattr(Image.Image, "load", _never)
        table, remarks, _ = read(tmp_path, "huge.png")
        monkeypatch.undo()
        assert not remarks
        assert table["time"].notna().tolist() == [exif]


def _never(*_):
    raise AssertionError("pixels were read")


def test_a_study_holds_its_photos(tmp_path):
    from roadrisk.records.study_folder import read_study

    save(tmp_path / "p1.jpg", "2024:05:10 12:30:00")
    (tmp_path / "study.toml").write_text(
        '[study]\nname = "n"\nshort_name = "n"\nspecies = "Testudo ficta"\nstart = 2024-01-01\n'
        'end = 2024-12-31\ntime_zone = "Europe/Warsaw"\n[sightings]\nfile = "s.csv"\n'
        '[roads.osm]\nfile = "r.osm"\n'
    )
    (tmp_path / "s.csv").write_text(
        "occurrenceID,eventDate,decimalLatitude,decimalLongitude,associatedMedia\n"
        "a,2024-05-10,52.20247,19.41693,p1.jpg\nb,2204-05-10,52.20247,19.41693,p1.jpg | p2.jpg\n"
    )
    (tmp_path / "r.osm").write_text(
        '<osm version="0.6"><node id="1" version="1" lat="52.202" lon="19.416"/>'
        '<node id="2" version="1" lat="52.203" lon="19.417"/><way id="1" version="1"><nd ref="1"/>'
        '<nd ref="2"/><tag k="highway" v="residential"/></way></osm>'
    )
    study = read_study(tmp_path)
    assert study.photos["report_key"].tolist() == ["a", "b"]
    local = dt.datetime(2024, 5, 10, 12, 30, tzinfo=ZONE)
    assert (study.photos["time"] == local).all()
    assert "p1.jpg" in {i.name for i in study.inputs}
    assert [r.problem[:6] for r in study.remarks if r.column == "associatedMedia"] == ["1 of 3"]
