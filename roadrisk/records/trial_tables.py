"""Trials with carcasses whose place was known: were they found, how long did they stay."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from roadrisk.records import schemas, survey_schemas, words
from roadrisk.records.columns import Columns, find_columns, numbers
from roadrisk.records.dates import read_dates
from roadrisk.records.event_dates import ask_for_order
from roadrisk.records.raw_table import About, Bools, Floats, Notes, RawTable
from roadrisk.records.road_pieces import row_errors

if TYPE_CHECKING:
    from roadrisk.settings import StudySection
    from roadrisk.table_settings import TrialsSection

_KINDS = {
    **dict.fromkeys(("detection", "searcher", "search", "searcher efficiency"), "detection"),
    **dict.fromkeys(("persistence", "removal", "scavenging"), "persistence"),
    **dict.fromkeys(("width", "outside", "searched width"), "width"),
}
_SIZES = {
    "": "",
    **dict.fromkeys(("small", "s", "juvenile", "hatchling", "young"), "small"),
    **dict.fromkeys(("large", "l", "adult", "big"), "large"),
}
_FOUND = {"yes": "1", "y": "1", "found": "1", "true": "1", "no": "0", "n": "0", "missed": "0",
          "false": "0"}  # fmt: skip


def read_trials(
    raw: RawTable, section: TrialsSection, study: StudySection, notes: Notes
) -> pd.DataFrame | None:
    """Read trials.

    Parameters
    ----------
    raw : RawTable
    section : TrialsSection
    study : StudySection
        Time zone.
    notes : Notes
        Takes errors: a trial that can't be read would change every number of deaths.

    Returns
    -------
    pandas.DataFrame or None
        Columns of `survey_schemas.TRIALS`.
    """
    columns = find_columns("trials", raw.frame.columns, section.columns, notes)
    if notes.failed:
        return None
    about = About(raw.rows, columns.text(raw, "trialID").tolist())
    last, gone, dated = _days(raw, columns, section, study, about, notes)
    kind = _kind(raw, columns, dated, about, notes)
    stays = kind == "persistence"
    carcasses = _whole("carcasses", raw, columns, about, notes)
    look = _whole("look", raw, columns, about, notes)
    found = _found(raw, columns, about, notes)
    protocol = words.protocol(columns.text(raw, "samplingProtocol"))
    looked = (kind == "detection") | (kind == "width")
    row_errors(looked & np.isnan(found), about, "the trial doesn't say how many were found.",
               "write 1 or 0 for one carcass, or the number found", columns.name("found"),
               notes)  # fmt: skip
    row_errors(looked & (found > carcasses), about, "more were found than lay there.",
               "correct carcasses or found", columns.name("found"), notes)  # fmt: skip
    row_errors((kind == "detection") & (protocol == "").to_numpy(), about,
               "the trial doesn't say how it was searched.", "write walk, bicycle or car",
               columns.name("samplingProtocol"), notes)  # fmt: skip
    row_errors(stays & np.isnan(last) & np.isnan(gone), about,
               "the trial says neither when the carcass was last seen nor when it was gone.",
               "write last_seen and first_gone (empty: still there at the last check), or the days",
               columns.name("last_seen"), notes)  # fmt: skip
    last = np.where(stays & np.isnan(last), 0.0, last)
    wrong = stays & ((last < 0) | (gone <= last) | ((last == 0) & np.isnan(gone)))
    row_errors(wrong, about, "the carcass was gone before it was seen, or never looked after.",
               "correct the dates: laid out, last seen, first seen gone",
               columns.name("first_gone"), notes)  # fmt: skip
    size = _size(raw, columns, section, about, notes)
    if notes.failed:
        return None
    if not len(raw):
        return None
    table = pd.DataFrame(
        {
            "source_file": raw.file,
            "source_row": raw.rows,
            "trialID": columns.text(raw, "trialID"),
            "trial": kind,
            "samplingProtocol": protocol,
            "size": size,
            "look": look,
            "carcasses": carcasses,
            "found": np.where(looked, found, np.nan),
            "last_seen_days": np.where(stays, last, np.nan),
            "first_gone_days": np.where(stays, gone, np.nan),
        }
    )
    return schemas.conform(table, survey_schemas.TRIALS)


def _kind(raw: RawTable, columns: Columns, dated: Bools, about: About, notes: Notes) -> np.ndarray:
    """Which kind of trial each row is; a row that doesn't say it is told by what is filled in."""
    text = columns.text(raw, "trial").str.casefold()
    kind = text.map(_KINDS).fillna("").to_numpy(object)
    silent = (text == "").to_numpy()
    there = (columns.text(raw, "found") != "").to_numpy()
    kind[silent & there & ~dated] = "detection"
    kind[silent & dated & ~there] = "persistence"
    row_errors(kind == "", about, lambda i: f"{text.iloc[i]!r} is no kind of trial.",
               f"write {', '.join(survey_schemas.TRIAL_KINDS)}", columns.name("trial"),
               notes)  # fmt: skip
    return kind


def _whole(term: str, raw: RawTable, columns: Columns, about: About, notes: Notes) -> Floats:
    """Whole numbers from 1; 1 where nothing is said."""
    text = columns.text(raw, term)
    value = numbers(text, decimal_comma=raw.decimal_comma)
    empty = (text == "").to_numpy()
    bad = ~empty & ~((value >= 1) & (value == np.round(value)))
    row_errors(bad, about, lambda i: f"{text.iloc[i]!r} is no whole number from 1.",
               "write 1, 2, 3 …, or nothing for 1", columns.name(term), notes)  # fmt: skip
    return np.where(empty | bad, 1.0, value)


def _found(raw: RawTable, columns: Columns, about: About, notes: Notes) -> Floats:
    text = columns.text(raw, "found")
    value = numbers(text.str.casefold().replace(_FOUND), decimal_comma=raw.decimal_comma)
    bad = (text != "").to_numpy() & ~((value >= 0) & (value == np.round(value)))
    row_errors(bad, about, lambda i: f"{text.iloc[i]!r} is no number of carcasses.",
               "write 0, 1, 2 …, yes or no", columns.name("found"), notes)  # fmt: skip
    return np.where(bad, 0.0, value)


def _size(
    raw: RawTable, columns: Columns, section: TrialsSection, about: About, notes: Notes
) -> np.ndarray:
    text = columns.text(raw, "size_class").str.casefold()
    size = text.map(_SIZES)
    row_errors(size.isna().to_numpy(), about, lambda i: f"{text.iloc[i]!r} is no size class.",
               "write small, large, or nothing", columns.name("size_class"), notes)  # fmt: skip
    length = numbers(columns.text(raw, "length_mm"), decimal_comma=raw.decimal_comma)
    out = size.fillna("").to_numpy(object)
    if section.small_below_mm is not None:
        told = (out == "") & (length > 0)
        out[told] = np.where(length[told] < section.small_below_mm, "small", "large")
    return out


def _days(
    raw: RawTable,
    columns: Columns,
    section: TrialsSection,
    study: StudySection,
    about: About,
    notes: Notes,
) -> tuple[Floats, Floats, Bools]:
    """Days until last seen and first gone, and which rows say anything of it."""
    found: dict[str, Floats] = {}
    times = {}
    dated = np.zeros(len(raw), dtype=bool)
    for term in ("eventDate", "last_seen", "first_gone"):
        text = columns.text(raw, term)
        dates = read_dates(text, study.zone, section.date_order)
        ask_for_order(text, dates, section, "trials", columns, raw, notes)
        unread = (text != "").to_numpy() & dates.time.isna().to_numpy()
        row_errors(unread & ~dates.ordered, about,
                   lambda i, t=text: f"{t.iloc[i]!r} can't be read as a date.",  # type: ignore[misc]
                   "write it as 2025-03-04 or 2025-03-04T17:30", columns.name(term),
                   notes)  # fmt: skip
        times[term] = dates.time
        if term != "eventDate":
            dated |= (text != "").to_numpy()
    for term in ("last_seen", "first_gone"):
        text = columns.text(raw, f"{term}_days")
        days = numbers(text, decimal_comma=raw.decimal_comma)
        row_errors((text != "").to_numpy() & ~(days >= 0), about,
                   lambda i, t=text: f"{t.iloc[i]!r} is no number of days.",  # type: ignore[misc]
                   "write days since it was laid out, such as 2.5", columns.name(f"{term}_days"),
                   notes)  # fmt: skip
        dated |= (text != "").to_numpy()
        since = (times[term] - times["eventDate"]).dt.total_seconds().to_numpy() / 86400
        alone = times[term].notna().to_numpy() & times["eventDate"].isna().to_numpy()
        row_errors(alone & np.isnan(days), about, "the trial doesn't say when it was laid out.",
                   "fill in eventDate", columns.name("eventDate"), notes)  # fmt: skip
        found[term] = np.where(np.isnan(days), since, days)
    return found["last_seen"], found["first_gone"], dated
