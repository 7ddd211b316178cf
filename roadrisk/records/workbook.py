"""Reading an .xlsx workbook as text, cell by cell as a person sees it."""

from __future__ import annotations

import datetime as dt
import zipfile
from dataclasses import replace
from typing import TYPE_CHECKING, Any
from xml.etree.ElementTree import ParseError

import pandas as pd

from roadrisk.records.table_files import table_of

if TYPE_CHECKING:
    from pathlib import Path

    from openpyxl.workbook import Workbook

    from roadrisk.records.raw_table import Notes, RawTable

# A workbook is a zip file; one that unpacks to more than this is no field table.
LARGEST_BYTES = 2_000_000_000

BROKEN = (
    OSError, ValueError, KeyError, TypeError, AttributeError, IndexError, EOFError,
    NotImplementedError, SyntaxError, ParseError, zipfile.BadZipFile,
)  # fmt: skip


def read_workbook(path: Path, name: str, sheet: str | None, notes: Notes) -> RawTable | None:
    """Read one sheet of a workbook as text.

    A date cell becomes ISO 8601, without a time where its format shows none; a whole number
    loses its ".0"; formulas give the value that was stored with them.

    Parameters
    ----------
    path : pathlib.Path
    name : str
        The file's name as the user knows it.
    sheet : str or None
        None takes the first sheet that holds anything; a doubt says so if there are more.
    notes : Notes
        Takes errors and doubts.

    Returns
    -------
    RawTable or None
    """
    from openpyxl import load_workbook
    from openpyxl.utils.exceptions import InvalidFileException

    try:
        with zipfile.ZipFile(path) as parts:
            if sum(p.file_size for p in parts.infolist()) > LARGEST_BYTES:
                notes.error("the workbook unpacks to over 2 GB.", "export the sheet as CSV")
                return None
        book = load_workbook(path, read_only=True, data_only=True)
        try:
            chosen, cells = _choose(book, sheet, notes)
        finally:
            book.close()
    except (*BROKEN, InvalidFileException):
        notes.error(
            "the workbook can't be opened: it is damaged, or no .xlsx file.",
            "open it in a spreadsheet program and save it again as .xlsx, or export CSV",
        )
        return None
    if chosen is None:
        return None
    raw = table_of(cells, name, notes, decimal_comma=True)
    return raw and replace(raw, sheet=chosen)


def _choose(book: Workbook, sheet: str | None, notes: Notes) -> tuple[str | None, pd.DataFrame]:
    names = [s.title for s in book.worksheets]
    if sheet is not None:
        if sheet not in names:
            notes.error(
                f"the workbook has no sheet {sheet!r}.",
                f"sheets here: {', '.join(map(repr, names))}",
            )
            return None, pd.DataFrame()
        return sheet, _cells(book, sheet)
    found = {n: c for n in names if len(c := _cells(book, n))}
    if not found:
        notes.error("the workbook holds no table.", "save it again, with a header row")
        return None, pd.DataFrame()
    first = next(iter(found))
    if len(found) > 1:
        notes.doubt(
            f"the workbook has {len(found)} sheets with cells "
            f"({', '.join(map(repr, found))}); the first was read.",
            f'write sheet = "{first}" or the right one in study.toml',
        )
    return first, found[first]


def _cells(book: Workbook, sheet: str) -> pd.DataFrame:
    page: Any = book[sheet]
    # Some programs write a wrong used range; without it every row is read to its end.
    if hasattr(page, "reset_dimensions"):
        page.reset_dimensions()
    rows = [[_shown(c) for c in row] for row in page.iter_rows()]
    while rows and not any(rows[-1]):
        rows.pop()
    width = max((len(r) for r in rows), default=0)
    return pd.DataFrame([r + [""] * (width - len(r)) for r in rows], dtype=str)


def _shown(cell: Any) -> str:
    value = cell.value
    if value is None:
        return ""
    if isinstance(value, str):
        return value
    if isinstance(value, dt.datetime):
        dated_only = value.time() == dt.time() and "h" not in str(cell.number_format).lower()
        return value.date().isoformat() if dated_only else value.isoformat()
    if isinstance(value, float):
        return str(int(value)) if value.is_integer() and abs(value) < 1e15 else repr(value)
    return str(value)
