"""A review workbook comes back: what is taken from it, and what is refused in one line."""

from __future__ import annotations

import re
import zipfile

import openpyxl
import pytest

from roadrisk.errors import InputError
from roadrisk.records.review_sheet_in import read_review_sheet
from roadrisk.reporting.review_sheet import HEADER_ROW
from tests.records.filled_in import fill, written
from tests.sightings.made_reviewed import BIDI, FORMULA, QUEUED, SCRIPT, made_reviewed

REPORTS = made_reviewed().reports[["report_key", "fingerprint", "occurrenceID"]]


def read(path, reports=REPORTS, short_name="reed"):
    return read_review_sheet(path, reports, short_name)


def refused(path, **more):
    """Return the lines of the error: one a problem, each with the file's name and a mend."""
    with pytest.raises(InputError) as caught:
        read(path, **more)
    lines = caught.value.lines()
    for line in lines:
        assert line.startswith("s.xlsx")
        assert "Mend: " in line
        assert line.isprintable()
    return lines


@pytest.fixture
def sheet(tmp_path):
    return written(tmp_path / "s.xlsx", base=7)


def test_an_empty_sheet_decides_nothing(sheet):
    # By hand.
    found = read(sheet)
    assert (found.file, found.reviewer, found.base) == ("s.xlsx", "Ida Reed", 7)
    assert found.rows == ()
    assert found.empty == QUEUED


def test_what_was_filled_in(sheet):
    # By hand: numbers as numbers and as text with comma, words in any case, names of strangers,
    # several other reports by name, by number, by a name that the sheet doesn't list.
    fill(sheet, {
        "R-01": {"Your verdict": "Accept ", "New latitude": 52.1996, "New longitude": "19,4102",
                 "Reason": " figures were exchanged "},
        "R-02": {"Same animal as": "R-03; #4", "Not the same animal as": f"{SCRIPT}\nD-01"},
        SCRIPT: {"Your verdict": "reject", "Reason": "+1+1"},
        FORMULA: {"Your verdict": "not sure"},
        "R-08": {"New latitude": -1, "New longitude": 0.00001},
    })  # fmt: skip
    found = read(sheet)
    assert found.empty == QUEUED - 5
    by_name = {row.name: row for row in found.rows}
    first = by_name["R-01"]
    assert (first.verdict, first.latitude, first.longitude) == ("accept", 52.1996, 19.4102)
    assert (first.row, first.report_key, first.fingerprint) == (4, "R-01", "mark0000")
    assert first.reason == "figures were exchanged"
    second = by_name["R-02"]
    assert second.verdict == ""
    assert second.same == (("R-03", "mark0002"), ("M-01", "mark0012"))
    assert second.apart == ((SCRIPT, "mark0003"), ("D-01", "mark0014"))
    assert by_name[SCRIPT].report_key == SCRIPT
    assert by_name[FORMULA].verdict == "not sure"
    assert (by_name["R-08"].latitude, by_name["R-08"].longitude) == (-1.0, 0.00001)


@pytest.mark.parametrize(
    ("cells", "words"),
    [
        ({"Your verdict": "perhaps"}, "row 5, column Your verdict: 'perhaps' is no verdict."),
        ({"New latitude": 52.2}, "row 5, column New longitude: 'New latitude' is given and"),
        ({"New longitude": 19.2}, "row 5, column New latitude: 'New longitude' is given and"),
        ({"New latitude": 152.2, "New longitude": 19.2}, "'152.2' is no latitude."),
        ({"New latitude": "north", "New longitude": 19.2}, "'north' is no latitude."),
        ({"New latitude": 52.2, "New longitude": "nan"}, "'nan' is no longitude."),
        ({"New latitude": 52.2, "New longitude": 1e300}, "is no longitude."),
        ({"Your verdict": "=A1"}, "row 5, column Your verdict: the cell holds a formula and no"),
        ({"Reason": "why not"}, "row 5, column Reason: a reason without a verdict."),
        ({"Same animal as": "R-99"}, "'R-99' is none of the study's reports."),
        ({"Same animal as": "R-02"}, "'R-02' is the row's own report."),
        ({"Same animal as": "R-03", "Not the same animal as": "#3"}, "stands under both columns"),
        ({"Same animal as": "#99"}, "'#99' is none of the study's reports."),
        ({"Not the same animal as": BIDI * 9_000}, "is none of the study's reports."),
    ],
)
def test_a_bad_cell_is_one_line(sheet, cells, words):
    # By hand: R-02 stands in row 5.
    (line,) = refused(fill(sheet, {"R-02": cells}))
    assert words in line


def test_a_formula_with_its_value_is_that_value(sheet, tmp_path):
    # By hand: somebody points at the proposal instead of copying it, as spreadsheets store it; and
    # text that only looks like a formula is text.
    fill(sheet, {"R-01": {"New latitude": "=W4", "New longitude": 19.4102, "Reason": "@1+1",
                          "Your verdict": "accept"}})  # fmt: skip
    changed = tmp_path / "changed" / "s.xlsx"
    changed.parent.mkdir()
    with zipfile.ZipFile(sheet) as old, zipfile.ZipFile(changed, "w") as new:
        for part in old.infolist():
            data = old.read(part)
            if part.filename == "xl/worksheets/sheet1.xml":
                # An empty value is written in three ways, by which XML library is there.
                empty = rb"<f>W4</f><v ?(?:/>|></v>)"
                data, times = re.subn(empty, b"<f>W4</f><v>52.1996</v>", data)
                assert times == 1
            data = data.replace(b"@1+1", b"=1+1")
            new.writestr(part, data)
    (row,) = read(changed).rows
    assert (row.latitude, row.longitude, row.reason) == (52.1996, 19.4102, "=1+1")


def test_all_bad_cells_are_said_at_once_and_nothing_is_taken(sheet):
    # By hand: a good row beside two bad ones.
    fill(sheet, {"R-01": {"Your verdict": "accept"}, "R-02": {"Your verdict": "maybe"},
                 "R-03": {"New latitude": 1}})  # fmt: skip
    assert len(refused(sheet)) == 2


def test_rows_for_comparison_are_not_decided_on(sheet):
    # By hand: M-01 stands in row 7 for comparison; somebody took the protection off.
    (line,) = refused(fill(sheet, {"M-01": {"Your verdict": "reject"}}))
    assert "row 7, column Your verdict: this row isn't asked about" in line
    fill(sheet, {"M-01": {"Your verdict": None, "Same animal as": "R-02"}})
    assert len(refused(sheet)) == 1


def test_a_copied_row_is_refused(sheet):
    # By hand: the row of R-02 pasted under the table.
    fill(sheet, {"R-02": {"Your verdict": "accept"}})
    book = openpyxl.load_workbook(sheet)
    page = book["Reports"]
    for cell in page[5]:
        page.cell(HEADER_ROW + QUEUED + 4, cell.column).value = cell.value
    book.save(sheet)
    (line,) = refused(sheet)
    assert "row 18, column Report: 'R-02' is decided on in row 5 too." in line


def test_sorted_rows_and_moved_columns_are_read_all_the_same(sheet):
    # By hand: rows the other way round, a column of notes put in front.
    fill(sheet, {"R-02": {"Your verdict": "accept", "Same animal as": "#3"}})
    book = openpyxl.load_workbook(sheet)
    page = book["Reports"]
    rows = [[c.value for c in row] for row in page.iter_rows(min_row=HEADER_ROW + 2)]
    for n, row in enumerate(reversed(rows), HEADER_ROW + 2):
        for column, value in enumerate(row, 1):
            page.cell(n, column).value = value
    page.insert_cols(1)
    book.save(sheet)
    (row,) = read(sheet).rows
    assert (row.report_key, row.verdict, row.same) == ("R-02", "accept", (("R-03", "mark0002"),))


def test_reports_are_found_after_another_delivery(sheet):
    # By hand: ids moved on by one, so R-02's text is under R-03's id; R-07 is gone, another report
    # has its id; R-08 is gone altogether.
    fill(sheet, {"R-02": {"Your verdict": "accept"}, "R-07": {"Your verdict": "reject"}})
    later = REPORTS.copy()
    later.loc[1, "report_key"], later.loc[2, "report_key"] = "R-03", "R-04"
    later.loc[6, "fingerprint"] = "other"
    rows = read(sheet, later).rows
    assert [(r.report_key, r.fingerprint) for r in rows] == [
        ("R-03", "mark0001"), ("R-07", "mark0006"),
    ]  # fmt: skip
    fill(sheet, {"R-08": {"Your verdict": "accept"}})
    (line,) = refused(sheet, reports=later.drop(index=7))
    assert "'R-08' is none of the study's reports (any more)." in line


def test_two_reports_of_one_name_can_not_be_told(tmp_path):
    # By hand: a name of two other reports that the sheet doesn't list isn't known to be either;
    # one that the sheet tells apart is.
    sheet = written(tmp_path / "s.xlsx")
    fill(sheet, {"R-02": {"Same animal as": "d-01"}})
    assert read(sheet).rows[0].same == (("D-01", "mark0014"),)
    double = REPORTS.copy()
    double.loc[15, "occurrenceID"] = "d-01"
    (line,) = refused(sheet, reports=double)
    assert "'d-01' is the name of several reports" in line


@pytest.mark.parametrize("name", ["About", "Reports"])
def test_a_workbook_that_is_no_sheet(sheet, name):
    book = openpyxl.load_workbook(sheet)
    del book[name]
    book.save(sheet)
    (line,) = refused(sheet)
    assert "no review sheet of roadrisk" in line


def test_files_that_can_not_be_read(sheet, tmp_path):
    # By hand: of another study, of a newer version, a lost column, no workbook, no file.
    (line,) = refused(sheet, short_name="other")
    assert "this sheet is of the study 'reed', not of 'other'." in line
    book = openpyxl.load_workbook(sheet)
    book["About"]["B2"] = "2"
    book.save(sheet)
    assert "a newer roadrisk wrote this sheet" in refused(sheet)[0]
    book["About"]["B2"] = "1"
    column = next(c.column for c in book["Reports"][HEADER_ROW + 1] if c.value == "fingerprint")
    book["Reports"].delete_cols(column)
    book.save(sheet)
    assert "the sheet has lost its column 'fingerprint'" in refused(sheet)[0]
    sheet.write_bytes(b"PK\x03\x04 nonsense")
    assert "it is damaged, or no .xlsx file" in refused(sheet)[0]
    sheet.write_text("No.,Report\n1,R-01\n")
    assert "it is damaged, or no .xlsx file" in refused(sheet)[0]
    sheet.unlink()
    assert "there is no such file" in refused(sheet)[0]
