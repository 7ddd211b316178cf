"""Bearings to tagged animals, and bearings to a transmitter at a known place."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, Literal

import numpy as np
import pandas as pd

from roadrisk.base.north import FIRST_YEAR, LAST_YEAR, model_covers
from roadrisk.records.columns import PLACE_TERMS, Columns, find_columns, numbers
from roadrisk.records.dates import read_dates
from roadrisk.records.event_dates import ask_for_order, dates_as_text, judge_dates, none_left
from roadrisk.records.ids import note_spoiled
from roadrisk.records.position_doubts import judge
from roadrisk.records.positions import Positions, read_positions
from roadrisk.records.raw_table import About, Bools, Floats, Gate, Notes, RawTable

if TYPE_CHECKING:
    from roadrisk.records.whereabouts import Whereabouts
    from roadrisk.settings import StudySection
    from roadrisk.table_settings import BearingsSection, BearingTestsSection

Kind = Literal["bearings", "bearing_tests"]

NORTHS = {
    "true": "true", "t": "true", "tn": "true", "true north": "true", "geographic": "true",
    "magnetic": "magnetic", "m": "magnetic", "mag": "magnetic", "mn": "magnetic",
    "magnetic north": "magnetic",
}  # fmt: skip
"""Words for true and magnetic north (common practice)."""

_TRANSMITTER = {
    "decimalLatitude": "transmitterLatitude", "decimalLongitude": "transmitterLongitude",
    "x": "transmitter_x", "y": "transmitter_y",
}  # fmt: skip
# A standard deviation above this says nothing about a direction (a choice).
_LARGEST_SD = 60.0


def read_bearing_table(
    kind: Kind,
    raw: RawTable,
    section: BearingsSection | BearingTestsSection,
    study: StudySection,
    where: Whereabouts,
    notes: Notes,
) -> pd.DataFrame | None:
    """Read bearings, or test bearings.

    Parameters
    ----------
    kind : {"bearings", "bearing_tests"}
    raw : RawTable
    section : BearingsSection or BearingTestsSection
    study : StudySection
        Period and time zone. Tests may lie outside the period.
    where : Whereabouts
        Where the observers may be expected.
    notes : Notes
        Takes errors, doubts and left-outs.

    Returns
    -------
    pandas.DataFrame or None
        The columns of `schemas.BEARINGS` or `BEARING_TESTS` except places, and lon, lat of the
        observer (WGS 84), for tests also transmitter_lon, transmitter_lat. None if the file
        can't be used; `notes` then holds the error.
    """
    animal = ("organismID",) if kind == "bearings" else ()
    needed = (*animal, "eventDate", "bearing_degrees")
    columns = find_columns(kind, raw.frame.columns, section.columns, notes, needed=needed)
    observer = None
    if all(t in columns for t in section.columns if t in PLACE_TERMS):
        observer = read_positions(raw, columns, section, kind, notes)
    sender = _transmitter(raw, columns, section, notes) if kind == "bearing_tests" else None
    text = dates_as_text(raw, columns)
    dates = read_dates(text, study.zone, section.date_order)
    ask_for_order(text, dates, section, kind, columns, raw, notes)
    _ask_for_north(kind, section, columns, notes)
    if notes.failed or observer is None:
        return None
    ids = columns.text(raw, "organismID")
    note_spoiled(ids, raw, columns, "organismID", notes)
    about = About(raw.rows, ids.tolist())
    start = len(notes.remarks)
    gate = Gate(np.ones(len(raw), dtype=bool))
    if kind == "bearings":
        column = columns.name("organismID")
        nameless = gate.shut((ids == "").to_numpy())
        notes.leave_out(nameless, about, "no organismID", column=column)
    for found in (observer, sender):
        if found is not None:
            gate.shut(~judge(found, about, where, kind, notes).usable)
    judge_dates(text, dates, study, gate, about, columns, notes, within_study=kind == "bearings")
    table = pd.DataFrame(
        {
            "source_file": raw.file,
            "source_row": raw.rows,
            "organismID": ids,
            "eventDate": text,
            "time": dates.time,
            "time_known": dates.time_known,
            "bearing_degrees": _bearings(raw, columns, gate, about, notes),
            "north": _norths(raw, columns, section.north, gate, about, notes),
            "recordedBy": columns.text(raw, "recordedBy"),
            "lon": observer.lon,
            "lat": observer.lat,
        }
    )
    if kind == "bearings":
        table["bearing_sd_degrees"] = _deviations(raw, columns, about, notes)
    if sender is not None:
        table["transmitter_lon"], table["transmitter_lat"] = sender.lon, sender.lat
    _leave_out_repeats(table, gate, about, notes)
    if not gate.keep.any():
        none_left(raw, notes, start)
        return None
    kept = table[gate.keep].reset_index(drop=True)
    _ask_for_declination(kind, kept, section.declination_degrees, columns, notes)
    return None if notes.failed else kept


def _transmitter(
    raw: RawTable, columns: Columns, section: BearingTestsSection | BearingsSection, notes: Notes
) -> Positions | None:
    """Read where the transmitter was, by the reader of positions under other names."""
    theirs = {ours: columns.theirs[t] for ours, t in _TRANSMITTER.items() if t in columns}
    pair = {"decimalLatitude", "decimalLongitude"} if "decimalLatitude" in theirs else {"x", "y"}
    if not pair <= set(theirs):
        notes.error(
            "there are no columns that say where the transmitter was.",
            "write transmitterLatitude and transmitterLongitude (or transmitter_x and "
            "transmitter_y with crs) under [bearing_tests.columns]",
        )
        return None
    view = Columns({t: c for t, c in theirs.items() if t in pair}, frozenset(pair))
    return read_positions(replace(raw, xy=None, crs=None), view, section, "bearing_tests", notes)


def _bearings(
    raw: RawTable, columns: Columns, gate: Gate, about: About, notes: Notes
) -> pd.Series[float]:
    text = columns.text(raw, "bearing_degrees")
    value = numbers(text.str.rstrip("°º˚ "), decimal_comma=raw.decimal_comma)
    column = columns.name("bearing_degrees")
    empty = gate.shut((text == "").to_numpy())
    notes.leave_out(empty, about, "no bearing", column=column)
    bad = gate.shut(~((value >= 0) & (value <= 360)))
    notes.doubt_rows(
        bad,
        about,
        lambda i: f"{text.iloc[i]!r} is no bearing from 0 to 360 degrees.",
        "write degrees clockwise from north, such as 47.5",
        column=column,
    )
    notes.leave_out(bad, about, lambda i: f"{text.iloc[i]!r} is no bearing", column=column)
    return pd.Series(value)


def _norths(
    raw: RawTable, columns: Columns, usual: str | None, gate: Gate, about: About, notes: Notes
) -> pd.Series[str]:
    text = columns.text(raw, "north")
    found = text.str.casefold().map({**NORTHS, "": usual or ""})
    column = columns.name("north")
    bad = gate.shut((found.isna() | (found == "")).to_numpy())
    notes.doubt_rows(
        bad,
        about,
        lambda i: f"{text.iloc[i]!r} is neither true nor magnetic north.",
        'write "true" or "magnetic"',
        column=column,
    )
    notes.leave_out(bad, about, "it is not said from which north the bearing counts", column=column)
    return found.fillna("").astype(str)


def _deviations(raw: RawTable, columns: Columns, about: About, notes: Notes) -> Floats:
    text = columns.text(raw, "bearing_sd_degrees")
    value = numbers(text, decimal_comma=raw.decimal_comma)
    bad: Bools = (text != "").to_numpy() & ~((value > 0) & (value <= _LARGEST_SD))
    notes.doubt_rows(
        bad,
        about,
        lambda i: f"{text.iloc[i]!r} is no standard deviation; it was taken as unknown.",
        f"write degrees above 0 and up to {_LARGEST_SD:g}, or leave it empty",
        column=columns.name("bearing_sd_degrees"),
    )
    return np.where(bad, np.nan, value)


def _leave_out_repeats(table: pd.DataFrame, gate: Gate, about: About, notes: Notes) -> None:
    kept = table[gate.keep].drop(columns=["source_file", "source_row"])
    repeated = np.zeros(len(table), dtype=bool)
    repeated[kept.index[kept.duplicated()]] = True
    said = "the same animal, time, place and bearing as an earlier row"
    notes.leave_out(gate.shut(repeated), about, said)


def _ask_for_north(
    kind: Kind, section: BearingsSection | BearingTestsSection, columns: Columns, notes: Notes
) -> None:
    if section.north is None and "north" not in columns:
        notes.error(
            "nothing says whether the bearings count from true or from magnetic north.",
            f'write north = "magnetic" (a compass) or north = "true" in [{kind}], '
            "or add a column north",
            column=columns.name("north"),
        )


def _ask_for_declination(
    kind: Kind, table: pd.DataFrame, stated: float | None, columns: Columns, notes: Notes
) -> None:
    magnetic = (table["north"] == "magnetic").to_numpy()
    outside = magnetic & ~model_covers(pd.DatetimeIndex(table["time"]))
    if stated is None and outside.any():
        first = int(np.argmax(outside))
        notes.error(
            f"{table['eventDate'].iloc[first]!r} lies outside the years {FIRST_YEAR} to "
            f"{LAST_YEAR} for which a World Magnetic Model is at hand "
            f"({int(outside.sum())} of {len(table)} rows).",
            f"write declination_degrees (east positive) in [{kind}]",
            row=int(table["source_row"].iloc[first]),
            column=columns.name("eventDate"),
        )
