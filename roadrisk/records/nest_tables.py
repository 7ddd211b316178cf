"""Nests: where and when, whose if known, and what became of them."""

from __future__ import annotations

import re
from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from roadrisk.errors import Remark
from roadrisk.records import schemas, words
from roadrisk.records.columns import POSITION_TERMS, find_columns
from roadrisk.records.dates import read_dates
from roadrisk.records.event_dates import ask_for_order, dates_as_text, judge_dates, none_left
from roadrisk.records.ids import note_spoiled
from roadrisk.records.position_doubts import judge
from roadrisk.records.positions import read_positions
from roadrisk.records.raw_table import About, Gate, Notes, RawTable
from roadrisk.records.report_keys import made_id
from roadrisk.records.uncertainty import uncertainty_m

if TYPE_CHECKING:
    from collections.abc import Callable

    from roadrisk.records.columns import Columns
    from roadrisk.records.whereabouts import Whereabouts
    from roadrisk.settings import StudySection
    from roadrisk.table_settings import NestsSection

# What is said of other positions would write a nest's place into the list of doubts.
_NUMBER = r"-?\d[\d.]*(?:e[+-]?\d+)?"
_PLACE = re.compile(rf"(?<!from )latitude {_NUMBER}, longitude {_NUMBER}")
_CHANGED = re.compile(rf"; with the change at {_NUMBER}, {_NUMBER}(?=\.$)")


def read_nests(
    raw: RawTable, section: NestsSection, study: StudySection, where: Whereabouts, notes: Notes
) -> pd.DataFrame | None:
    """Read nests.

    Parameters
    ----------
    raw : RawTable
    section : NestsSection
    study : StudySection
        Period and time zone.
    where : Whereabouts
        Where nests may be expected.
    notes : Notes
        Takes errors, doubts and left-outs.

    Returns
    -------
    pandas.DataFrame or None
        The columns of `schemas.NESTS` except geometry, and lon, lat (WGS 84). None if the file
        can't be used; `notes` then holds the error.
    """
    columns = find_columns(
        "nests", raw.frame.columns, section.columns, notes, needed=("eventDate",)
    )
    found = None
    if all(t in columns for t in section.columns if t in POSITION_TERMS):
        found = read_positions(raw, columns, section, "nests", notes)
    text = dates_as_text(raw, columns)
    dates = read_dates(text, study.zone, section.date_order)
    ask_for_order(text, dates, section, "nests", columns, raw, notes)
    if notes.failed or found is None:
        return None
    ids = columns.text(raw, "occurrenceID")
    for term in ("occurrenceID", "organismID"):
        note_spoiled(columns.text(raw, term), raw, columns, term, notes)
    made = pd.Series([made_id(raw.file, row) for row in raw.rows], index=ids.index, dtype=str)
    ids = ids.mask(ids == "", made)
    about = About(raw.rows, ids.tolist())
    start = len(notes.remarks)
    gate = Gate(np.ones(len(raw), dtype=bool))
    gate.shut(~judge(found, about, where, "nests", notes).usable)
    notes.remarks[start:] = [_without_place(r) for r in notes.remarks[start:]]
    judge_dates(text, dates, study, gate, about, columns, notes)
    table = pd.DataFrame(
        {
            "source_file": raw.file,
            "source_row": raw.rows,
            "occurrenceID": ids,
            "eventDate": text,
            "time": dates.time,
            "time_known": dates.time_known,
            "coordinateUncertaintyInMeters": uncertainty_m(
                raw, columns, section, gate, about, notes
            ),
            "organismID": columns.text(raw, "organismID"),
            "recordedBy": columns.text(raw, "recordedBy"),
            "nest_outcome": _outcome(raw, columns, about, notes),
            "occurrenceRemarks": columns.text(raw, "occurrenceRemarks"),
            "lon": found.lon,
            "lat": found.lat,
        }
    )
    if not gate.keep.any():
        none_left(raw, notes, start)
        return None
    return table[gate.keep].reset_index(drop=True)


def join_nests(tables: list[pd.DataFrame]) -> tuple[pd.DataFrame, list[Remark]]:
    """Join tables of nests: one row a nest, the first.

    Parameters
    ----------
    tables : list of pandas.DataFrame
        At least one, as `read_nests` returns them.

    Returns
    -------
    nests : pandas.DataFrame
    remarks : list of Remark
        A doubt and a left-out for each further row of a nest.
    """
    joined = pd.concat(tables, ignore_index=True)
    again = joined.duplicated("occurrenceID")
    where = joined.loc[again, ["source_file", "source_row", "occurrenceID"]]
    remarks = []
    for file, row, name in where.itertuples(index=False):
        said = f"nest {name!r} stands in an earlier row too; this row is left out."
        mend = "keep one row a nest, or give each nest its own id"
        remarks += [
            Remark(file, int(row), "occurrenceID", said, mend, "doubt", name),
            Remark(file, int(row), "occurrenceID", "a second row for this nest", "", "left out",
                   name),
        ]  # fmt: skip
    return joined[~again].reset_index(drop=True), remarks


def _without_place(remark: Remark) -> Remark:
    problem = _PLACE.sub("its position", _CHANGED.sub("", remark.problem))
    problem = problem.replace("lies at its position, far", "lies far")
    mend = "if so, correct it in the file" if _PLACE.search(remark.mend) else remark.mend
    return replace(remark, problem=problem, mend=mend)


def _outcome(raw: RawTable, columns: Columns, about: About, notes: Notes) -> pd.Series[str]:
    text = columns.text(raw, "nest_outcome")
    found, unknown = words.nest_outcome(text)
    notes.doubt_words(text, unknown, about, _unknown_outcome,
                      f"write one of {', '.join(schemas.NEST_OUTCOMES)}",
                      column=columns.name("nest_outcome"))  # fmt: skip
    return found


def _unknown_outcome(word: str) -> Callable[[str], str]:
    return lambda rows: f"{word!r} is no known outcome; {rows} were taken as not known."
