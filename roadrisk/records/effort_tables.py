"""Survey effort: which piece of road was searched or watched, how often or how long, and when."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import geopandas as gpd
import numpy as np
import pandas as pd
import pyproj
import shapely

from roadrisk.base.crs import WGS84
from roadrisk.base.units import M_PER_FOOT, M_PER_MILE
from roadrisk.records import schemas
from roadrisk.records.columns import Columns, find_columns, numbers
from roadrisk.records.dates import read_dates
from roadrisk.records.event_dates import ask_for_order, dates_as_text, none_left
from roadrisk.records.layer_files import as_text, layer_crs, read_layer
from roadrisk.records.positions import degrees
from roadrisk.records.raw_table import MOST_ALIKE, About, Bools, Floats, Gate, Notes, RawTable
from roadrisk.records.table_files import LAYER_KINDS, read_raw

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

    from roadrisk.settings import StudySection
    from roadrisk.table_settings import EffortSection

    Say = str | Callable[[int], str]

_UNITS = {
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
_KNOWN = "passes, hours, minutes, m, km, mi"
_DEGREES = ("beginLongitude", "beginLatitude", "endLongitude", "endLatitude")
_METRES = ("begin_x", "begin_y", "end_x", "end_y")
_PLACE = (
    "fill in route (with begin_measure and end_measure), or the begin's and the end's coordinates, "
    "or footprintWKT"
)


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
        Columns of `schemas.EFFORT`, WGS 84.
    """
    raw, shapes = _opened(path, name, section, notes)
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
    _errors(unread, about, lambda i: f"{text.iloc[i]!r} can't be read as a date.",
            "write it as 2025-03-04", columns.name("eventDate"), notes)  # fmt: skip
    outside = (dates.day < pd.Timestamp(study.start)) | (dates.day > pd.Timestamp(study.end))
    notes.leave_out(gate.shut(outside.to_numpy()), about, "effort outside the study period")
    amount, unit = _amounts(raw, columns, gate, about, notes)
    placed_by, geometry, measures = _places(raw, columns, section, shapes, gate, about, notes)
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
    return schemas.conform(table[gate.keep], schemas.EFFORT)


def _opened(
    path: Path, name: str, section: EffortSection, notes: Notes
) -> tuple[RawTable | None, Any]:
    """Open a table, or a layer of lines with its shapes in WGS 84."""
    if path.suffix.lower() not in LAYER_KINDS or path.stat().st_size == 0:
        return read_raw(path, name, section, notes), None
    found = read_layer(path, section.layer, notes)
    if found is None:
        return None, None
    meta, shapes, fields = found
    said = section.crs if "crs" in section.model_fields_set else None
    crs = None if shapes is None else layer_crs(meta["crs"], said, "effort", notes)
    if shapes is None or len(shapes) == 0:
        notes.error("the layer has no lines.", "name a layer of lines, or a table")
    if notes.failed or crs is None:
        return None, None
    frame = pd.DataFrame({c: as_text(v) for c, v in fields.items()}, index=range(len(shapes)))
    rows = np.arange(len(shapes), dtype=np.int64) + 2
    return RawTable(name, frame, rows), gpd.GeoSeries(shapes, crs=crs).to_crs(WGS84).to_numpy()


def _errors(which: Bools, about: About, problem: Say, mend: str, column: str, notes: Notes) -> None:
    """Note an error a row, for the first rows of a kind."""
    for i in np.flatnonzero(which)[:MOST_ALIKE].tolist():
        said = problem if isinstance(problem, str) else problem(i)
        notes.error(said, mend, row=int(about.rows[i]), column=column)


def _amounts(
    raw: RawTable, columns: Columns, gate: Gate, about: About, notes: Notes
) -> tuple[Floats, np.ndarray]:
    """How much effort each row is, and in passes, metres or hours; one pass where none is told."""
    size, words = columns.text(raw, "sampleSizeValue"), columns.text(raw, "samplingEffort")
    unit = columns.text(raw, "sampleSizeUnit")
    said = words.str.extract(r"^\s*(?P<value>\S*\d\S*)\s*(?P<unit>[^\d]*)$").fillna("")
    by_size = (size != "").to_numpy()
    text = size.where(by_size, said["value"])
    unit = unit.where(by_size, said["unit"]).str.strip().str.rstrip(".").str.casefold()
    unit = unit.mask(unit == "", "passes")
    term = "sampleSizeValue" if "sampleSizeValue" in columns else "samplingEffort"
    silent = ~by_size & (words == "").to_numpy()
    told = "sampleSizeValue" in columns or "samplingEffort" in columns
    value = numbers(text, decimal_comma=raw.decimal_comma)
    if told:
        _errors(silent & gate.keep, about, "the row doesn't say how much effort it was.",
                "write a number, such as 3 for three passes; 0 for none", columns.name(term),
                notes)  # fmt: skip
    value = np.where(silent, 1.0, value)
    shown = size.where(by_size, words)
    bad = ~silent & ~(value >= 0) & gate.keep
    _errors(bad, about, lambda i: f"{shown.iloc[i]!r} is no amount of effort.",
            f"write a number of 0 or more, and its unit: {_KNOWN}", columns.name(term),
            notes)  # fmt: skip
    unknown = ~unit.isin(list(_UNITS)).to_numpy() & ~bad & gate.keep
    column = "sampleSizeUnit" if "sampleSizeUnit" in columns else term
    _errors(unknown, about, lambda i: f"{unit.iloc[i]!r} is no unit of effort that is known.",
            f"write one of {_KNOWN}", columns.name(column), notes)  # fmt: skip
    kinds = [_UNITS.get(u, ("passes", 1.0)) for u in unit]
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


def _places(
    raw: RawTable,
    columns: Columns,
    section: EffortSection,
    shapes: Any,
    gate: Gate,
    about: About,
    notes: Notes,
) -> tuple[np.ndarray, np.ndarray, tuple[Floats, Floats]]:
    """How each row is placed, its line in WGS 84, and its measures."""
    count = len(raw)
    placed = np.full(count, "", dtype=object)
    geometry = np.full(count, None, dtype=object)
    lines = _lines(raw, columns, section, shapes, gate, about, notes)
    ends = _ends(raw, columns, section, gate, about, notes)
    begin, end = (
        numbers(columns.text(raw, t), decimal_comma=raw.decimal_comma)
        for t in ("begin_measure", "end_measure")
    )
    route = (columns.text(raw, "route") != "").to_numpy()
    half = route & (np.isnan(begin) != np.isnan(end)) & gate.keep
    _errors(half, about, "the row has only one measure that can be read.",
            "write begin_measure and end_measure, or neither for the whole route",
            columns.name("begin_measure"), notes)  # fmt: skip
    placed[route] = "route"
    for found, name in ((ends, "ends"), (lines, "line")):
        there = np.array([g is not None for g in found], dtype=bool)
        placed[there], geometry[there] = name, found[there]
    if not notes.failed:
        nowhere = (placed == "") & gate.keep
        _errors(nowhere, about, "the row doesn't say which road.", _PLACE, "", notes)
    return placed, geometry, (begin, end)


def _lines(
    raw: RawTable, columns: Columns, section: EffortSection, shapes: Any, gate: Gate,
    about: About, notes: Notes,
) -> np.ndarray:  # fmt: skip
    found = np.full(len(raw), None, dtype=object)
    column = columns.name("footprintWKT") if shapes is None else "geometry"
    if shapes is not None:
        found[:] = shapes
    else:
        text = columns.text(raw, "footprintWKT")
        given = (text != "").to_numpy()
        if given.any():
            found[given] = shapely.from_wkt(text[given].to_numpy(object), on_invalid="ignore")
            unread = given & shapely.is_missing(found) & gate.keep
            _errors(unread, about, "the line can't be read.",
                    "write it as LINESTRING (longitude latitude, longitude latitude, ...)",
                    column, notes)  # fmt: skip
            system = gpd.GeoSeries(found, crs=pyproj.CRS.from_user_input(section.crs))
            found = system.to_crs(WGS84).to_numpy().copy()
    there = ~shapely.is_missing(found)
    length = np.where(there, shapely.length(found), 1.0)
    kind = np.isin(shapely.get_type_id(found), (1, 5))
    bad = there & ~(kind & (length > 0) & np.isfinite(length)) & gate.keep
    _errors(bad, about, "there is no line of any length where one is needed.",
            "give the line that was gone along", column, notes)  # fmt: skip
    found[bad] = None
    return found


def _ends(
    raw: RawTable, columns: Columns, section: EffortSection, gate: Gate, about: About,
    notes: Notes,
) -> np.ndarray:  # fmt: skip
    found = np.full(len(raw), None, dtype=object)
    terms = _DEGREES if any(t in columns for t in _DEGREES) else _METRES
    texts = [columns.text(raw, t) for t in terms]
    given = np.column_stack([(t != "").to_numpy() for t in texts])
    if not given.any():
        return found
    if terms is _METRES:
        values = [numbers(t, decimal_comma=raw.decimal_comma) for t in texts]
        system = pyproj.CRS.from_user_input(section.crs)
        if not system.is_projected:
            notes.error(
                "begin_x to end_y need the system they are in.",
                'write crs = "EPSG:…" in [effort]',
                column=columns.name(terms[0]),
            )
            return found
        turn = pyproj.Transformer.from_crs(system, WGS84, always_xy=True)
        values = [
            *turn.transform(values[0], values[1]), *turn.transform(values[2], values[3])
        ]  # fmt: skip
    else:
        values = [degrees(t, "lon" if n % 2 == 0 else "lat") for n, t in enumerate(texts)]
        if section.swapped:
            values = [values[n] for n in (1, 0, 3, 2)]
        for n, value in enumerate(values):
            turned = section.longitude != "signed" if n % 2 == 0 else section.latitude != "signed"
            values[n] = np.where((value > 0) & turned, -value, value)
    xy = np.column_stack(values)
    sound = np.isfinite(xy).all(axis=1)
    sound &= (np.abs(xy[:, [0, 2]]) <= 180).all(axis=1) & (np.abs(xy[:, [1, 3]]) <= 90).all(axis=1)
    bad = given.any(axis=1) & ~sound & gate.keep
    _errors(bad, about, "a coordinate of its begin or end is missing or no place on Earth.",
            "write both ends in decimal degrees such as 40.1234, 19.4321", columns.name(terms[0]),
            notes)  # fmt: skip
    good = given.all(axis=1) & sound
    found[good] = shapely.linestrings(xy[good].reshape(-1, 2, 2))
    return found
