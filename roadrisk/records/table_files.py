"""Opening a table of any accepted kind as text: CSV and TSV here, the others by their module."""

from __future__ import annotations

import codecs
import csv
import io
import warnings
from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from roadrisk.records.raw_table import About, Bools, Notes, RawTable

if TYPE_CHECKING:
    from pathlib import Path

    from roadrisk.table_settings import TableSection

TEXT_KINDS = (".csv", ".tsv", ".txt")
LAYER_KINDS = (".geojson", ".json", ".gpkg", ".shp")
KINDS = (*TEXT_KINDS, ".xlsx", ".gpx", *LAYER_KINDS)

# What R, Python and spreadsheets write for "nothing here".
BLANKS = frozenset({"NA", "N/A", "#N/A", "NaN", "nan", "NULL", "null", "None", "<NA>", "NaT"})


def read_raw(path: Path, name: str, section: TableSection, notes: Notes) -> RawTable | None:
    """Read a table as text.

    Parameters
    ----------
    path : pathlib.Path
        An existing file.
    name : str
        The file's name as the user knows it.
    section : TableSection
        Sheet, layer and encoding, where they are named.
    notes : Notes
        Takes errors and doubts.

    Returns
    -------
    RawTable or None
        None if the file can't be read; `notes` then holds the error.
    """
    kind = path.suffix.lower()
    if kind not in KINDS:
        notes.error(
            f"files of type {kind or '(none)'} are not read.", f"save it as {', '.join(KINDS)}"
        )
        return None
    if path.stat().st_size == 0:
        notes.error("the file is empty.", "export it again, with a header row")
        return None
    if kind in TEXT_KINDS:
        return _read_text(path, name, section.encoding, notes)
    if kind == ".xlsx":
        from roadrisk.records.workbook import read_workbook

        return read_workbook(path, name, section.sheet, notes)
    if kind == ".gpx":
        from roadrisk.records.gpx_files import read_gpx

        return read_gpx(path, name, section.layer, notes)
    from roadrisk.records.layer_files import read_points

    return read_points(path, name, section.layer, notes)


def table_of(
    cells: pd.DataFrame, name: str, notes: Notes, *, decimal_comma: bool
) -> RawTable | None:
    """Make a table from cells: header found, blank rows dropped, row numbers kept.

    Parameters
    ----------
    cells : pandas.DataFrame of str
        All rows of a sheet, the header among them; row i is the sheet's row i + 1.
    name : str
        The file's name.
    notes : Notes
        Takes errors, and a doubt for each row that has more fields than the header.
    decimal_comma : bool
        Handed on.

    Returns
    -------
    RawTable or None
    """
    cells = cells.apply(_stripped)
    filled = (cells != "").to_numpy()
    used = np.flatnonzero(filled.any(axis=1))
    if not len(used):
        notes.error("the file holds no table.", "export it again, with a header row")
        return None
    head = cells.iloc[used[0]]
    width = int(np.flatnonzero(head != "")[-1]) + 1
    columns = [str(h) or f"(column {i + 1})" for i, h in enumerate(head.iloc[:width])]
    body = used[1:]
    if not len(body):
        notes.error("the file has a header and no rows.", "add rows, or take the section out")
        return None
    twice = sorted({c for c in columns if columns.count(c) > 1})
    if twice:
        notes.error(
            f"the header has {', '.join(map(repr, twice))} more than once.",
            "give every column its own name",
            row=int(used[0]) + 1,
        )
        return None
    rows = body.astype(np.int64) + 1
    too_wide: Bools = np.asarray(filled[body, width:].any(axis=1), dtype=bool)
    about = About(rows, [""] * len(rows))
    notes.doubt_rows(
        too_wide,
        about,
        f"the row has more fields than the header ({width}), so its values stand in wrong columns.",
        "put text that contains the delimiter in double quotes",
    )
    notes.leave_out(too_wide, about, "more fields than the header")
    frame = cells.iloc[body[~too_wide], :width].reset_index(drop=True)
    frame.columns = pd.Index(columns)
    return RawTable(name, frame, rows[~too_wide], decimal_comma)


def _stripped(text: pd.Series[str]) -> pd.Series[str]:
    bare = text.str.strip()
    return bare.mask(bare.isin(BLANKS), "")


def decode(data: bytes, encoding: str | None, notes: Notes) -> tuple[str, str] | None:
    """Decode a text file: as told, by its byte-order mark, as UTF-8, or else as Windows-1252.

    Parameters
    ----------
    data : bytes
    encoding : str or None
        What study.toml says.
    notes : Notes
        Takes an error, or the doubt that the encoding had to be assumed.

    Returns
    -------
    (text, encoding) or None
    """
    wide = data.startswith((codecs.BOM_UTF16_LE, codecs.BOM_UTF16_BE))
    if encoding is None and not wide and not _is_text(data, notes):
        return None
    chosen = encoding or ("utf-16" if wide else "utf-8")
    try:
        return data.decode(chosen).removeprefix("\ufeff"), chosen
    except LookupError:
        notes.error(f"encoding {encoding!r} is not known.", 'use "utf-8", "cp1252" or "latin-1"')
        return None
    except UnicodeDecodeError as error:
        row = data[: error.start].count(b"\n") + 1
    if encoding is not None or wide:
        mend = "take the key encoding out of study.toml, name the right one, or export as UTF-8"
        notes.error(f"the file is not {chosen} text.", mend, row=row)
        return None
    return _decode_loosely(data, row, notes)


def _decode_loosely(data: bytes, row: int, notes: Notes) -> tuple[str, str]:
    try:
        guess, text = "cp1252", data.decode("cp1252")
    except UnicodeDecodeError:
        # Five bytes have no meaning in Windows-1252; latin-1 takes any byte.
        guess, text = "latin-1", data.decode("latin-1")
    notes.doubt(
        f"the text is not UTF-8 from here on; it was read as {guess}.",
        f'if accented letters look right, write encoding = "{guess}"; else save it as UTF-8',
        row=row,
    )
    return text, guess


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


def _read_text(path: Path, name: str, encoding: str | None, notes: Notes) -> RawTable | None:
    decoded = decode(path.read_bytes(), encoding, notes)
    if decoded is None:
        return None
    text, found = decoded
    if "\0" in text:
        notes.error("the file holds NUL bytes: it is no text table.", "export it again as CSV")
        return None
    delimiter = find_delimiter(text)
    widest = _widest(text, delimiter)
    if widest > 20_000:
        notes.error("a row has more than 20,000 fields.", "export it again as CSV")
        return None
    try:
        with warnings.catch_warnings():
            # pandas only warns where it drops fields.
            warnings.simplefilter("error", pd.errors.ParserWarning)
            cells = pd.read_csv(
                io.StringIO(text),
                sep=delimiter,
                header=None,
                names=range(widest),
                dtype=str,
                na_filter=False,
                skip_blank_lines=False,
                index_col=False,
            )
    except (
        pd.errors.ParserError,
        pd.errors.ParserWarning,
        pd.errors.EmptyDataError,
        ValueError,
    ) as error:
        notes.error(
            f"the table can't be read ({_last_line(error)}).",
            "look for a double quote that is not closed, and export it again",
        )
        return None
    raw = table_of(cells, name, notes, decimal_comma=delimiter != ",")
    if raw is not None:
        _note_swallowed(raw, delimiter, notes)
    return raw and replace(raw, delimiter=delimiter, encoding=found)


def _widest(text: str, delimiter: str) -> int:
    """Return room for the widest row, or pandas stops at a row wider than the header.

    Delimiters inside quotes count too; they only make empty columns, which are dropped. A row
    with line breaks in its cells is wider than any of its lines.
    """
    widest = max(line.count(delimiter) for line in io.StringIO(text, newline=None)) + 1
    if '"' not in text:
        return widest
    try:
        rows = csv.reader(io.StringIO(text, newline=""), delimiter=delimiter)
        return max(widest, max(map(len, rows), default=0))
    except csv.Error:  # a field too long for the csv module
        return widest


def _note_swallowed(raw: RawTable, delimiter: str, notes: Notes) -> None:
    """Note cells that hold whole rows: a double quote further up was not closed."""
    others = raw.frame.shape[1] - 1
    if not others:
        return
    row = rf"\n(?:[^{delimiter}\n]*{delimiter}){{{others}}}"
    for column in raw.frame.columns:
        text = raw.frame[column]
        long = text.str.contains("\n", regex=False)
        if long.any():
            swallowed = long & text.str.contains(row, regex=True)
            notes.doubt_rows(
                swallowed.to_numpy(),
                About(raw.rows, [""] * len(raw)),
                "the cell holds line breaks and whole rows: a double quote may not be closed.",
                "close the quote; the rows inside the cell were not read as rows",
                column=str(column),
            )


def _is_text(data: bytes, notes: Notes) -> bool:
    if data.startswith(b"PK\x03\x04"):
        notes.error(
            "the file is a workbook or a zip archive, not text.",
            "name it .xlsx if it is a workbook, or export it as CSV",
        )
        return False
    control = [b for b in range(32) if b not in (9, 10, 12, 13, 26)]
    row = next((n for n, line in enumerate(data.split(b"\n"), 1) if _has_any(line, control)), None)
    if row is None:
        return True
    nul = "NUL bytes" if 0 in data else "control characters"
    notes.error(
        f"the file holds {nul}: it is no text table, or it is damaged.",
        "export it again as CSV",
        row=row,
    )
    return False


def _has_any(line: bytes, values: list[int]) -> bool:
    return len(line.translate(None, bytes(values))) != len(line)


def _last_line(error: Exception) -> str:
    return str(error).strip().splitlines()[-1][:200] if str(error).strip() else "no reason given"
