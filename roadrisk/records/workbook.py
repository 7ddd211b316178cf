"""Reading an .xlsx workbook as text, cell by cell as a person sees it."""

from __future__ import annotations

import datetime as dt
import warnings
import zipfile
import zlib
from dataclasses import replace
from typing import TYPE_CHECKING, Any, TypeVar
from xml.etree.ElementTree import ParseError

import pandas as pd

from roadrisk.records.limits import (
    UNPACKED_TIMES,
    WORKBOOK_BYTES,
    WORKBOOK_CELLS,
    WORKBOOK_ROWS,
    WORKBOOK_SURE_BYTES,
    in_words,
)
from roadrisk.records.table_files import table_of

if TYPE_CHECKING:
    from collections.abc import Iterable, Iterator, Sized
    from pathlib import Path

    from openpyxl.workbook import Workbook

    from roadrisk.records.raw_table import Notes, RawTable

_Row = TypeVar("_Row", bound="Sized")

BROKEN = (
    OSError, ValueError, KeyError, TypeError, AttributeError, IndexError, EOFError, OverflowError,
    NotImplementedError, SyntaxError, ParseError, RuntimeError, zipfile.BadZipFile, zlib.error,
)  # fmt: skip


class TooManyCellsError(Exception):
    """A sheet has more cells than are read."""


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
        if not unpacks(path, notes, "export the sheet as CSV"):
            return None
        with path.open("rb") as file, warnings.catch_warnings():
            # It warns of what it leaves out: drop-downs, dates that are none.
            warnings.simplefilter("ignore")
            book = load_workbook(file, read_only=True, data_only=True)
            try:
                chosen, cells = _choose(book, sheet, notes)
            finally:
                book.close()
    except TooManyCellsError:
        notes.error(
            f"a sheet has more than {WORKBOOK_CELLS:,} cells or {WORKBOOK_ROWS:,} rows, empty ones "
            "in between counted.",
            "delete rows and columns that hold nothing, or export the sheet as CSV",
        )
        return None
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


def unpacks(path: Path, notes: Notes, mend: str) -> bool:
    """Note an error if a workbook, which is a zip archive, unpacks to too much.

    Parameters
    ----------
    path : pathlib.Path
    notes : Notes
    mend : str

    Returns
    -------
    bool
        No part is ever unpacked further than to the size that was counted here.
    """
    with zipfile.ZipFile(path) as parts:
        size = sum(p.file_size for p in parts.infolist())
    packed = path.stat().st_size
    most = min(WORKBOOK_BYTES, max(WORKBOOK_SURE_BYTES, UNPACKED_TIMES * packed))
    if size > most:
        notes.error(
            f"the workbook unpacks from {in_words(packed)} to {in_words(size)}; of a file of its "
            f"size at most {in_words(most)} are read.",
            mend,
        )
    return size <= most


def few_enough(rows: Iterable[_Row]) -> Iterator[_Row]:
    """Yield rows of a sheet until their cells are too many.

    Parameters
    ----------
    rows : iterable of sequence

    Yields
    ------
    sequence

    Raises
    ------
    TooManyCellsError
    """
    cells = 0
    for number, row in enumerate(rows, start=1):
        cells += len(row)
        if cells > WORKBOOK_CELLS or number > WORKBOOK_ROWS:
            raise TooManyCellsError
        yield row


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
    rows = [[_shown(c) for c in row] for row in few_enough(page.iter_rows())]
    while rows and not any(rows[-1]):
        rows.pop()
    width = max((len(r) for r in rows), default=0)
    if width * len(rows) > WORKBOOK_CELLS:
        raise TooManyCellsError
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
