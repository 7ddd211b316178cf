"""The field book: pictures parsed as XML, tables read back, hostile text."""

from __future__ import annotations

import io
import re
from xml.etree import ElementTree as ET

import numpy as np
import pandas as pd
import pytest

from roadrisk.errors import OutputError
from roadrisk.reporting.column_words import descriptions
from roadrisk.reporting.field_book import FIXES, NO_FIX, TESTS, write_field_book
from roadrisk.telemetry.bearings import bearing_fixes
from tests.reporting.made_up import FORMULA, SCRIPT
from tests.telemetry.test_bearings import (
    AT,
    ERRORS,
    HERE,
    stack,
    study,
    table,
    trials,
    true_bearings,
)

SVG = "{http://www.w3.org/2000/svg}"


def write(tmp_path, *arguments, **more):
    here = study(*arguments, **more)
    return here, write_field_book(here, bearing_fixes(here), tmp_path / "book")


def read(path):
    return pd.read_csv(io.BytesIO(path.read_bytes()), encoding="utf-8-sig")


def off(errors):
    return (true_bearings(AT[: len(errors)]) + np.array(errors)) % 360


def pictures(written):
    return [p for p in written if p.suffix == ".svg"]


def test_a_picture_shows_what_was_measured(tmp_path):
    _, written = write(tmp_path, table(bearings=off([3.0, -4.0, 2.0, 1.0])), trials(ERRORS))
    (picture,) = pictures(written)
    root = ET.fromstring(picture.read_text(encoding="utf-8"))
    kinds = [e.get("class") for e in root.iter() if e.get("class")]
    assert [kinds.count(k) for k in ("observer", "ray", "region", "estimate", "scale", "north")] \
        == [4, 4, 1, 1, 1, 1]  # fmt: skip
    said = " ".join(e.text or "" for e in root.iter(f"{SVG}text"))
    for words in ("Fix 1: T01", "95 % region", "from true north", "24 tests", "power lines",
                  "not for publication", "1  2024-05-03T09:00-04:00 by observer"):  # fmt: skip
        assert words in said.replace(" 1 2024", " 1  2024")
    # The rays go through the drawing's own scale: bearing 1 (from the south) points up.
    ray = next(e for e in root.iter(f"{SVG}line"))
    assert float(ray.get("y2")) < float(ray.get("y1"))
    # The scale bar's length, by hand: observers 530 m apart at most, drawn with a margin.
    bar = next(e for e in root.iter() if e.get("class") == "scale")
    pixels = float(re.search(r"h([\d.]+)v", bar.get("d"))[1])
    dots = [(float(e.get("cx")), float(e.get("cy"))) for e in root.iter(f"{SVG}circle")]
    scale = np.hypot(*np.subtract(dots[1], dots[2])) / np.hypot(*(AT[1] - AT[2]))
    metres = float(re.search(r"(\d+) m(?: |$)", said)[1])
    assert pixels == pytest.approx(metres * scale, rel=0.01)


def test_north_in_the_picture_is_true_north(tmp_path):
    """East of a zone's middle the meridians lean to the right of the grid: true north lies left."""
    _, written = write(tmp_path, table(sd=4.0))
    root = ET.fromstring(pictures(written)[0].read_text(encoding="utf-8"))
    arrow = next(e for e in root.iter() if e.get("class") == "north")
    turn = float(re.search(r"rotate\((-?[\d.]+)", arrow.get("transform"))[1])
    assert (turn + 180) % 360 - 180 == pytest.approx(-1.74, abs=0.05)


def test_tables_can_be_read_back(tmp_path):
    two = table(AT[:2], start="2024-06-01T13:00Z", animal="T02")
    lonely = table(AT[:1], start="2024-06-02T13:00Z", animal="T03")
    fixed = table(bearings=off([3.0, -4.0, 2.0, 1.0]))
    here, written = write(tmp_path, stack(fixed, two, lonely))
    assert [p.name for p in written[:3]] == [FIXES, NO_FIX, TESTS]
    fixes = read(written[0])
    assert fixes["used_as_fix"].tolist() == ["yes", "no"]
    assert fixes["coordinateUncertaintyInMeters"].isna().tolist() == [False, True]
    assert fixes["coordinateUncertaintyInMeters"][0] == fixes["semi_major_m"][0]
    assert fixes["covariance_crs"].tolist() == ["EPSG:32617"] * 2
    assert "error not identified" in fixes["note"][1]
    point = here.bearings.geometry.iloc[[0]].to_crs(4326).iloc[0]
    assert abs(fixes["decimalLatitude"][0] - point.y) < 0.01
    axes = np.pi * fixes["semi_major_m"][0] * fixes["semi_minor_m"][0]
    assert fixes["area_m2"][0] == pytest.approx(axes, rel=0.01)
    none = read(written[1])
    assert none[["organismID", "row", "reason"]].to_numpy().tolist() == [
        ["T03", 2, "fewer than two usable bearings"]
    ]
    assert read(written[2]).empty
    assert len(pictures(written)) == 2
    assert "region" not in re.findall(r'class="(\w+)"', pictures(written)[1].read_text("utf-8"))


def test_every_column_is_described(tmp_path):
    """Both ways: columns that are there, and lines of the descriptions for these files."""
    _, written = write(tmp_path, table(bearings=off([3.0, -4.0, 2.0, 1.0])), trials(ERRORS))
    told = read(next(p for p in written if p.name == "columns.csv"))
    found = {(p.name, c) for p in written if p.suffix == ".csv" for c in read(p).columns}
    assert set(zip(told["file"], told["column"], strict=True)) == found
    assert {k for k in descriptions() if k[0] in (FIXES, NO_FIX, TESTS)} <= found
    ends = told["column"].str.endswith(("_low", "_high"))
    assert told.loc[ends, "interval"].str.startswith("95 %").all()


def test_what_the_tests_say_is_written(tmp_path):
    _, written = write(tmp_path, table(bearings=off([3.0, -4.0, 2.0, 1.0])), trials(ERRORS))
    row = read(written[2]).iloc[0]
    assert row["tests"] == 24
    assert row["deviation_degrees"] == pytest.approx(np.sqrt(np.mean(ERRORS**2)), abs=0.02)
    assert row["deviation_low"] < row["deviation_degrees"] < row["deviation_high"]
    assert row["bias_degrees"] == pytest.approx(ERRORS.mean(), abs=0.02)


@pytest.mark.parametrize("animal", [SCRIPT, FORMULA, "../../etc/passwd", "]]>&amp;", "ä\x00\u202e"])
def test_hostile_ids_stay_text(tmp_path, animal):
    rows = table(bearings=off([3.0, -4.0, 2.0, 1.0]), animal=animal)
    rows["recordedBy"] = SCRIPT
    _, written = write(tmp_path, rows)
    assert all(p.parent == tmp_path / "book" for p in written)
    (picture,) = pictures(written)
    assert re.fullmatch(r"fix_[A-Za-z0-9_-]+_20240503_\d{4}\.svg", picture.name)
    text = picture.read_text(encoding="utf-8")
    names = {e.tag.removeprefix(SVG) for e in ET.fromstring(text).iter()}
    assert names <= {"svg", "title", "defs", "clipPath", "rect", "g", "polygon", "line", "circle",
                     "path", "text"}  # fmt: skip
    assert "onerror" not in re.sub(r">[^<]*<", "><", text)
    assert not re.search(r"[\x00-\x08\u202e]", text)
    assert not read(written[0])["organismID"].str.startswith(("=", "+", "@")).any()


def test_names_of_pictures_differ_also_where_case_does_not_count(tmp_path):
    rows = [table(bearings=off([3.0, -4.0, 2.0, 1.0]), animal=a) for a in ("a b", "A/b", "A_B")]
    _, written = write(tmp_path, stack(*rows))
    assert len({p.name.casefold() for p in pictures(written)}) == 3


def test_a_large_region_is_cut_and_said_so(tmp_path):
    at = HERE + np.array([[0.0, -300.0], [90.0, -300.0]])
    _, written = write(tmp_path, table(at, sd=8.0))
    text = pictures(written)[0].read_text(encoding="utf-8")
    assert "The region goes on beyond the drawing" in text
    assert "allow places far beyond" in text
    view = float(re.search(r'viewBox="0 0 (\d+)', text)[1])
    dots = [float(x) for x in re.findall(r'cx="([-\d.]+)"', text)]
    assert max(dots) - min(dots) > view / 30


def test_no_bearing_gave_a_fix(tmp_path):
    _, written = write(tmp_path, table(AT[:1]))
    assert [p.name for p in written] == [FIXES, NO_FIX, TESTS, "columns.csv"]
    assert read(written[0]).empty


def test_same_input_same_bytes_and_nothing_on_trouble(tmp_path):
    rows = table(bearings=off([3.0, -4.0, 2.0, 1.0]))
    _, first = write(tmp_path / "a", rows)
    _, second = write(tmp_path / "b", rows)
    assert [p.read_bytes() for p in first] == [p.read_bytes() for p in second]
    (tmp_path / "c").mkdir()
    (tmp_path / "c" / "book").write_text("a file in the way", encoding="utf-8")
    with pytest.raises(OutputError):
        write(tmp_path / "c", rows)
