"""What is too much to be read is said in one line, soon; each case broke a reader once."""

from __future__ import annotations

import io
import json
import os
import sqlite3
import time
import zipfile

import numpy as np
import pandas as pd
import pytest

from roadrisk.decisions import Draft
from roadrisk.errors import InputError
from roadrisk.records import limits, text_size, workbook
from roadrisk.records.checking import check
from roadrisk.records.columns import numbers
from roadrisk.records.dates import only_order, read_dates
from roadrisk.records.decision_store import DecisionStore, read_decisions
from roadrisk.records.extract_guard import extract_problem
from roadrisk.records.joined_tables import join_sightings
from roadrisk.records.layer_files import read_layer
from roadrisk.records.past_run import read_past_run
from roadrisk.records.positions import degrees
from roadrisk.records.profile_file import load_profile
from roadrisk.records.raw_table import About, Notes
from roadrisk.records.release_log import read_release_log
from roadrisk.records.review_columns import ABOUT, ABOUT_SHEET
from roadrisk.records.review_sheet_in import read_review_sheet
from roadrisk.records.settings_file import find_line, load_settings
from roadrisk.records.table_files import read_raw
from roadrisk.table_settings import SightingsSection
from tests.hostile.broken_folders import FIXES, SIGHTINGS, STUDY, change, good_folder, put
from tests.hostile.fuzz_seeds import FOUND
from tests.records.filled_in import written
from tests.records.reading import study
from tests.sightings.made_reviewed import made_reviewed


def table(tmp_path, content, name="t.csv", **section):
    path = tmp_path / name
    path.write_bytes(content if isinstance(content, bytes) else content.encode())
    notes = Notes(name)
    found = read_raw(path, name, SightingsSection(file=(name,), **section), notes)
    return found, [r.line() for r in notes.remarks if r.kind == "error"]


@pytest.mark.parametrize(
    ("content", "says"),
    [
        ("a,b\n" + "x" * 6_000_000 + ",1\n", "row 2: the line has 6,000,00"),
        ("," * 6_000_000 + "\n1,2\n", "row 1: the line has"),
        ("a,b\n1" + ",2" * 25_000 + "\n", "more than 20,000 fields"),
        # One wide row among many short ones: 19,000 times 200,000 cells from 0.5 MB.
        (
            "a,b\n" + "," * 19_000 + "\n" + "1\n" * 200_000,
            "19,001 fields, far more than the others",
        ),
        ('a,b\n1,"' + "word\n" * 500_000 + '"\n', "row 2: a cell has 2,500,000 characters"),
    ],
    ids=["long line", "long header", "wide row", "one wide row", "long cell"],
)
def test_tables_that_are_too_much(tmp_path, content, says):
    began = time.monotonic()
    found, said = table(tmp_path, content)
    assert found is None
    assert len(said) == 1
    assert says in said[0]
    assert "Mend: " in said[0]
    assert time.monotonic() - began < 10


def test_sizes_of_files_are_named(tmp_path, monkeypatch):
    # A text table, a layer, a GPX file and an extract; each line names size, limit and mend.
    folder = good_folder(tmp_path / "s")
    for module in ("table_files.TABLE_BYTES", "layer_files.LAYER_BYTES", "gpx_files.GPX_BYTES"):
        monkeypatch.setattr(f"roadrisk.records.{module}", 100)
    monkeypatch.setattr("roadrisk.records.extract_guard.EXTRACT_BYTES", 100)
    put("fixes.gpx", "<gpx>" + " " * 200 + "</gpx>")(folder)
    for name in ("fixes.gpx", "sightings.csv", "centrelines.geojson"):
        notes = Notes(name)
        assert read_raw(folder / name, name, SightingsSection(file=(name,)), notes) is None
        (said,) = notes.remarks
        assert "at most 100 bytes are read" in said.problem
        assert said.mend
    problem, mend = extract_problem(folder / "roads.osm")
    assert "at most 100 bytes are read" in problem
    assert mend
    assert "fixes.gpx: the file has 211 bytes; at most" in _said(folder / "fixes.gpx")


def _said(path):
    notes = Notes(path.name)
    read_raw(path, path.name, SightingsSection(file=(path.name,)), notes)
    return notes.remarks[0].line()


def test_a_million_reports_fit():
    # The table that a state brings: a million rows of 300 bytes in 22 columns.
    assert limits.TABLE_BYTES > 10 * 300e6
    assert limits.ROWS > 10e6
    assert limits.CELLS + limits.CELLS_A_BYTE * 300e6 > 10 * 22e6
    assert limits.FEATURES > 2e6
    assert limits.LAYER_BYTES > 10 * 400e6


def test_only_newlines(tmp_path):
    found, said = table(tmp_path, b"\n" * 300_000)
    assert found is None
    assert "no table" in said[0]


def test_more_lines_than_are_read(tmp_path, monkeypatch):
    monkeypatch.setattr(text_size, "ROWS", 4)
    assert "has 5 lines; at most 4 are read" in table(tmp_path, "a\n1\n2\n3\n4\n")[1][0]


@pytest.mark.parametrize(
    "encoding", ["undefined", "idna", "punycode", "hex", "rot13", "unicode_escape", "utf-9", "a\0b"]
)
def test_codecs_that_are_no_encodings_of_text(tmp_path, encoding):
    found, said = table(tmp_path, SIGHTINGS, encoding=encoding)
    assert found is None
    assert "is not known" in said[0]


@pytest.mark.parametrize("encoding", ["utf-32", "utf-7", "shift_jis"])
def test_encodings_that_do_not_fit(tmp_path, encoding):
    found, said = table(
        tmp_path, "é,b\n1,2+\n".encode("latin-1") + b"\xff\x81\n", encoding=encoding
    )
    assert found is None
    assert f"is not {encoding} text" in said[0]


@pytest.mark.parametrize(
    "text",
    ["2024-05-01," + " " * 200_000 + "x", "1" * 200_000 + " 1", "38 " + " " * 200_000 + "x",
     "-" * 200_000, "1," * 100_000]
)  # fmt: skip
def test_patterns_do_not_take_hours(text):
    # Quadratic patterns over a cell of 200 kB would need minutes.
    one = pd.Series([text, "2024-05-01"])
    began = time.monotonic()
    assert read_dates(one, study().zone, "day-first").time.isna().tolist() == [True, False]
    only_order(one)
    assert np.isnan(numbers(one, decimal_comma=True)).all()
    assert np.isnan(degrees(one, "lat")[0])
    assert time.monotonic() - began < 2


def test_words_that_nobody_knows_are_counted_after_the_first():
    text = pd.Series([f"w{k}" for k in range(20_000)])
    notes = Notes("t.csv")
    about = About(np.arange(20_000) + 2, [""] * 20_000)
    began = time.monotonic()
    notes.doubt_words(text, text.tolist(), about, lambda w: lambda rows: f"{w}: {rows}.", "no")
    assert time.monotonic() - began < 2
    assert len(notes.remarks) == 21
    assert "19,980 more words that aren't known stand in 19980 of 20000 rows" in (
        notes.remarks[-1].problem
    )


NESTED = [
    ("a." * 100_000 + "b = 1", "more than 30 parts"),
    (f"[{'a.' * 100_000}b]", "more than 30 parts"),
    ('"a b".' * 40 + "c = 1", "more than 30 parts"),
    ("a = " + "[" * 100_000 + "]" * 100_000, "nested too deep"),
    ("a = " + "{a = " * 100_000 + "1" + "}" * 100_000, "nested too deep"),
    ("a = '" + "x" * 2_000_000 + "'", "it has more than"),
]


@pytest.mark.parametrize(("line", "says"), NESTED, ids=range(len(NESTED)))
def test_toml_that_is_too_much(tmp_path, line, says):
    # Dotted keys took memory by the square of their parts: 40 GB for 200 kB.
    folder = good_folder(tmp_path / "s")
    began = time.monotonic()
    put("study.toml", f"{STUDY}\n{line}\n")(folder)
    (said,) = load_settings(folder).remarks
    assert says in said.problem
    put("p.toml", f"{line}\n")(folder)
    with pytest.raises(InputError, match=says):
        load_profile(study(profile="p.toml"), folder)
    assert time.monotonic() - began < 10


def test_dots_in_sentences_are_no_keys(tmp_path):
    folder = good_folder(tmp_path / "s")
    words = "e.g. a fen, " * 200 + "." * 500 + " a.b.c " + "3.14.15, " * 50
    change("study.toml", 'name = "Reed Hollow"', f'name = "x"\n# {words}')(folder)
    assert not load_settings(folder).remarks


def test_a_line_of_blanks_in_study_toml():
    began = time.monotonic()
    text = "[fixes]\n" + " a" * 100_000 + "\nfile = 1\n"
    assert find_line(text, "fixes.file") == 3
    assert time.monotonic() - began < 1


def test_a_thousand_wrong_keys_are_not_a_thousand_lines(tmp_path):
    folder = good_folder(tmp_path / "s")
    keys = "".join(f"k{n} = 1\n" for n in range(2_000))
    change("study.toml", "[animals]", f"[crossings]\n{keys}\n[animals]")(folder)
    began = time.monotonic()
    remarks = load_settings(folder).remarks
    assert len(remarks) == 101
    assert "1,900 more problems" in remarks[-1].problem
    assert time.monotonic() - began < 5


def _sheet(tmp_path, old, new):
    """Write the good fixes as a workbook with a piece of the sheet's XML exchanged."""
    from openpyxl import Workbook

    book = Workbook()
    for line in FIXES.splitlines():
        book.active.append(line.split(","))
    out = io.BytesIO()
    book.save(out)
    path = tmp_path / "t.xlsx"
    with zipfile.ZipFile(out) as old_parts, zipfile.ZipFile(path, "w", 8) as parts:
        for name in old_parts.namelist():
            content = old_parts.read(name)
            if name == "xl/worksheets/sheet1.xml":
                assert old in content
                content = content.replace(old, new)
            parts.writestr(name, content)
    return path


def _read_sheet(path):
    notes = Notes(path.name)
    found = read_raw(path, path.name, SightingsSection(file=(path.name,)), notes)
    return found, " ".join(r.line() for r in notes.remarks)


@pytest.mark.parametrize(
    ("old", "new", "says"),
    [
        # Rows in between are made up by the reading library: two thousand million of them.
        (b'<row r="3"', b'<row r="2000000000"', "or 1,048,576 rows"),
        (b"</sheetData>", b"<!--" + b" " * 40_000_000 + b"--></sheetData>", "unpacks from"),
    ],
    ids=["rows far away", "bomb"],
)
def test_workbooks_that_are_too_much(tmp_path, old, new, says):
    found, said = _read_sheet(_sheet(tmp_path, old, new))
    assert found is None
    assert says in said


def test_cells_far_to_the_right(tmp_path, monkeypatch):
    monkeypatch.setattr(workbook, "WORKBOOK_CELLS", 10_000)
    found, said = _read_sheet(_sheet(tmp_path, b'r="F2"', b'r="ZZZ2"'))
    assert found is None
    assert "cells" in said


def test_the_good_workbook_is_good(tmp_path):
    assert len(_read_sheet(_sheet(tmp_path, b"<row", b"<row"))[0]) == 6


@pytest.mark.parametrize("value", ["²", "9" * 5000, "-1", "1.5", ""])
def test_numbers_of_a_review_sheet(tmp_path, value):
    # "²" is a digit to Python's isdigit, and no number.
    import openpyxl

    path = written(tmp_path / "r.xlsx")
    book = openpyxl.load_workbook(path)
    (cell,) = [row[1] for row in book[ABOUT_SHEET] if row[0].value == ABOUT[-1]]
    cell.value = value
    book.save(path)
    with pytest.raises(InputError, match="no review sheet"):
        read_review_sheet(path, made_reviewed().reports, "reed")


@pytest.fixture
def history(tmp_path):
    store = DecisionStore(tmp_path)
    store.append([Draft("verdict", "R-1", "f", verdict="accept")], who="Ida")
    store.append([Draft("undo", undoes=1)], who="Ida")
    link = sqlite3.connect(store.path)
    link.execute("PRAGMA journal_mode = DELETE")
    link.executescript("DROP TRIGGER nothing_is_changed; DROP TRIGGER numbers_go_on;")
    yield link, store
    link.close()


def _laid_out_again(link):
    """Put the triggers back, so that only the rows are wrong."""
    from roadrisk.records.decision_file import _LAYOUT

    for statement in _LAYOUT[1:]:
        if "nothing_is_changed" in statement or "numbers_go_on" in statement:
            link.execute(statement)
    link.commit()


@pytest.mark.parametrize(
    "change_row",
    [
        "UPDATE history SET at = 'yesterday' WHERE number = 1",
        "UPDATE history SET at = '2024-05-01T10:00:00' WHERE number = 1",  # of no zone
        "UPDATE history SET undoes = 2 WHERE number = 2",  # itself: a search that never ends
        "UPDATE history SET undoes = NULL WHERE number = 2",
        "UPDATE history SET who = CAST(x'ff' AS TEXT) WHERE number = 1",
    ],
)
def test_a_history_that_was_not_written_here(history, change_row):
    link, store = history
    link.execute("PRAGMA ignore_check_constraints = ON")
    link.execute(change_row)
    _laid_out_again(link)
    link.close()
    decisions, (remark,), _ = read_decisions(store.path.parent)
    assert not decisions.history
    assert "damaged" in remark.problem or "can't be used" in remark.problem
    with pytest.raises(InputError):
        store.append([Draft("verdict", "R-2", "f", verdict="accept")], who="Ida", expect=0)


@pytest.mark.parametrize(
    "layout",
    [
        "CREATE VIEW v AS WITH RECURSIVE c(x) AS (SELECT 1 UNION SELECT x + 1 FROM c) "
        "SELECT * FROM c",
        "CREATE TRIGGER t AFTER INSERT ON history BEGIN DELETE FROM history; END",
        "CREATE TABLE more (a)",
    ],
)
def test_a_history_with_more_than_was_laid_out(history, layout):
    link, store = history
    link.execute(layout)
    _laid_out_again(link)
    link.close()
    (remark,) = read_decisions(store.path.parent)[1]
    assert "damaged" in remark.problem


def test_the_good_history_is_good(history):
    link, store = history
    _laid_out_again(link)
    link.close()
    decisions, remarks, _ = read_decisions(store.path.parent)
    assert not remarks
    assert len(decisions.history) == 2


def test_a_history_that_is_too_large(tmp_path, monkeypatch):
    store = DecisionStore(tmp_path)
    store.append([Draft("verdict", "R-1", "f", verdict="accept")], who="Ida")
    monkeypatch.setattr("roadrisk.records.decision_store.DECISIONS_BYTES", 1000)
    assert "at most 1 kB are read" in read_decisions(tmp_path)[1][0].problem


@pytest.mark.parametrize(
    "text", ["[" * 100_000, "{" * 100_000, "9" * 5000, json.dumps({"roadrisk_released": 1}), "NaN",
             '{"roadrisk_released": 1, "groups": [' + "[" * 100_000]
)  # fmt: skip
def test_logs_of_releases(tmp_path, text):
    (tmp_path / "released.json").write_text(text)
    with pytest.raises(InputError) as caught:
        read_release_log(tmp_path)
    assert len(caught.value.lines()) == 1


def test_one_id_for_all_reports_takes_no_square_of_time(tmp_path):
    head, first, *_ = SIGHTINGS.splitlines()
    rows = [first.replace("2024-05-02", f"2024-05-{k % 28 + 1:02}") for k in range(4000)]
    folder = good_folder(tmp_path / "s")
    put("sightings.csv", "\n".join([head, *rows]))(folder)
    reports = read_raw(folder / "sightings.csv", "s", SightingsSection(file=("s",)), Notes("s"))
    table = reports.frame.assign(source_file="s", source_row=reports.rows)
    began = time.monotonic()
    joined, remarks = join_sightings([table])
    assert time.monotonic() - began < 3
    assert joined["occurrenceID"].tolist()[-1] == "A1-4000"
    assert joined["occurrenceID"].is_unique
    assert len(remarks) == 3999


def test_a_system_that_the_reading_library_trips_over():
    # Found by the fuzzer: pyogrio 0.13 raises an UnboundLocalError for this .prj.
    notes = Notes("layer.shp")
    assert read_layer(FOUND / "shapefile_system" / "layer.shp", None, notes) is None
    assert "can't be read" in notes.remarks[0].problem


GPX = '<gpx version="1.1" creator="x" xmlns="http://www.topografix.com/GPX/1/1">'


@pytest.mark.parametrize(
    ("text", "says"),
    [
        # gpxpy's own search for names of spaces takes the square of the length.
        ("<gpx " + "xmlns:a " * 100_000 + "></gpx>", "is no GPX file"),
        (f"{GPX}{'<a>' * 200_000}{'</a>' * 200_000}</gpx>", "is no GPX file"),
        (f"{GPX}{'<wpt/>' * 200_001}</gpx>", "the file has 200,001 points"),
    ],
    ids=["spaces", "deep", "points"],
)
def test_gpx_that_is_too_much(tmp_path, text, says):
    began = time.monotonic()
    found, said = table(tmp_path, text, name="t.gpx")
    assert found is None
    assert says in said[0]
    assert time.monotonic() - began < 5


@pytest.mark.parametrize("name", ["study.toml", "released.json"])
def test_files_of_their_own_names_may_not_be_links(tmp_path, name):
    folder = good_folder(tmp_path / "s")
    (tmp_path / "elsewhere").write_text(STUDY)
    (folder / name).unlink(missing_ok=True)
    (folder / name).symlink_to(tmp_path / "elsewhere")
    if name == "study.toml":
        assert "leads out of the folder" in load_settings(folder).remarks[0].problem
    else:
        with pytest.raises(InputError, match="is a link"):
            read_release_log(folder)


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="pipes with a name are of POSIX systems")
@pytest.mark.parametrize("name", ["decisions.sqlite", "fixes.csv", "texts/need.txt"])
def test_a_pipe_is_not_waited_for(tmp_path, name):
    folder = good_folder(tmp_path / "s")
    (folder / "texts").mkdir()
    (folder / name).unlink(missing_ok=True)
    os.mkfifo(folder / name)
    (said,) = [r for r in check(folder) if r.kind == "error"]
    assert "no file" in said.problem
    os.mkfifo(folder / "provenance.json")
    with pytest.raises(InputError, match="no file"):
        read_past_run(folder / "provenance.json")


def test_a_hundred_thousand_seasons(tmp_path):
    # Each month was counted again for each: minutes for 800 kB.
    folder = good_folder(tmp_path / "s")
    seasons = f"[hotspots]\nseasons = [{'[1],' * 100_000}]\n\n[animals]"
    change("study.toml", "[animals]", seasons)(folder)
    began = time.monotonic()
    assert "at most 12" in load_settings(folder).remarks[0].problem
    assert time.monotonic() - began < 5
