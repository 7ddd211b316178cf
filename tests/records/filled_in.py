"""A review workbook filled in the way a volunteer's spreadsheet program would, by openpyxl."""

from __future__ import annotations

import openpyxl

from roadrisk.reporting.review_sheet import HEADER_ROW, review_sheet
from tests.records.reading import study
from tests.sightings.made_reviewed import made_reviewed


def written(path, *, reviewer="Ida Reed", base=0, made=None, **more):
    about = study(**more)
    path.write_bytes(review_sheet(made or made_reviewed(), about, reviewer=reviewer, base=base))
    return path


def fill(path, answers, to=None):
    """Write answers, {report: {heading: value}}, into a workbook and save it."""
    book = openpyxl.load_workbook(path)
    page = book["Reports"]
    columns = {c.value: c.column for c in page[HEADER_ROW + 1]}
    rows = {
        page.cell(n, columns["Report"]).value: n for n in range(HEADER_ROW + 2, page.max_row + 1)
    }
    for report, cells in answers.items():
        for heading, value in cells.items():
            page.cell(rows[report], columns[heading]).value = value
    book.save(to or path)
    return to or path
