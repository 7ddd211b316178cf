"""A review workbook read back: what its reviewer decided, or every cell that can't be used."""

from __future__ import annotations

import math
import re
from dataclasses import dataclass
from typing import TYPE_CHECKING

from roadrisk.decisions import VERDICTS
from roadrisk.errors import InputError
from roadrisk.records.raw_table import Notes
from roadrisk.records.review_cells import FILE_MEND, NOT_COMPUTED, read_cells
from roadrisk.records.review_columns import (
    ABOUT,
    ABOUT_SHEET,
    ASKED,
    FILLED_IN,
    FORMAT,
    HIDDEN,
    MARK,
    NEW_LATITUDE,
    NEW_LONGITUDE,
    NOT_ASKED,
    NOT_SAME_AS,
    NUMBER,
    REASON,
    REPORT,
    REPORTS_SHEET,
    SAME_AS,
    TOKEN,
    VERDICT,
    VERSION,
)
from roadrisk.records.review_lookup import KnownReports

if TYPE_CHECKING:
    from pathlib import Path

    import pandas as pd
_NEEDED = (NUMBER, REPORT, *FILLED_IN, *HIDDEN)
_HEADER_WITHIN = 20
_DEGREES = re.compile(r"[+-]?\d{1,3}(?:[.,]\d+)?")


@dataclass(frozen=True)
class SheetRow:
    """What a reviewer decided on one report.

    Attributes
    ----------
    row : int
        Row as a spreadsheet shows it.
    name : str
        What the report is called on the sheet.
    report_key, fingerprint : str
        The report as the study has it now, and what it said when the sheet was written.
    verdict, reason : str
        "" where the cell is empty.
    latitude, longitude : float or None
        The new place, WGS 84 [degrees].
    same, apart : tuple of (str, str)
        report_key and fingerprint of other reports.
    """

    row: int
    name: str
    report_key: str
    fingerprint: str
    verdict: str
    reason: str
    latitude: float | None
    longitude: float | None
    same: tuple[tuple[str, str], ...]
    apart: tuple[tuple[str, str], ...]


@dataclass(frozen=True)
class ReviewSheet:
    """A workbook that came back.

    Attributes
    ----------
    file : str
    reviewer : str
    base : int
        Number of the last entry in the history when the workbook was written.
    rows : tuple of SheetRow
        Rows with something decided.
    empty : int
        Rows that asked and were left empty.
    """

    file: str
    reviewer: str
    base: int
    rows: tuple[SheetRow, ...]
    empty: int


def read_review_sheet(path: Path, reports: pd.DataFrame, short_name: str) -> ReviewSheet:
    """Read a workbook that `reporting.review_sheet` wrote and a reviewer filled in.

    Parameters
    ----------
    path : pathlib.Path
    reports : pandas.DataFrame
        All reports of the study, held ones included. Columns: report_key, fingerprint,
        occurrenceID.
    short_name : str
        The study's.

    Returns
    -------
    ReviewSheet

    Raises
    ------
    InputError
        Every cell that can't be used (file, row, column, mend); nothing of the file is taken.
    """
    notes = Notes(path.name)
    sheets = read_cells(path, notes)
    if sheets is None:
        raise InputError(notes.remarks)
    about = _about(sheets[ABOUT_SHEET], short_name, notes)
    lines = _lines(sheets[REPORTS_SHEET], notes)
    if about is None or lines is None:
        raise InputError(notes.remarks)
    known = KnownReports.of(reports, lines)
    rows, empty = [], 0
    for number, cells in lines:
        asked = cells[ASKED] == "1"
        for column in [name for name in FILLED_IN if cells[name] == NOT_COMPUTED]:
            notes.error(
                "the cell holds a formula and no value.", "write the value itself",
                row=number, column=column,
            )  # fmt: skip
            cells[column] = ""
        filled = any(cells[name] and cells[name] not in NOT_ASKED for name in FILLED_IN)
        if asked and filled:
            row = _row(number, cells, known, notes)
            rows += [] if row is None else [row]
        elif asked:
            empty += 1
        elif filled:
            notes.error(
                "this row isn't asked about: it can't be decided on here.",
                "clear its yellow cells, or decide on it in the page: roadrisk review",
                row=number, column=VERDICT,
            )  # fmt: skip
    _refuse_twice(rows, notes)
    if notes.failed:
        raise InputError(notes.remarks)
    return ReviewSheet(path.name, about[0], about[1], tuple(rows), empty)


def _about(rows: list[list[str]], short_name: str, notes: Notes) -> tuple[str, int] | None:
    """Return reviewer and base number, or note why this isn't a sheet of this study."""
    said = {row[0]: row[1] for row in rows if len(row) > 1}
    kind, version, study, reviewer, base = (said.get(name, "") for name in ABOUT)
    if kind != FORMAT or not reviewer or not _is_number(base) or not _is_number(version):
        notes.error("the file is no review sheet of roadrisk.", FILE_MEND)
    elif int(version) > VERSION:
        notes.error("a newer roadrisk wrote this sheet.", "update roadrisk on this computer")
    elif study != short_name:
        notes.error(
            f"this sheet is of the study {study!r}, not of {short_name!r}.",
            "name the folder of its study",
        )
    else:
        return reviewer, int(base)
    return None


def _is_number(text: str) -> bool:
    return re.fullmatch(r"[0-9]{1,15}", text) is not None


def _lines(rows: list[list[str]], notes: Notes) -> list[tuple[int, dict[str, str]]] | None:
    """Return the rows under the headings: number as shown, and cells by heading."""
    header = next((n for n, r in enumerate(rows[:_HEADER_WITHIN]) if VERDICT in r), None)
    missing = [name for name in _NEEDED if header is None or name not in rows[header]]
    if header is None or missing:
        notes.error(f"the sheet has lost its column {missing[0]!r}.", FILE_MEND)
        return None
    where = {name: rows[header].index(name) for name in _NEEDED}
    found: list[tuple[int, dict[str, str]]] = []
    for n, row in enumerate(rows[header + 1 :], header + 2):
        cells = {name: row[k] if k < len(row) else "" for name, k in where.items()}
        if any(cells.values()):
            found.append((n, cells))
    return found


def _row(number: int, cells: dict[str, str], known: KnownReports, notes: Notes) -> SheetRow | None:
    before = len(notes.remarks)
    said = (cells[TOKEN], cells[MARK])
    key = known.key(said)
    if key is None:
        notes.error(
            f"{cells[REPORT]!r} is none of the study's reports (any more).",
            "clear what you decided in this row, or take the sheet as it was sent",
            row=number, column=REPORT,
        )  # fmt: skip
    verdict = cells[VERDICT].casefold()
    if verdict and verdict not in VERDICTS:
        notes.error(
            f"{cells[VERDICT]!r} is no verdict.", f"choose one of: {', '.join(VERDICTS)}",
            row=number, column=VERDICT,
        )  # fmt: skip
    place = _place(number, cells, notes)
    same = _others(number, cells, SAME_AS, said, known, notes)
    apart = _others(number, cells, NOT_SAME_AS, said, known, notes)
    if set(same) & set(apart):
        notes.error(
            "the same report stands under both columns.", f"clear it in one of {SAME_AS!r} and "
            f"{NOT_SAME_AS!r}", row=number, column=NOT_SAME_AS,
        )  # fmt: skip
    if not any(cells[name] for name in FILLED_IN if name != REASON):
        notes.error(
            "a reason without a verdict.", "choose a verdict, or clear the reason",
            row=number, column=REASON,
        )  # fmt: skip
    if key is None or len(notes.remarks) > before:
        return None
    lat, lon = place or (None, None)
    return SheetRow(
        number, cells[REPORT], key, cells[MARK], verdict, cells[REASON], lat, lon, same, apart
    )


def _place(number: int, cells: dict[str, str], notes: Notes) -> tuple[float, float] | None:
    """Return the new latitude and longitude; None where both are empty or one is at fault."""
    found = []
    names = (NEW_LATITUDE, NEW_LONGITUDE)
    if not any(cells[name] for name in names):
        return None
    for name, most in zip(names, (90, 180), strict=True):
        text = cells[name].replace("\u2212", "-")
        if not text:
            other = next(n for n in names if n != name)
            notes.error(
                f"{other!r} is given and {name!r} is empty.", "give both, or none",
                row=number, column=name,
            )  # fmt: skip
            continue
        value = float(text.replace(",", ".")) if _DEGREES.fullmatch(text) else math.nan
        if not abs(value) <= most:
            notes.error(
                f"{text[:50]!r} is no {name.split()[1]}.",
                f"write degrees with decimals between -{most} and {most}, as 52.19960",
                row=number, column=name,
            )  # fmt: skip
            continue
        found.append(value)
    return (found[0], found[1]) if len(found) == 2 else None


def _others(
    number: int,
    cells: dict[str, str],
    column: str,
    own: tuple[str, str],
    known: KnownReports,
    notes: Notes,
) -> tuple[tuple[str, str], ...]:
    """Return key and fingerprint of the reports that a cell names."""
    text = cells[column]
    if not text:
        return ()
    # A name may hold a semicolon itself.
    whole = [text] if known.named(text) else [p.strip() for p in re.split(r"[;\n]", text)]
    found = []
    for name in filter(None, whole):
        some = known.named(name)
        keys = {known.key(said) for said in some} - {None}
        if len(some) != 1 or len(keys) != 1 or some[0] == own:
            why = ("is the row's own report" if own in some else "is none of the study's reports"
                   if not keys else "is the name of several reports")  # fmt: skip
            notes.error(
                f"{name[:80]!r} {why}.",
                f"write a name as in column {REPORT!r}, or a number of column {NUMBER!r} as #7",
                row=number, column=column,
            )  # fmt: skip
            continue
        key = known.key(some[0])
        found.append((str(key), some[0][1]))
    return tuple(dict.fromkeys(found))


def _refuse_twice(rows: list[SheetRow], notes: Notes) -> None:
    """Note rows that decide on a report again, as copied rows do: which is meant isn't known."""
    first: dict[str, int] = {}
    for row in rows:
        if row.report_key in first:
            notes.error(
                f"{row.name!r} is decided on in row {first[row.report_key]} too.",
                "keep one of the two rows", row=row.row, column=REPORT,
            )  # fmt: skip
        first.setdefault(row.report_key, row.row)
