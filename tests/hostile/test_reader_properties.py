"""What holds for every input: nothing raises, nothing is lost, nothing leads out of the folder."""

from __future__ import annotations

import csv
import datetime as dt
import io
import itertools
import json
from zoneinfo import ZoneInfo

import numpy as np
import pandas as pd
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from roadrisk.errors import InputError, Remark, one_line
from roadrisk.records.columns import numbers
from roadrisk.records.dates import read_dates
from roadrisk.records.decoding import decode
from roadrisk.records.known_crs import known_crs
from roadrisk.records.layer_files import read_points
from roadrisk.records.osm_extract import read_osm_graph
from roadrisk.records.photos import read_photos
from roadrisk.records.positions import degrees
from roadrisk.records.raw_table import Notes
from roadrisk.records.settings_file import find_line
from roadrisk.records.study_files import find_file
from roadrisk.records.table_files import BLANKS, read_raw
from roadrisk.settings import settings_from
from roadrisk.table_settings import SightingsSection
from tests.hostile.strategies import (
    STEADY,
    anything,
    datelike,
    extracts,
    names,
    numberlike,
    settings_trees,
    tables,
)

ZONE = ZoneInfo("Europe/Warsaw")
EARLY, LATE = dt.datetime(1950, 1, 1, tzinfo=dt.UTC), dt.datetime(2200, 1, 1, tzinfo=dt.UTC)


def as_read(text):
    bare = text.strip()
    return "" if bare in BLANKS else bare


@STEADY
@given(
    tables(), st.sampled_from(",;\t"), st.sampled_from(["\n", "\r\n"]),
    st.sampled_from(["utf-8", "utf-8-sig", "utf-16", "cp1252"]),
)  # fmt: skip
def test_every_cell_of_a_text_table_comes_back(tmp_path, table, delimiter, newline, encoding):
    # By the csv module's own writer; a cell that swallowed rows only gives a doubt.
    header, rows = table
    out = io.StringIO(newline="")
    csv.writer(out, delimiter=delimiter, lineterminator=newline).writerows([header, *rows])
    path = tmp_path / "t.csv"
    path.write_bytes(out.getvalue().encode(encoding))
    notes = Notes("t.csv")
    named = encoding if encoding == "cp1252" else None
    found = read_raw(path, "t.csv", SightingsSection(file=("t.csv",), encoding=named), notes)
    assert found is not None, [r.line() for r in notes.remarks]
    assert not notes.failed
    assert list(found.frame.columns) == header
    expected = [[as_read(c).replace("\r\n", "\n") for c in row] for row in rows]
    assert found.frame.to_numpy().tolist() == expected
    assert len(found.rows) == len(set(found.rows.tolist())) == len(rows)


@STEADY
@given(st.binary(max_size=300), st.sampled_from([None, "utf-8", "utf-16", "cp1252", "utf-7"]))
@example(b"\xff\xfe\x00", None)
@example(b"\x81\xe9", None)
def test_bytes_become_the_text_they_are_or_one_error(data, encoding):
    notes = Notes("t.csv")
    found = decode(data, encoding, notes)
    if found is None:
        assert len(notes.remarks) == 1
        assert notes.failed
    else:
        text, chosen = found
        assert text == data.decode(chosen).removeprefix("\ufeff")


@STEADY
@given(st.lists(st.one_of(datelike, anything), min_size=1, max_size=5))
def test_dates_never_raise_and_lie_in_what_was_written(texts):
    found = read_dates(pd.Series(texts, dtype=str), ZONE, "day-first")
    for text, time in zip(texts, found.time, strict=True):
        if not pd.isna(time):
            two = f"{time.tz_convert(ZONE).year % 100:02d}"
            assert two in text or any(f"{(time.year + k) % 100:02d}" in text for k in (-1, 1))


@STEADY
@given(
    st.datetimes(EARLY.replace(tzinfo=None), LATE.replace(tzinfo=None)),
    st.integers(-14 * 60, 14 * 60),
)
def test_a_time_with_its_offset_is_that_moment(time, minutes):
    zoned = time.replace(microsecond=0, tzinfo=dt.timezone(dt.timedelta(minutes=minutes)))
    (found,) = read_dates(pd.Series([zoned.isoformat()]), ZONE, None).time
    assert found == pd.Timestamp(zoned)


@STEADY
@given(st.lists(st.one_of(numberlike, anything), min_size=1, max_size=5), st.booleans())
def test_numbers_and_degrees_never_raise_and_are_finite_or_none(texts, comma):
    column = pd.Series(texts, dtype=str)
    for found in (
        numbers(column, decimal_comma=comma), degrees(column, "lat"), degrees(column, "lon"),
    ):  # fmt: skip
        assert found.shape == (len(texts),)
        assert not np.isinf(found).any()


@STEADY
@given(st.floats(-180, 180), st.sampled_from(["E", "W"]))
def test_degrees_minutes_and_seconds_come_back(value, letter):
    size = abs(value)
    whole = int(size)
    minutes = int((size - whole) * 60)
    seconds = min(((size - whole) * 60 - minutes) * 60, 59.999999)
    text = f"{whole}°{minutes}'{seconds:.6f}\" {letter}"
    (found,) = degrees(pd.Series([text]), "lon")
    assert found == pytest.approx(-size if letter == "W" else size, abs=1e-8)
    plain = pd.Series([repr(value)])
    assert numbers(plain, decimal_comma=False)[0] == value


@STEADY
@given(names)
@example("inside/../../secret.csv")
@example("link/secret.csv")
@example("link.csv")
def test_a_name_is_a_file_inside_or_one_error(tmp_path, name):
    folder = tmp_path / "study"
    if not folder.exists():
        (folder / "inside").mkdir(parents=True)
        (tmp_path / "secret.csv").write_text("secret")
        (folder / "a.csv").write_text("a")
        (folder / "inside" / "a.csv").write_text("a")
        (folder / "link").symlink_to(tmp_path)
        (folder / "link.csv").symlink_to(tmp_path / "secret.csv")
    found = find_file(folder, name, "fixes.file", "study.toml")
    if isinstance(found, Remark):
        assert found.line().isprintable()
        assert found.mend
    else:
        assert found.resolve().is_relative_to(folder.resolve())
        assert found.read_text() == "a"


@STEADY
@given(st.lists(names, min_size=1, max_size=4))
def test_photos_that_reports_name_lie_in_the_folder(tmp_path, media):
    folder = tmp_path / "study"
    folder.mkdir(exist_ok=True)
    reports = pd.DataFrame(
        [{"report_key": "r", "occurrenceID": "r", "source_file": "s.csv", "source_row": 2,
          "associatedMedia": "|".join(f"{name}.jpg" for name in media)}]
    )  # fmt: skip
    table, remarks, inputs = read_photos(folder, reports, zone=ZONE)
    assert table.empty
    assert not inputs
    assert all(r.line().isprintable() for r in remarks)


@STEADY
@given(settings_trees)
def test_settings_of_any_shape_are_settings_or_errors(tree):
    for remark in _errors_of(lambda: settings_from(tree)):
        assert remark.line().isprintable()
        assert remark.mend


def _errors_of(read):
    try:
        read()
    except InputError as error:
        return error.remarks
    return ()


@STEADY
@given(
    st.lists(st.one_of(anything, st.sampled_from(["[a]", "b = 1", "[a.b]"])), max_size=9), anything
)
def test_lines_of_keys_lie_in_the_text(lines, key):
    text = "\n".join(lines)
    found = find_line(text, key)
    assert found is None or 1 <= found <= len(text.splitlines())


@settings(STEADY, max_examples=8)  # PROJ looks a name up in all that it knows
@given(anything)
def test_systems_are_known_or_not(text):
    found = known_crs(text)
    assert found is None or found.is_geographic or found.is_projected
    assert known_crs(f"+proj=longlat +ellps=GRS80 +nadgrids=/{text}") is None


@STEADY
@given(st.text(max_size=2000))
def test_a_line_is_one_printable_line(text):
    line = Remark("a.csv", 3, "x", text, text).line()
    assert line.isprintable()
    assert len(line) <= 600
    assert one_line(line) == line


_place = st.tuples(st.floats(-180, 180), st.floats(-90, 90))


@STEADY
@given(
    st.lists(st.tuples(_place, st.one_of(st.none(), st.text(max_size=9))), min_size=1, max_size=6)
)
def test_points_of_geojson_come_back(tmp_path, points):
    features = [
        {"type": "Feature", "properties": {"a": text, "n": k},
         "geometry": {"type": "Point", "coordinates": [x, y]}}
        for k, ((x, y), text) in enumerate(points)
    ]  # fmt: skip
    path = tmp_path / "p.geojson"
    path.write_text(json.dumps({"type": "FeatureCollection", "features": features}))
    notes = Notes("p.geojson")
    found = read_points(path, "p.geojson", None, notes)
    assert found is not None, [r.line() for r in notes.remarks]
    np.testing.assert_array_equal(found.xy, [place for place, _ in points])
    assert found.frame["n"].tolist() == [str(k) for k in range(len(points))]


@STEADY
@given(extracts())
def test_roads_of_an_extract_are_those_whose_nodes_are_there(tmp_path, extract):
    # By hand: a way is cut where a node is missing; runs of two different nodes or more are kept.
    nodes, ways = extract
    lines = [f'<node id="{n}" version="1" lon="{x / 1e7:.7f}" lat="{y / 1e7:.7f}"/>'
             for n, (x, y) in sorted(nodes.items())]  # fmt: skip
    kept: set[frozenset[int]] = set()
    for number, refs in ways.items():
        inside = "".join(f'<nd ref="{n}"/>' for n in refs)
        lines.append(
            f'<way id="{number}" version="1">{inside}<tag k="highway" v="tertiary"/></way>'
        )
        kept |= {frozenset(p) for p in itertools.pairwise(refs)
                 if p[0] in nodes and p[1] in nodes and p[0] != p[1]}  # fmt: skip
    path = tmp_path / "r.osm"
    path.write_text('<osm version="0.6">' + "\n".join(lines) + "</osm>")
    if kept:
        ids = set(np.asarray(read_osm_graph(path, ()).graph.node_id).tolist())
        assert ids == set().union(*kept)
    else:
        (remark,) = _errors_of(lambda: read_osm_graph(path, ()))
        assert "no roads" in remark.problem
