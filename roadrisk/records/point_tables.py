"""Fixes, sightings and other reports: from a raw table to rows with time and position."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

import geopandas as gpd
import numpy as np
import pandas as pd
import pyproj
import shapely

from roadrisk.base.by_distinct import listed
from roadrisk.base.crs import WGS84
from roadrisk.records import schemas
from roadrisk.records.columns import POSITION_TERMS, Columns, find_columns
from roadrisk.records.dates import read_dates
from roadrisk.records.event_dates import ask_for_order, dates_as_text, judge_dates, none_left
from roadrisk.records.ids import note_spoiled
from roadrisk.records.position_doubts import Judged, judge
from roadrisk.records.positions import Positions, read_positions
from roadrisk.records.raw_table import About, Bools, Gate, Notes, RawTable
from roadrisk.records.report_keys import made_id
from roadrisk.records.sighting_columns import add_sighting_columns
from roadrisk.records.uncertainty import given_uncertainty_m, uncertainty_m

if TYPE_CHECKING:
    from roadrisk.errors import Remark
    from roadrisk.records.dates import Dates
    from roadrisk.records.whereabouts import Whereabouts
    from roadrisk.settings import StudySection
    from roadrisk.table_settings import BackgroundSection, FixesSection, SightingsSection

Kind = Literal["fixes", "sightings", "background"]
Placed = Literal["fixes", "sightings", "bearings", "bearing_tests", "background", "nests", "held"]

_SCHEMAS = {
    "fixes": schemas.FIXES,
    "sightings": schemas.SIGHTINGS,
    "bearings": schemas.BEARINGS,
    "bearing_tests": schemas.BEARING_TESTS,
    "background": schemas.BACKGROUND,
    "nests": schemas.NESTS,
    "held": schemas.HELD,
}
# A report dated before this is a slip of the pen (common practice).
EARLIEST_YEAR = 1950
_IDS = {"fixes": "organismID", "sightings": "occurrenceID", "background": "occurrenceID"}


@dataclass(frozen=True, eq=False)
class ReadPoints:
    """Rows of one file with time and position.

    Attributes
    ----------
    kept : pandas.DataFrame
        The columns of the schema except geometry, and lon, lat (WGS 84, NaN for a row by
        route and measure) and given_uncertainty_m (NaN where the row gives none).
    held : pandas.DataFrame
        Reports of the study's species (none for fixes and background) whose position or date
        is at fault and that a person may mend: the same columns (NaT and NaN where unknown), and
        given_position, held_because, proposed_longitude, proposed_latitude.
    """

    kept: pd.DataFrame
    held: pd.DataFrame


def read_point_table(
    kind: Kind,
    raw: RawTable,
    section: FixesSection | SightingsSection | BackgroundSection,
    study: StudySection,
    where: Whereabouts,
    notes: Notes,
) -> pd.DataFrame | None:
    """Read fixes, sightings, or other reports as background: the rows that can be used.

    Parameters
    ----------
    kind : {"fixes", "sightings", "background"}
    raw : RawTable
    section : FixesSection, SightingsSection or BackgroundSection
    study : StudySection
    where : Whereabouts
    notes : Notes

    Returns
    -------
    pandas.DataFrame or None
        `ReadPoints.kept` of `read_points`, with the same parameters.
    """
    found = read_points(kind, raw, section, study, where, notes)
    return None if found is None else found.kept


def read_points(
    kind: Kind,
    raw: RawTable,
    section: FixesSection | SightingsSection | BackgroundSection,
    study: StudySection,
    where: Whereabouts,
    notes: Notes,
) -> ReadPoints | None:
    """Read fixes, sightings, or other reports as background.

    Parameters
    ----------
    kind : {"fixes", "sightings", "background"}
    raw : RawTable
    section : FixesSection, SightingsSection or BackgroundSection
    study : StudySection
        Period, time zone and species.
    where : Whereabouts
        Where the points may be expected.
    notes : Notes
        Takes errors, doubts and left-outs.

    Returns
    -------
    ReadPoints or None
        None if the file can't be used; `notes` then holds the error.
    """
    needed = ("organismID", "eventDate") if kind == "fixes" else ("eventDate",)
    columns = find_columns(kind, raw.frame.columns, section.columns, notes, needed=needed)
    positions = None
    if all(t in columns for t in section.columns if t in POSITION_TERMS):
        positions = read_positions(raw, columns, section, kind, notes)
    text = dates_as_text(raw, columns)
    dates = read_dates(text, study.zone, section.date_order)
    ask_for_order(text, dates, section, kind, columns, raw, notes)
    if notes.failed or positions is None:
        return None
    ids = _ids(kind, raw, columns, notes)
    about = About(raw.rows, listed(ids))
    start = len(notes.remarks)
    gate = Gate(np.ones(len(raw), dtype=bool))
    _leave_out_nameless(kind, ids, gate, about, columns, notes)
    judged = judge(positions, about, where, kind, notes)
    gate.shut(~judged.usable)
    judge_dates(text, dates, study, gate, about, columns, notes)
    mendable = ~gate.keep & ~_of_another_time(dates, study)
    table = pd.DataFrame(
        {
            "source_file": raw.file,
            "source_row": raw.rows,
            _IDS[kind]: ids,
            "eventDate": text,
            "time": dates.time,
            "time_known": dates.time_known,
            "route": columns.text(raw, "route"),
            "route_measure": positions.route_measure,
            "side": columns.text(raw, "side"),
            "lon": positions.lon,
            "lat": positions.lat,
        }
    )
    if kind == "fixes":
        table["method"] = columns.text(raw, "method")
    elif kind == "background":
        for term in ("scientificName", "recordedBy"):
            table[term] = columns.text(raw, term)
        _leave_out_own(table["scientificName"], study, gate, about, notes)
    else:
        # What can be mended is judged as if it were: another species stays out.
        open_gate = Gate(gate.keep | mendable)
        add_sighting_columns(table, raw, columns, study, open_gate, about, notes)
        gate.keep &= open_gate.keep
        mendable &= open_gate.keep
    table["coordinateUncertaintyInMeters"] = uncertainty_m(
        raw, columns, section, gate, about, notes
    )
    table["given_uncertainty_m"] = given_uncertainty_m(raw, columns)
    if kind == "fixes":
        _leave_out_repeats(table, gate, about, notes)
    if not gate.keep.any():
        none_left(raw, notes, start)
        return None
    if kind == "sightings":
        table = _why_held(table, ~gate.keep, judged, positions, raw, notes.remarks[start:])
    kept, held = table[gate.keep], table[mendable & (kind == "sightings")]
    return ReadPoints(kept.reset_index(drop=True), held.reset_index(drop=True))


def _of_another_time(dates: Dates, study: StudySection) -> Bools:
    """Return rows whose date can be meant and lies outside the study period: nothing to mend."""
    day = dates.day
    outside = (day < pd.Timestamp(study.start)) | (day > pd.Timestamp(study.end))
    possible = (day.dt.year >= EARLIEST_YEAR) & (
        dates.time <= pd.Timestamp(dt.datetime.now(dt.UTC))
    )
    return (outside & possible).to_numpy()


def _why_held(
    table: pd.DataFrame,
    lost: Bools,
    judged: Judged,
    positions: Positions,
    raw: RawTable,
    said: list[Remark],
) -> pd.DataFrame:
    why: dict[int, str] = {}
    for remark in said:
        if remark.kind == "left out" and remark.row is not None:
            why.setdefault(remark.row, remark.problem)
    names = [n for n in positions.columns if n in raw.frame.columns]
    texts = [raw.frame[n] for n in names]
    out = np.flatnonzero(lost)
    given, because = np.full((2, len(lost)), "", dtype=object)
    given[out] = [", ".join(text.iloc[i] for text in texts) for i in out]
    because[out] = [why.get(row, "") for row in raw.rows[out].tolist()]
    # A position that can't be used is in the proposal or nowhere.
    usable = pd.Series(judged.usable, index=table.index)
    return table.assign(
        lon=table["lon"].where(usable),
        lat=table["lat"].where(usable),
        given_position=pd.Series(given, index=table.index, dtype=str),
        held_because=pd.Series(because, index=table.index, dtype=str),
        proposed_longitude=judged.lon,
        proposed_latitude=judged.lat,
    )


def place(
    kind: Placed, tables: list[pd.DataFrame], crs: pyproj.CRS
) -> tuple[gpd.GeoDataFrame, Bools]:
    """Join the tables of one kind and give them geometries.

    Parameters
    ----------
    kind : {"fixes", "sightings", "bearings", "bearing_tests", "background", "nests", "held"}
    tables : list of pandas.DataFrame
        As `read_point_table`, `read_bearing_table` or `read_nests` returns them.
    crs : pyproj.CRS
        Working system.

    Returns
    -------
    table : geopandas.GeoDataFrame
        Of the schema. A row by route and measure has an empty point.
    lost : ndarray of bool
        Rows of the joined tables that `crs` can't express and that are not in `table`.
    """
    if not tables:
        return schemas.empty(_SCHEMAS[kind], crs), np.zeros(0, dtype=bool)
    joined = pd.concat(tables, ignore_index=True)
    turn = pyproj.Transformer.from_crs(WGS84, crs, always_xy=True)
    lon, lat = joined["lon"].to_numpy(), joined["lat"].to_numpy()
    x, y = (np.asarray(v, dtype=np.float64) for v in turn.transform(lon, lat))
    given = np.isfinite(lon)
    fits = np.isfinite(x) & np.isfinite(y)
    points = np.full(len(joined), shapely.Point(), dtype=object)
    points[given & fits] = shapely.points(x[given & fits], y[given & fits])
    if kind == "bearing_tests":
        ends = (joined[f"transmitter_{c}"].to_numpy() for c in ("lon", "lat"))
        joined["transmitter_x"], joined["transmitter_y"] = turn.transform(next(ends), next(ends))
        for axis in ("transmitter_x", "transmitter_y"):
            fits &= np.isfinite(joined[axis].to_numpy())
    lost = given & ~fits
    whole = gpd.GeoDataFrame(joined, geometry=points, crs=crs)[~lost]
    return schemas.conform(whole, _SCHEMAS[kind]), lost


def _ids(kind: Kind, raw: RawTable, columns: Columns, notes: Notes) -> pd.Series[str]:
    term = _IDS[kind]
    ids = columns.text(raw, term)
    note_spoiled(ids, raw, columns, term, notes)
    if kind != "sightings":
        return ids
    missing = ids == ""
    if missing.any():
        made = [made_id(raw.file, row) for row in raw.rows[missing.to_numpy()].tolist()]
        ids = ids.mask(missing, pd.Series(made, index=ids.index[missing], dtype=str))
        notes.doubt_file(
            missing.to_numpy(),
            About(raw.rows, listed(ids)),
            lambda rows: f"{rows} have no occurrenceID; file and row were used instead.",
            "give every report an id of its own that stays",
            column=columns.name(term),
        )
    return ids


def _leave_out_nameless(
    kind: Kind, ids: pd.Series[str], gate: Gate, about: About, columns: Columns, notes: Notes
) -> None:
    if kind == "fixes":
        nameless = gate.shut((ids == "").to_numpy())
        column = columns.name("organismID")
        notes.doubt_rows(
            nameless, about, "the fix names no animal.", "fill in organismID", column=column
        )
        notes.leave_out(nameless, about, "no organismID", column=column)


def _leave_out_own(
    name: pd.Series[str], study: StudySection, gate: Gate, about: About, notes: Notes
) -> None:
    """Leave out the study's own species: only reports of anything else show who reports where."""
    known = {study.species.casefold(), study.common_name.casefold()} - {""}
    own = name.str.strip().str.casefold().isin(known).to_numpy()
    notes.leave_out(gate.shut(own), about, "the study's own species in the background table")


def _leave_out_repeats(table: pd.DataFrame, gate: Gate, about: About, notes: Notes) -> None:
    same = ["organismID", "time", "lon", "lat", "route", "route_measure"]
    kept = table[gate.keep]
    repeated = np.zeros(len(table), dtype=bool)
    repeated[kept.index[kept.duplicated(same)]] = True
    notes.leave_out(gate.shut(repeated), about, "the same animal, time and place as an earlier row")
