"""Searches for carcasses along roads: which piece, when, by what protocol; zeros are rows too."""

from __future__ import annotations

from typing import TYPE_CHECKING

import geopandas as gpd
import numpy as np
import pandas as pd

from roadrisk.base.crs import WGS84
from roadrisk.errors import Remark
from roadrisk.records import schemas, survey_schemas, words
from roadrisk.records.columns import Columns, find_columns, numbers, of_a_value
from roadrisk.records.dates import read_dates
from roadrisk.records.effort_tables import KNOWN_UNITS, UNITS
from roadrisk.records.event_dates import ask_for_order, dates_as_text, none_left
from roadrisk.records.raw_table import About, Bools, Floats, Gate, Notes, RawTable
from roadrisk.records.road_pieces import opened_table, road_places, row_errors

if TYPE_CHECKING:
    from pathlib import Path
    from zoneinfo import ZoneInfo

    from roadrisk.settings import StudySection
    from roadrisk.table_settings import SurveysSection

_ASKED = ("eventID", "eventDate", "samplingProtocol")


def read_surveys(
    path: Path, name: str, section: SurveysSection, study: StudySection, notes: Notes
) -> gpd.GeoDataFrame | None:
    """Read surveys from a table or a layer of lines.

    Parameters
    ----------
    path : pathlib.Path
        An existing file.
    name : str
        The file's name as the user knows it.
    section : SurveysSection
    study : StudySection
        Period and time zone.
    notes : Notes
        Takes errors: a survey that can't be read would change how many deaths a carcass
        stands for.

    Returns
    -------
    geopandas.GeoDataFrame or None
        Columns of `survey_schemas.SURVEYS`, WGS 84.
    """
    raw, shapes = opened_table(path, name, section, "surveys", notes)
    if raw is None:
        return None
    columns = find_columns("surveys", raw.frame.columns, section.columns, notes, needed=_ASKED)
    # Of an interval in ISO 8601 the beginning counts.
    text = dates_as_text(raw, columns).str.replace(
        r"^(\d{4}-\d\d-\d\d[^/]*)/.*$", r"\1", regex=True
    )
    dates = read_dates(text, study.zone, section.date_order)
    ask_for_order(text, dates, section, "surveys", columns, raw, notes)
    if notes.failed:
        return None
    start = len(notes.remarks)
    ids = columns.text(raw, "eventID")
    gate, about = Gate(np.ones(len(raw), dtype=bool)), About(raw.rows, ids.tolist())
    unread = dates.time.isna().to_numpy()
    row_errors(unread, about, lambda i: f"{text.iloc[i]!r} can't be read as a date.",
               "write it as 2025-03-04 or 2025-03-04T17:30", columns.name("eventDate"),
               notes)  # fmt: skip
    outside = (dates.day < pd.Timestamp(study.start)) | (dates.day > pd.Timestamp(study.end))
    notes.leave_out(gate.shut(outside.to_numpy()), about, "a survey outside the study period")
    protocol = words.protocol(columns.text(raw, "samplingProtocol"))
    _say_missing(ids, protocol, gate, about, columns, notes)
    passes, hours = _effort(raw, columns, gate, about, notes)
    placed_by, geometry, measures = road_places(
        raw, columns, section, "surveys", shapes, gate, about, notes
    )
    table = gpd.GeoDataFrame(
        {
            "source_file": raw.file,
            "source_row": raw.rows,
            "eventID": ids,
            "eventDate": text,
            "time": dates.time,
            "time_known": dates.time_known,
            "samplingProtocol": protocol,
            "observers": _number("observers", raw, columns, gate, about, notes),
            "hours": hours,
            "searched_width_m": _number("searched_width_m", raw, columns, gate, about, notes),
            "individualCount": _number(
                "individualCount", raw, columns, gate, about, notes, zero=True
            ),
            "placed_by": placed_by,
            "route": columns.text(raw, "route"),
            "begin_measure": measures[0],
            "end_measure": measures[1],
            "amount": passes,
            "amount_unit": "passes",
        },
        geometry=geometry,
        crs=WGS84,
    )
    if notes.failed:
        return None
    if not gate.keep.any():
        none_left(raw, notes, start)
        return None
    if section.searched_width_m is not None:
        table["searched_width_m"] = table["searched_width_m"].fillna(section.searched_width_m)
    return schemas.conform(table[gate.keep], survey_schemas.SURVEYS)


def join_surveys(
    tables: list[gpd.GeoDataFrame], zone: ZoneInfo
) -> tuple[gpd.GeoDataFrame, list[Remark]]:
    """Join the surveys of several files.

    Parameters
    ----------
    tables : list of geopandas.GeoDataFrame
        At least one, as `read_surveys` returns them.
    zone : zoneinfo.ZoneInfo
        The study's.

    Returns
    -------
    surveys : geopandas.GeoDataFrame
        Columns of `survey_schemas.SURVEYS`.
    remarks : list of Remark
        An error for each row that is there twice, and for each whose eventID stands elsewhere
        with another day or protocol.
    """
    joined = gpd.GeoDataFrame(pd.concat(tables, ignore_index=True))
    day = joined["time"].dt.tz_convert(zone).dt.date
    wkb = joined.geometry.to_wkb(hex=True).fillna("")
    piece = joined[["eventID", "route", "begin_measure", "end_measure"]].assign(wkb=wkb)
    twice = piece.duplicated()
    first = joined.groupby("eventID").transform("first")
    other = (day != day.groupby(joined["eventID"]).transform("first")) | (
        joined["samplingProtocol"] != first["samplingProtocol"]
    )
    where = ["source_file", "source_row", "eventID"]
    remarks = []
    for which, problem, mend in (
        (twice, "survey {!r} has this piece of road in an earlier row.",
         "take out the row, or give the second survey an ID of its own"),
        (other & ~twice, "survey {!r} has another day or protocol in an earlier row.",
         "give each survey an ID of its own"),
    ):  # fmt: skip
        for file, row, name in joined.loc[which, where].itertuples(index=False):
            remarks.append(Remark(file, int(row), "eventID", problem.format(name), mend))
    return schemas.conform(joined, survey_schemas.SURVEYS), remarks


def survey_doubts(
    surveys: gpd.GeoDataFrame | None, reports: pd.DataFrame, zone: ZoneInfo
) -> list[Remark]:
    """Hold carcasses against the surveys that they name.

    Parameters
    ----------
    surveys : geopandas.GeoDataFrame or None
    reports : pandas.DataFrame
        All reports, kept and held; columns eventID, time, vitality, source_file, source_row,
        occurrenceID.
    zone : zoneinfo.ZoneInfo
        The study's.

    Returns
    -------
    list of Remark
        Doubts: a report of no known survey, or of another day than its survey; a survey whose
        form counts other carcasses than the table of sightings holds.
    """
    named = reports[reports["eventID"] != ""]
    if surveys is None:
        return _no_surveys(named)
    mend = "correct eventID or the date, here or in the surveys"
    one = surveys.drop_duplicates("eventID").set_index("eventID")
    day = one["time"].dt.tz_convert(zone).dt.date
    own = pd.to_datetime(named["time"], utc=True).dt.tz_convert(zone).dt.date
    theirs = named["eventID"].map(day)
    out = []
    for unknown, problem in (
        (True, "there is no survey {event!r}: the report counts as the public's."),
        (False, "its survey {event!r} was on another day, {day}."),
    ):
        which = theirs.isna() if unknown else theirs.notna() & own.notna() & (own != theirs)
        for record in named[which].to_dict("records"):
            said = problem.format(event=record["eventID"], day=day.get(record["eventID"]))
            out.append(Remark(record["source_file"], int(record["source_row"]), "eventID", said,
                              mend, "doubt", record["occurrenceID"]))  # fmt: skip
    return out + _other_numbers(surveys, one, named[named["vitality"] == "dead"])


def _other_numbers(
    surveys: gpd.GeoDataFrame, one: gpd.GeoDataFrame, dead: pd.DataFrame
) -> list[Remark]:
    """Doubts about surveys whose form says another number of carcasses than there are reports."""
    have = dead.groupby("eventID").size().reindex(one.index).fillna(0)
    by_event = surveys.groupby("eventID")["individualCount"]
    # The number may stand once, or be repeated on every row of the survey.
    told, most = by_event.sum(min_count=1).reindex(one.index), by_event.max().reindex(one.index)
    out = []
    for event in one.index[(told.notna() & (told != have) & (most != have)).to_numpy()]:
        problem = (
            f"the survey says {told[event]:g} carcasses, the sightings name it for "
            f"{have[event]:g} dead."
        )
        mend = "write every carcass as a row of the sightings with this eventID"
        file, row = one.at[event, "source_file"], int(one.at[event, "source_row"])  # noqa: PD008
        out.append(Remark(file, row, "individualCount", problem, mend, "doubt", str(event)))
    return out


def _no_surveys(named: pd.DataFrame) -> list[Remark]:
    if named.empty:
        return []
    first = named.iloc[0]
    problem = f"{len(named)} reports name a survey, and the study has no table of surveys."
    mend = "name it under [surveys]: without effort no number of deaths can be had from carcasses"
    return [Remark(str(first["source_file"]), int(first["source_row"]), "eventID", problem, mend,
                   "doubt")]  # fmt: skip


def _say_missing(
    ids: pd.Series[str], protocol: pd.Series[str], gate: Gate, about: About, columns: Columns,
    notes: Notes,
) -> None:  # fmt: skip
    row_errors((ids == "").to_numpy() & gate.keep, about, "the survey has no ID.",
               "give each survey an ID, and write it beside each carcass found",
               columns.name("eventID"), notes)  # fmt: skip
    row_errors((protocol == "").to_numpy() & gate.keep, about,
               "the survey doesn't say how it was done.", "write walk, bicycle or car",
               columns.name("samplingProtocol"), notes)  # fmt: skip


def _effort(
    raw: RawTable, columns: Columns, gate: Gate, about: About, notes: Notes
) -> tuple[Floats, Floats]:
    """How often the piece was searched (once where nothing is said), and hours where told."""
    size, effort = columns.text(raw, "sampleSizeValue"), columns.text(raw, "samplingEffort")
    said = of_a_value(effort).str.extract(r"^\s*(?P<value>\S*\d\S*)\s*(?P<unit>[^\d]*)$").fillna("")
    by_size = (size != "").to_numpy()
    text = size.where(by_size, said["value"])
    unit = columns.text(raw, "sampleSizeUnit").where(by_size, said["unit"])
    unit = unit.str.strip().str.rstrip(".").str.casefold().replace("", "passes")
    told = by_size | (effort != "").to_numpy()
    value = numbers(text, decimal_comma=raw.decimal_comma)
    term = "sampleSizeValue" if "sampleSizeValue" in columns else "samplingEffort"
    known = unit.isin(list(UNITS)).to_numpy()
    bad = told & ~((value >= 0) & known) & gate.keep
    shown = size.where(by_size, effort)
    row_errors(bad, about, lambda i: f"{shown.iloc[i]!r} is no effort that can be read.",
               f"write a number and its unit ({KNOWN_UNITS}), or nothing for one pass",
               columns.name(term), notes)  # fmt: skip
    none = told & (value == 0)
    notes.leave_out(gate.shut(none), about, "no effort (0)", column=columns.name(term))
    kinds = [UNITS.get(u, ("passes", 1.0)) for u in unit]
    kind = np.array([k for k, _ in kinds], dtype=object)
    amount = value * np.array([factor for _, factor in kinds])
    passes = np.where(told & (kind == "passes"), np.maximum(np.round(amount), 1.0), 1.0)
    return np.nan_to_num(passes, nan=1.0), np.where(told & (kind == "hours"), amount, np.nan)


def _number(
    term: str, raw: RawTable, columns: Columns, gate: Gate, about: About, notes: Notes, *,
    zero: bool = False,
) -> Floats:  # fmt: skip
    text = columns.text(raw, term)
    value = numbers(text, decimal_comma=raw.decimal_comma)
    sound: Bools = (value >= 0) if zero else (value > 0)
    bad = (text != "").to_numpy() & ~sound & gate.keep
    row_errors(bad, about, lambda i: f"{text.iloc[i]!r} is no such number.",
               "write a plain number, or nothing", columns.name(term), notes)  # fmt: skip
    return np.where(sound, value, np.nan)
