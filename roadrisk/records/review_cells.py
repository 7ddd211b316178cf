"""The cells of a review workbook as text."""

from __future__ import annotations

import re
import warnings
import zipfile
from typing import TYPE_CHECKING, Any

from roadrisk.records.review_columns import ABOUT_SHEET, REPORTS_SHEET
from roadrisk.records.workbook import BROKEN, TooManyCellsError, few_enough, unpacks

if TYPE_CHECKING:
    from pathlib import Path

    from openpyxl.workbook import Workbook

    from roadrisk.records.raw_table import Notes

# Can't stand in a cell.
NOT_COMPUTED = "\x00"
FILE_MEND = "take the file as it was sent, or export a new one with: roadrisk sightings export"
_MOST_ROWS = 200_000


def read_cells(path: Path, notes: Notes) -> dict[str, list[list[str]]] | None:
    """Return the cells of both sheets as text; formulas give what was stored with them.

    Parameters
    ----------
    path : pathlib.Path
    notes : Notes
        Takes errors.

    Returns
    -------
    dict or None
        Rows of cells by name of the sheet; `NOT_COMPUTED` for a formula without a value. None if
        the file can't be used.
    """
    from openpyxl.utils.exceptions import InvalidFileException

    if not path.is_file():
        notes.error("there is no such file.", "check the name")
        return None
    try:
        if not unpacks(path, notes, FILE_MEND):
            return None
        with warnings.catch_warnings():
            # It warns of what it leaves out: drop-downs, dates that are none.
            warnings.simplefilter("ignore")
            return _both(path, notes)
    except TooManyCellsError:
        notes.error("a sheet has more cells than any that was sent.", FILE_MEND)
    except (*BROKEN, InvalidFileException):
        notes.error(
            "the workbook can't be opened: it is damaged, or no .xlsx file.",
            "open it in a spreadsheet program and save it again as .xlsx",
        )
    return None


def _both(path: Path, notes: Notes) -> dict[str, list[list[str]]] | None:
    from openpyxl import load_workbook

    with path.open("rb") as file:
        sheets = _texts(load_workbook(file, read_only=True, data_only=True))
    if not {REPORTS_SHEET, ABOUT_SHEET} <= set(sheets):
        notes.error("the file is no review sheet of roadrisk.", FILE_MEND)
        return None
    with zipfile.ZipFile(path) as parts:
        formulas = any(_has_formula(parts, name) for name in parts.namelist())
    if formulas:
        with path.open("rb") as file:
            with_formulas = _texts(load_workbook(file, read_only=True))
        sheets = {name: _mark(sheets[name], with_formulas[name]) for name in sheets}
    return sheets


def _has_formula(parts: zipfile.ZipFile, name: str) -> bool:
    if not name.startswith("xl/worksheets/"):
        return False
    with parts.open(name) as part:
        before = b""
        while content := part.read(1_000_000):
            # A tag may stand across two pieces; its prefix is short.
            if re.search(rb"<(?:\w{1,40}:)?f[ />]", before + content):
                return True
            before = content[-50:]
    return False


def _texts(book: Workbook) -> dict[str, list[list[str]]]:
    try:
        return {name: _cells(book[name]) for name in (REPORTS_SHEET, ABOUT_SHEET) if name in book}
    finally:
        book.close()


def _cells(page: Any) -> list[list[str]]:
    # Some programs write a wrong used range; without it every row is read to its end.
    page.reset_dimensions()
    rows = page.iter_rows(max_row=_MOST_ROWS, values_only=True)
    return [[_text(value) for value in row] for row in few_enough(rows)]


def _mark(values: list[list[str]], formulas: list[list[str]]) -> list[list[str]]:
    """Mark cells whose formula was never computed: they look empty and aren't."""
    return [
        [
            NOT_COMPUTED if not v and f.startswith("=") else v
            for v, f in zip(row, other, strict=False)
        ]
        for row, other in zip(values, formulas, strict=True)
    ]


def _text(value: object) -> str:
    if value is None:
        return ""
    if isinstance(value, float) and value.is_integer() and abs(value) < 1e15:
        return str(int(value))
    if isinstance(value, float):
        return f"{value:.9f}".rstrip("0")
    return str(value).strip()
