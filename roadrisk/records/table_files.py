"""Opening a table of any accepted kind as text: CSV and TSV here, the others by their module."""

from __future__ import annotations

import io
import warnings
from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from roadrisk.base.by_distinct import by_distinct, listed
from roadrisk.records.decoding import decode
from roadrisk.records.limits import TABLE_BYTES, too_large
from roadrisk.records.raw_table import About, Bools, Notes, RawTable
from roadrisk.records.text_size import cells_are_short, shape_of

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
    cells = cells.apply(lambda text: by_distinct(text, _stripped))
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
    bare = [t.strip() for t in listed(text)]
    return pd.Series(["" if t in BLANKS else t for t in bare], index=text.index, dtype=str)


def _read_text(path: Path, name: str, encoding: str | None, notes: Notes) -> RawTable | None:
    problem = too_large(path, TABLE_BYTES, "write it as several files; file = [...] takes a list")
    if problem is not None:
        notes.error(*problem)
        return None
    decoded = decode(path.read_bytes(), encoding, notes)
    if decoded is None:
        return None
    text, found = decoded
    shape = shape_of(text, notes)
    if shape is None:
        return None
    delimiter = shape.delimiter
    try:
        with warnings.catch_warnings():
            # pandas only warns where it drops fields.
            warnings.simplefilter("error", pd.errors.ParserWarning)
            cells = pd.read_csv(
                io.StringIO(text),
                sep=delimiter,
                header=None,
                names=range(shape.width),
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
    if shape.has_long_cell and not cells_are_short(cells, notes):
        return None
    raw = table_of(cells, name, notes, decimal_comma=delimiter != ",")
    # Only a cell in quotes can hold a line break.
    if raw is not None and '"' in text:
        _note_swallowed(raw, delimiter, notes)
    return raw and replace(raw, delimiter=delimiter, encoding=found)


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


def _last_line(error: Exception) -> str:
    return str(error).strip().splitlines()[-1][:200] if str(error).strip() else "no reason given"
