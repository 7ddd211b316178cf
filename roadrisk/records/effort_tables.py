"""Survey effort: which piece of road was searched or watched, how often or how long, and when."""

from __future__ import annotations

from typing import TYPE_CHECKING

import geopandas as gpd
import numpy as np
import pandas as pd

from roadrisk.base.crs import WGS84
from roadrisk.base.units import M_PER_FOOT, M_PER_MILE
from roadrisk.records import schemas, survey_schemas
from roadrisk.records.columns import Columns, find_columns, numbers, of_a_value
from roadrisk.records.dates import read_dates
from roadrisk.records.event_dates import ask_for_order, dates_as_text, none_left
from roadrisk.records.raw_table import About, Floats, Gate, Notes, RawTable
from roadrisk.records.road_pieces import opened_table, road_places, row_errors

if TYPE_CHECKING:
    from pathlib import Path

    from roadrisk.settings import StudySection
    from roadrisk.table_settings import EffortSection

UNITS = {
    **dict.fromkeys(("pass", "passes", "time", "times", "visit", "visits", "walk", "walks",
                     "drive", "drives", "survey", "surveys"), ("passes", 1.0)),
    **dict.fromkeys(("h", "hr", "hrs", "hour", "hours"), ("hours", 1.0)),
    **dict.fromkeys(("min", "mins", "minute", "minutes"), ("hours", 1 / 60)),
    **dict.fromkeys(("m", "metre", "metres", "meter", "meters"), ("metres", 1.0)),
    **dict.fromkeys(("km", "kilometre", "kilometres", "kilometer", "kilometers"),
                    ("metres", 1000.0)),
    **dict.fromkeys(("mi", "mile", "miles"), ("metres", M_PER_MILE)),
    **dict.fromkeys(("ft", "foot", "feet"), ("metres", M_PER_FOOT)),
}  # fmt: skip
KNOWN_UNITS = "passes, hours, minutes, m, km, mi"


def read_effort(
    path: Path, name: str, section: EffortSection, study: StudySection, notes: Notes
) -> gpd.GeoDataFrame | None:
    """Read survey effort from a table or a layer of lines.

    Parameters
    ----------
    path : pathlib.Path
        An existing file.
    name : str
        The file's name as the user knows it.
    section : EffortSection
    study : StudySection
        Period and time zone.
    notes : Notes
        Takes errors: a row that can't be read would change what the records are compared with.

    Returns
    -------
    geopandas.GeoDataFrame or None
        Columns of `survey_schemas.EFFORT`, WGS 84.
    """
    raw, shapes = opened_table(path, name, section, "effort", notes)
    if raw is None:
        return None
    columns = find_columns("effort", raw.frame.columns, section.columns, notes)
    text = dates_as_text(raw, columns)
    dates = read_dates(text, study.zone, section.date_order)
    ask_for_order(text, dates, section, "effort", columns, raw, notes)
    if notes.failed:
        return None
    start = len(notes.remarks)
    gate = Gate(np.ones(len(raw), dtype=bool))
    about = About(raw.rows, [""] * len(raw))
    unread = (text != "").to_numpy() & dates.time.isna().to_numpy()
    row_errors(unread, about, lambda i: f"{text.iloc[i]!r} can't be read as a date.",
            "write it as 2025-03-04", columns.name("eventDate"), notes)  # fmt: skip
    outside = (dates.day < pd.Timestamp(study.start)) | (dates.day > pd.Timestamp(study.end))
    notes.leave_out(gate.shut(outside.to_numpy()), about, "effort outside the study period")
    amount, unit = _amounts(raw, columns, gate, about, notes)
    placed_by, geometry, measures = road_places(
        raw, columns, section, "effort", shapes, gate, about, notes
    )
    if notes.failed:
        return None
    if not gate.keep.any():
        none_left(raw, notes, start)
        return None
    table = gpd.GeoDataFrame(
        {
            "source_file": raw.file,
            "source_row": raw.rows,
            "eventDate": text,
            "time": dates.time,
            "placed_by": placed_by,
            "route": columns.text(raw, "route"),
            "begin_measure": measures[0],
            "end_measure": measures[1],
            "amount": amount,
            "amount_unit": unit,
        },
        geometry=geometry,
        crs=WGS84,
    )
    return schemas.conform(table[gate.keep], survey_schemas.EFFORT)


def _amounts(
    raw: RawTable, columns: Columns, gate: Gate, about: About, notes: Notes
) -> tuple[Floats, np.ndarray]:
    """How much effort each row is, and in passes, metres or hours; one pass where none is told."""
    size, words = columns.text(raw, "sampleSizeValue"), columns.text(raw, "samplingEffort")
    unit = columns.text(raw, "sampleSizeUnit")
    said = of_a_value(words).str.extract(r"^\s*(?P<value>\S*\d\S*)\s*(?P<unit>[^\d]*)$").fillna("")
    by_size = (size != "").to_numpy()
    text = size.where(by_size, said["value"])
    unit = unit.where(by_size, said["unit"]).str.strip().str.rstrip(".").str.casefold()
    unit = unit.mask(unit == "", "passes")
    term = "sampleSizeValue" if "sampleSizeValue" in columns else "samplingEffort"
    silent = ~by_size & (words == "").to_numpy()
    told = "sampleSizeValue" in columns or "samplingEffort" in columns
    value = numbers(text, decimal_comma=raw.decimal_comma)
    if told:
        row_errors(silent & gate.keep, about, "the row doesn't say how much effort it was.",
                "write a number, such as 3 for three passes; 0 for none", columns.name(term),
                notes)  # fmt: skip
    value = np.where(silent, 1.0, value)
    shown = size.where(by_size, words)
    bad = ~silent & ~(value >= 0) & gate.keep
    row_errors(bad, about, lambda i: f"{shown.iloc[i]!r} is no amount of effort.",
            f"write a number of 0 or more, and its unit: {KNOWN_UNITS}", columns.name(term),
            notes)  # fmt: skip
    unknown = ~unit.isin(list(UNITS)).to_numpy() & ~bad & gate.keep
    column = "sampleSizeUnit" if "sampleSizeUnit" in columns else term
    row_errors(unknown, about, lambda i: f"{unit.iloc[i]!r} is no unit of effort that is known.",
            f"write one of {KNOWN_UNITS}", columns.name(column), notes)  # fmt: skip
    kinds = [UNITS.get(u, ("passes", 1.0)) for u in unit]
    notes.leave_out(gate.shut(value == 0), about, "no effort (0)", column=columns.name(term))
    kind = np.array([k for k, _ in kinds], dtype=object)
    hours = (kind == "hours") & gate.keep
    if hours.any() and (gate.keep & ~hours).any():
        notes.error(
            "some rows are hours and others passes or distance: they can't be added up.",
            "write all of them in one kind of unit",
            row=int(about.rows[np.flatnonzero(hours)[0]]),
            column=columns.name(column),
        )
    return value * np.array([factor for _, factor in kinds]), kind
