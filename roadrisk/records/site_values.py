"""Cells of tables of what is there at or along roads: texts, known words, numbers, dates."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from roadrisk.records.columns import Columns, numbers
from roadrisk.records.dates import read_dates
from roadrisk.records.road_pieces import row_errors

if TYPE_CHECKING:
    from collections.abc import Callable
    from zoneinfo import ZoneInfo

    import pandas as pd

    from roadrisk.records.raw_table import About, Floats, Notes, RawTable
    from roadrisk.records.site_schemas import SiteTable, Words
    from roadrisk.table_settings import TableSection


def site_values(
    raw: RawTable, columns: Columns, table: SiteTable, section: TableSection, zone: ZoneInfo,
    about: About, notes: Notes,
) -> dict[str, pd.Series[str] | Floats]:  # fmt: skip
    """Read the cells of all columns that a table declares, places apart.

    Parameters
    ----------
    raw : RawTable
    columns : Columns
    table : SiteTable
    section : TableSection
        For the order of day and month.
    zone : zoneinfo.ZoneInfo
        The study's.
    about : About
    notes : Notes
        Takes an error for each number or date that can't be read, and a doubt for each word that
        isn't known, which is then taken as not known.

    Returns
    -------
    dict of str to Series of str or ndarray
        By column, in the order of `site_schema`.
    """
    out: dict[str, pd.Series[str] | Floats] = {t: columns.text(raw, t) for t in table.texts}
    for term, words in table.words.items():
        out[term] = _words(raw, columns, term, words, about, notes)
    for term in table.dates:
        out[term] = _dates(raw, columns, term, section, zone, about, notes)
    for term in table.numbers:
        out[term] = _numbers(raw, columns, term, about, notes)
    return out


def _words(
    raw: RawTable, columns: Columns, term: str, words: Words, about: About, notes: Notes
) -> pd.Series[str]:
    text = columns.text(raw, term)
    folded = text.str.strip().str.strip(".").str.casefold().str.replace(r"[\s_-]+", " ", regex=True)
    # A lone hyphen is a word too.
    found = folded.mask(text.str.strip() == "-", "-").map(words)
    known = ", ".join(sorted({w for w in words.values() if w}))
    notes.doubt_words(text, sorted(set(text[found.isna()])), about, _not_understood,
                      f"write one of {known}, or nothing", column=columns.name(term))  # fmt: skip
    return found.fillna("").astype(str)


def _not_understood(word: str) -> Callable[[str], str]:
    return lambda rows: f"{word!r} is no known word here; {rows} were taken as not known."


def _numbers(raw: RawTable, columns: Columns, term: str, about: About, notes: Notes) -> Floats:
    text = columns.text(raw, term)
    value = numbers(text, decimal_comma=raw.decimal_comma)
    sound = value > 0
    row_errors((text != "").to_numpy() & ~sound, about,
               lambda i: f"{text.iloc[i]!r} is no number above 0.",
               "write a plain number, or nothing", columns.name(term), notes)  # fmt: skip
    return np.where(sound, value, np.nan)


def _dates(
    raw: RawTable, columns: Columns, term: str, section: TableSection, zone: ZoneInfo,
    about: About, notes: Notes,
) -> pd.Series[str]:  # fmt: skip
    """Return a year, a month or a day as text, as much of it as is given."""
    text = columns.text(raw, term)
    short = text.str.fullmatch(r"(?:1[6-9]|2[01])\d\d(?:-(?:0[1-9]|1[0-2]))?")
    dates = read_dates(text.mask(short, ""), zone, section.date_order)
    column = columns.name(term)
    unclear = dates.ordered if section.date_order is None else np.zeros(len(raw), dtype=bool)
    row_errors(unclear, about, lambda i: f"{text.iloc[i]!r} doesn't tell day from month.",
               'write date_order = "day-first" or "month-first" in the table\'s section', column,
               notes)  # fmt: skip
    unread = (text != "") & ~short & dates.day.isna()
    row_errors(unread.to_numpy() & ~unclear, about,
               lambda i: f"{text.iloc[i]!r} can't be read as a year or a date.",
               "write it as 2025 or 2025-03-04", column, notes)  # fmt: skip
    day = dates.day.dt.strftime("%Y-%m-%d").fillna("")
    return text.where(short, day).astype(str)
