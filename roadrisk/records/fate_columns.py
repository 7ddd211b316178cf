"""What became of each tagged animal: alive, dead and of what, or its signal lost."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from roadrisk.records import words
from roadrisk.records.dates import only_order, read_dates

if TYPE_CHECKING:
    from zoneinfo import ZoneInfo

    from roadrisk.records.columns import Columns
    from roadrisk.records.raw_table import About, Notes, RawTable
    from roadrisk.table_settings import AnimalsSection


def read_fates(
    raw: RawTable,
    columns: Columns,
    section: AnimalsSection,
    zone: ZoneInfo,
    about: About,
    notes: Notes,
) -> pd.DataFrame:
    """Read fate, fateDate and fateCause where a table of animals has them.

    Parameters
    ----------
    raw : RawTable
    columns : Columns
    section : AnimalsSection
        Its date_order.
    zone : zoneinfo.ZoneInfo
        Of dates without one.
    about : About
    notes : Notes
        Takes doubts: words that aren't understood, dates that can't be read, a death without a
        date; an error where dates need an order.

    Returns
    -------
    pandas.DataFrame
        fate (of `schemas.FATES`), fateDate (as given), fate_time (UTC, NaT where not known),
        fateCause (of `schemas.FATE_CAUSES`, "" for animals that aren't dead).
    """
    given, date = columns.text(raw, "fate"), columns.text(raw, "fateDate")
    fate, unknown = words.fate(given)
    notes.doubt_rows(
        given.isin(unknown).to_numpy(),
        about,
        lambda i: f"fate {given.iloc[i]!r} is not understood; it is left open.",
        "write alive, dead or lost",
        column=columns.name("fate"),
    )
    dates = read_dates(date, zone, section.date_order)
    if section.date_order is None and dates.ordered.any():
        first = int(np.argmax(dates.ordered))
        hint = only_order(date[dates.ordered])
        fits = f" (the rows only fit {hint})" if hint.endswith("first") else ""
        notes.error(
            f"{date.iloc[first]!r} doesn't tell day from month.",
            f'write date_order = "day-first" or date_order = "month-first" in [animals]{fits}',
            row=int(raw.rows[first]),
            column=columns.name("fateDate"),
        )
    unread = (date != "").to_numpy() & dates.time.isna().to_numpy() & ~dates.ordered
    notes.doubt_rows(
        unread,
        about,
        lambda i: f"{date.iloc[i]!r} can't be read as a date.",
        "write it as 2025-03-04",
        column=columns.name("fateDate"),
    )
    dead = (fate == "dead").to_numpy()
    notes.doubt_rows(
        dead & (date == "").to_numpy(),
        about,
        lambda _: "a death without its date: the day of the last fix is taken.",
        "fill in fateDate",
        column=columns.name("fateDate"),
    )
    cause = words.fate_cause(columns.text(raw, "fateCause")).where(dead, "")
    return pd.DataFrame(
        {"fate": fate, "fateDate": date, "fate_time": dates.time, "fateCause": cause.astype(str)}
    )
