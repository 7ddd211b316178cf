"""Dates of a table's rows: put together, read, held against the study period."""

from __future__ import annotations

import datetime as dt
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from roadrisk.records.dates import Dates, only_order

if TYPE_CHECKING:
    from roadrisk.records.columns import Columns
    from roadrisk.records.raw_table import About, Gate, Notes, RawTable
    from roadrisk.settings import StudySection
    from roadrisk.table_settings import TableSection


def dates_as_text(raw: RawTable, columns: Columns) -> pd.Series[str]:
    """Return eventDate, with eventTime joined to it where they are apart."""
    date, time = columns.text(raw, "eventDate"), columns.text(raw, "eventTime")
    if not (time != "").any():
        return date.astype(str)
    bare = ~date.str.contains(":", regex=False) & (time != "") & (date != "")
    return date.where(~bare, date + "T" + time).astype(str)


def ask_for_order(
    text: pd.Series[str],
    dates: Dates,
    section: TableSection,
    place: str,
    columns: Columns,
    raw: RawTable,
    notes: Notes,
) -> None:
    """Note an error where dates need an order that `[place]` of study.toml doesn't give."""
    if section.date_order is not None or not dates.ordered.any():
        return
    first = int(np.argmax(dates.ordered))
    fits = only_order(text[dates.ordered])
    hint = {
        "day-first": " (the rows only fit day-first)",
        "month-first": " (the rows only fit month-first)",
        "both": "",
        "neither": " (the rows fit neither throughout: correct them first)",
    }[fits]
    notes.error(
        f"{text.iloc[first]!r} doesn't tell day from month "
        f"({int(dates.ordered.sum())} of {len(text)} rows are written so).",
        f'write date_order = "day-first" or date_order = "month-first" in [{place}]{hint}',
        row=int(raw.rows[first]),
        column=columns.name("eventDate"),
    )


def judge_dates(
    text: pd.Series[str],
    dates: Dates,
    study: StudySection,
    gate: Gate,
    about: About,
    columns: Columns,
    notes: Notes,
    *,
    within_study: bool = True,
) -> None:
    """Leave out rows without a usable date, and note what is odd about the others.

    Parameters
    ----------
    text : Series of str
        Dates as given.
    dates : Dates
    study : StudySection
    gate : Gate
        Shut for rows that are left out.
    about : About
    columns : Columns
    notes : Notes
    within_study : bool
        Whether a date has to lie within the study period.
    """
    column = columns.name("eventDate")
    empty = (text == "").to_numpy()
    notes.leave_out(gate.shut(empty), about, "no date", column=column)
    unread = gate.shut(dates.time.isna().to_numpy())
    notes.doubt_rows(
        unread,
        about,
        lambda i: f"{text.iloc[i]!r} can't be read as a date.",
        "write it as 2025-03-04 or 2025-03-04T17:30",
        column=column,
    )
    notes.leave_out(unread, about, lambda i: f"date {text.iloc[i]!r} can't be read", column=column)
    future = (dates.time > pd.Timestamp(dt.datetime.now(dt.UTC))).to_numpy()
    day = dates.day
    outside = ((day < pd.Timestamp(study.start)) | (day > pd.Timestamp(study.end))).to_numpy()
    outside = outside & within_study
    for which, words_for in (
        (future, "lies in the future"),
        (outside, f"lies outside the study period {study.start} to {study.end}"),
    ):
        fresh = gate.shut(which)
        notes.doubt_rows(
            fresh,
            about,
            lambda i, w=words_for: f"{text.iloc[i]!r} {w}.",  # type: ignore[misc]
            "correct the date, or start and end in [study]",
            column=column,
        )
        notes.leave_out(
            fresh,
            about,
            lambda i, w=words_for: f"date {text.iloc[i]!r} {w}",  # type: ignore[misc]
            column=column,
        )
    notes.doubt_file(
        dates.twice & gate.keep,
        about,
        lambda rows: (
            f"{rows} fall into the hour that the clocks show twice in autumn; the first was taken."
        ),
        "write the time with its offset, such as 2025-11-02T01:30-04:00",
        column=column,
    )
    notes.doubt_file(
        dates.never & gate.keep,
        about,
        lambda rows: (
            f"{rows} fall into the hour that the clocks skip in spring; they were moved to its end."
        ),
        "check the time zone in [study], or write the time with its offset",
        column=column,
    )


def none_left(raw: RawTable, notes: Notes, start: int) -> None:
    """Replace what was said row by row since remark `start` by one error: no row can be used."""
    said = notes.remarks[start:]
    first = next((r for r in said if r.kind == "left out"), None)
    mend = next((r.mend for r in said if r.kind == "doubt" and r.mend), "")
    errors = [r for r in said if r.kind == "error"]
    del notes.remarks[start:]
    notes.remarks.extend(errors)
    if not errors:
        why = first.problem if first else "no reason given"
        notes.error(
            f"none of the {len(raw)} rows can be used; the first: {why}.",
            mend or "fill in the columns that the study needs, or map the right ones",
            row=first.row if first else None,
            column=first.column if first else "",
        )
