"""The review workbook: what is in it, what is not, and that strangers' text stays text."""

from __future__ import annotations

import io
import re
import zipfile
from dataclasses import replace

import openpyxl
import pytest

from roadrisk.errors import RoadriskError
from roadrisk.records.review_columns import FILLED_IN, HIDDEN, LONGEST_CELL, token
from roadrisk.reporting.review_rows import WIDTHS, review_rows
from roadrisk.reporting.review_sheet import review_sheet
from tests.records.reading import study
from tests.sightings.made_reviewed import (
    BIDI,
    CONTROL,
    FORMULA,
    LINK,
    QUEUED,
    SCRIPT,
    URL,
    made_reviewed,
)

HEADER = 3


def sheet(made=None, **more):
    about = study(name=f"Reed & <b>Hollow</b> {FORMULA}", common_name="=turtle")
    options = {"reviewer": "Ida Reed", "base": 7, **more}
    return review_sheet(made or made_reviewed(), about, **options)


def opened(data):
    return openpyxl.load_workbook(io.BytesIO(data))


def rows(data):
    """Read back with openpyxl: one dict a row, by heading."""
    page = opened(data)["Reports"]
    head, *body = page.iter_rows(min_row=HEADER)
    names = [cell.value for cell in head]
    return [dict(zip(names, row, strict=True)) for row in body]


def values(data):
    return [{name: cell.value for name, cell in row.items()} for row in rows(data)]


def test_the_queue_in_its_order_with_mates_behind():
    # By hand: R-02's group has R-03 of the queue, M-01 that is decided, M-02 that repeats; then the
    # queue goes on. Nothing else of the study is in it. Outside: openpyxl reads it.
    found = values(sheet())
    assert [r["Report"] for r in found][:7] == [
        "R-01", "R-02", "R-03", "M-01", "M-02", SCRIPT, FORMULA,
    ]  # fmt: skip
    assert len(found) == QUEUED + 2
    assert [r["No."] for r in found] == list(range(1, 15))
    assert [r["Report"] for r in found if r["asked"] == "0"] == ["M-01", "M-02"]
    assert {r["Report"]: r["Your verdict"] for r in found if r["Your verdict"]} == {
        "M-01": "decided already", "M-02": "exact repeat",
    }  # fmt: skip
    made = made_reviewed()
    marks = made.reports.set_index("report_key")["fingerprint"]
    for row, key in ((found[0], "R-01"), (found[5], SCRIPT), (found[6], FORMULA)):
        assert row["key"] == token(key)
        assert row["fingerprint"] == marks[key]


def test_what_a_reviewer_sees_of_a_report():
    # By hand.
    found = {r["Report"]: r for r in values(sheet())}
    first = found["R-01"]
    assert first["Latitude"] is None
    assert (first["Proposed latitude"], first["Proposed longitude"]) == (52.1996, 19.4102)
    assert (
        "• Position as written: 19.4102, 52.1996\n• Latitude and longitude look"
        in (first["Doubts"])
    )
    assert found["R-08"]["Proposed latitude"] == 52.2031
    assert found["R-10"]["Doubts"].startswith("• It can't count as written: no position.")
    second = found["R-02"]
    assert second["Perhaps the same animal as"] == "R-03 (chance 93%)\nM-01 (chance 71%)"
    assert second["Alive or dead"] == "dead"
    assert second["Exact to"] == "30 m"
    assert "Call me: [struck out]." in second["Remark"]
    assert found["R-11"]["Doubts"] == "It was decided on before and says something else now."
    # 8:00 UTC in New York; what is no date stands as written.
    assert found["R-02"]["Date and time"] == "2024-05-02 04:00"
    assert found["R-09"]["Date and time"] == f"31.02.24 {SCRIPT}"
    assert found["R-07"]["As described"] == "Testudo exempli; 132 mm"
    us = {r["Report"]: r for r in values(
        review_sheet(made_reviewed(), study(units="us"), reviewer="Ida", base=0))}  # fmt: skip
    assert us["R-02"]["Exact to"] == "98 ft"


def test_what_may_not_be_in_it():
    # By hand: no name of a sender or of who decided, no tag, no other report, no reason given
    # before; who sent several is still seen.
    data = sheet()
    with zipfile.ZipFile(io.BytesIO(data)) as parts:
        text = " ".join(parts.read(n).decode("utf-8") for n in parts.namelist())
    for secret in ("Una Marsh", "Ole Fen", "T05", "T99", "T5<", "D-01", "D-04", "which side?"):
        assert secret not in text, secret
    found = {r["Report"]: r for r in values(data)}
    assert found["R-11"]["Sender"] == found["R-12"]["Sender"]
    assert found["R-02"]["Sender"] != found["R-11"]["Sender"]
    assert found["R-09"]["Sender"] is None


def test_hostile_text_stays_text():
    # By hand, read back by openpyxl and as raw XML: strings only, no formula, no link, no control
    # or direction character; the remark of 1 MB is cut with a mark.
    data = sheet()
    found = rows(data)
    for row in found:
        for name, cell in row.items():
            assert cell.data_type in ("s", "n"), (name, cell.value)
            assert cell.hyperlink is None
            if cell.data_type == "s":
                assert all(c.isprintable() or c == "\n" for c in cell.value)
                assert len(cell.value) <= LONGEST_CELL
                if name not in FILLED_IN:
                    assert cell.number_format == "@"
                    assert cell.quotePrefix
    by_name = {r["Report"].value: r for r in found}
    long = by_name[SCRIPT]["Remark"].value
    assert len(long) == LONGEST_CELL
    assert long.endswith("[cut here]")
    shown = {c.value for r in found for c in r.values()}
    assert {SCRIPT, FORMULA, URL} <= shown | {by_name["R-07"]["Photos"].value}
    assert not {BIDI, CONTROL, LINK} & shown
    with zipfile.ZipFile(io.BytesIO(data)) as parts:
        for name in parts.namelist():
            xml = parts.read(name).decode("utf-8")
            assert not re.search(r"<f[ >]|<hyperlink|_x00[01]|\u202e", xml), name
            assert "externalLink" not in name


def test_only_the_cells_to_fill_in_can_be_written():
    # Outside: openpyxl reads protection, drop-downs and limits as a spreadsheet does.
    data = sheet()
    book = opened(data)
    assert book.sheetnames == ["Reports", "How to", "About"]
    assert [book[n].protection.sheet for n in book.sheetnames] == [True] * 3
    assert book["About"].sheet_state == "veryHidden"
    for row in rows(data):
        asked = row["asked"].value == "1"
        for name, cell in row.items():
            assert cell.protection.locked == (not (asked and name in FILLED_IN)), name
    page = book["Reports"]
    letters = {c.value: c.column_letter for c in page[HEADER]}
    for name in HIDDEN:
        assert page.column_dimensions[letters[HIDDEN[0]]].hidden, name
    last = HEADER + QUEUED + 2
    limits = {str(v.sqref): v for v in page.data_validations.dataValidation}
    verdict = limits[f"{letters['Your verdict']}4:{letters['Your verdict']}{last}"]
    assert verdict.formula1 == '"accept,ask back,not sure,reject"'
    assert verdict.showErrorMessage
    for name, most in (("New latitude", "90"), ("New longitude", "180")):
        limit = limits[f"{letters[name]}4:{letters[name]}{last}"]
        assert (limit.type, limit.formula1, limit.formula2) == ("decimal", f"-{most}", most)
    same = limits[f"{letters['Same animal as']}4:{letters['Same animal as']}{last}"]
    assert same.formula1.lstrip("=") == f"$B$4:$B${last}"
    assert page.freeze_panes == "C4"
    assert page.print_title_rows == "$3:$3"
    assert page.page_setup.orientation == "landscape"
    assert [b.id for b in page.col_breaks.brk] == [list(WIDTHS).index("Your verdict")]


def test_it_says_what_to_do_and_that_it_is_confidential():
    # By hand: on the sheet, on paper and in the instructions; for whom; the usual cautions.
    book = opened(sheet())
    assert (
        "Contains places of protected animals: not for publication" in book["Reports"]["A1"].value
    )
    assert "Confidential" in book["Reports"].oddFooter.center.text
    said = " ".join(c.value for c in book["How to"]["A"] if c.value)
    for words in (
        "Reports from the public about =turtle", "made for Ida Reed", "put it on the internet",
        "your own safety comes first", "local law decides", "ask back", "not sure", "as #7",
        "Don't follow web addresses", "need permits and trained people",
    ):  # fmt: skip
        assert words in said, words
    assert {c.data_type for c in book["How to"]["A"]} <= {"s", "n"}
    about = {a.value: b.value for a, b in book["About"].iter_rows()}
    assert about == {"format": "roadrisk review sheet", "version": "1", "study": "reed",
                     "reviewer": "Ida Reed", "base": "7"}  # fmt: skip


def test_the_same_input_gives_the_same_bytes():
    assert sheet() == sheet()
    assert sheet() != sheet(reviewer="Ole")


def test_parts_hold_every_report_once():
    # By hand: three parts together ask for the whole queue once; a group stays in one part.
    made = made_reviewed(more=20)
    asked = [
        [r.cells["Report"] for r in review_rows(made, study(), (k, 3)) if r.asked]
        for k in (1, 2, 3)
    ]
    flat = [name for part in asked for name in part]
    assert len(flat) == len(set(flat)) == QUEUED + 20
    assert {"R-02", "R-03"} <= set(asked[1])
    assert all(len(part) >= 10 for part in asked)
    for share in ((0, 3), (4, 3), (1, 0)):
        with pytest.raises(RoadriskError, match="1/3, 2/3"):
            review_rows(made, study(), share)


def test_reports_of_one_name_are_told_apart():
    # By hand: two ids that look alike once unseen characters are gone.
    made = made_reviewed()
    table = made.reports.copy()
    table.loc[table["report_key"] == "R-03", "occurrenceID"] = "r-02\u202e"
    found = values(sheet(replace(made, reports=table)))
    assert [r["Report"] for r in found][1:3] == ["R-02 (1)", "r-02 (2)"]
    assert found[1]["Perhaps the same animal as"].startswith("r-02 (2) (chance 93%)")


def test_no_report_is_called_like_a_row_or_like_two_reports():
    # By hand: a stranger chooses the id; "#1" means the first row, and ; parts two names.
    made = made_reviewed()
    table = made.reports.copy()
    for key, name in (
        ("R-01", "#1"),
        ("R-02", "R-07; R-08"),
        ("R-03", "r-09 (1)"),
        ("M-01", "r-09"),
    ):
        table.loc[table["report_key"] == key, "occurrenceID"] = name
    found = [r["Report"] for r in values(sheet(replace(made, reports=table)))]
    assert found[:4] == ["report #1", "R-07, R-08", "r-09 (1)", "r-09 (2)"]
    assert "R-09 (3)" in found
    assert len({name.casefold() for name in found}) == len(found)


def test_nothing_to_do_and_nobody_to_do_it():
    made = made_reviewed()
    with pytest.raises(RoadriskError, match="no report waits"):
        sheet(replace(made, queue=()))
    with pytest.raises(RoadriskError, match="--reviewer NAME"):
        sheet(reviewer=" \u202e ")
