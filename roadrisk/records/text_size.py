"""How long and wide a text table is: what is too much to be read, said in one line."""

from __future__ import annotations

import csv
import io
from dataclasses import dataclass
from typing import TYPE_CHECKING

from roadrisk.records.limits import (
    CELL_CHARACTERS,
    CELLS,
    CELLS_A_BYTE,
    FIELDS,
    LINE_CHARACTERS,
    ROWS,
)

if TYPE_CHECKING:
    import pandas as pd

    from roadrisk.records.raw_table import Notes


@dataclass(frozen=True)
class Shape:
    """How a text table is cut into fields.

    Attributes
    ----------
    delimiter : str
    width : int
        Fields of the widest row.
    has_long_cell : bool
        Whether a cell may be longer than a line.
    """

    delimiter: str
    width: int
    has_long_cell: bool


def shape_of(text: str, notes: Notes) -> Shape | None:
    """Return how a text table is cut into fields.

    Parameters
    ----------
    text : str
        The whole file.
    notes : Notes
        Takes an error if it is too much to be read.

    Returns
    -------
    Shape or None
    """
    if "\0" in text:
        notes.error("the file holds NUL bytes: it is no text table.", "export it again as CSV")
        return None
    if not _lines_fit(text, notes):
        return None
    delimiter = find_delimiter(text)
    shape = Shape(delimiter, *_width(text, delimiter))
    return shape if _cells_fit(text, shape.width, notes) else None


def find_delimiter(text: str) -> str:
    """Return the delimiter (comma, semicolon or tab) that cuts the header into most fields."""
    lines = io.StringIO(text, newline=None)
    head = next((line for line in lines if line.strip(",; \t\r\n")), "")

    def fields(delimiter: str) -> int:
        try:
            return len(next(csv.reader([head], delimiter=delimiter), []))
        except csv.Error:  # a field too long for the csv module
            return head.count(delimiter) + 1

    return max(",;\t", key=fields)


def cells_are_short(cells: pd.DataFrame, notes: Notes) -> bool:
    """Note an error if a cell is too long.

    Parameters
    ----------
    cells : pandas.DataFrame of str
        Row i is the file's record i + 1.
    notes : Notes

    Returns
    -------
    bool
    """
    for column in cells:
        length = cells[column].str.len()
        if length.max() > CELL_CHARACTERS:
            notes.error(
                f"a cell has {length.max():,} characters; at most {CELL_CHARACTERS:,} are read.",
                "look for a double quote that is not closed, or shorten the text",
                row=int(length.to_numpy().argmax()) + 1,
            )
            return False
    return True


def _lines_fit(text: str, notes: Notes) -> bool:
    """Note an error if the table has too many lines, or one that is too long."""
    number = 0
    for number, line in enumerate(io.StringIO(text, newline=None), start=1):
        if len(line) > LINE_CHARACTERS:
            notes.error(
                f"the line has {len(line):,} characters; at most {LINE_CHARACTERS:,} are read.",
                "look whether line breaks were lost, and export it again as CSV",
                row=number,
            )
            return False
    if number > ROWS:
        notes.error(
            f"the file has {number:,} lines; at most {ROWS:,} are read.",
            "write it as several files; file = [...] takes a list",
        )
    return number <= ROWS


def _width(text: str, delimiter: str) -> tuple[int, bool]:
    """Return room for the widest row, or pandas stops at a row wider than the header.

    Delimiters inside quotes count too; they only make empty columns, which are dropped. A row
    with line breaks in its cells is wider than any of its lines. Second: whether a cell may be
    longer than a line.
    """
    widest = max(line.count(delimiter) for line in io.StringIO(text, newline=None)) + 1
    if '"' not in text:
        return widest, False
    try:
        rows = csv.reader(io.StringIO(text, newline=""), delimiter=delimiter)
        return max(widest, max(map(len, rows), default=0)), False
    except csv.Error:  # a field too long for the csv module
        return widest, True


def _cells_fit(text: str, widest: int, notes: Notes) -> bool:
    """Note an error if rows are too wide, or one is so wide that most of the table is empty."""
    lines = text.count("\n") + text.count("\r") + 1
    if widest > FIELDS:
        notes.error(f"a row has more than {FIELDS:,} fields.", "export it again as CSV")
        return False
    if lines * widest > CELLS + CELLS_A_BYTE * len(text):
        notes.error(
            f"one of some {lines:,} rows has {widest:,} fields, far more than the others.",
            "look for the row that is too long, and put text with delimiters in double quotes",
        )
        return False
    return True
