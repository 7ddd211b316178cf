"""Proposing how a stranger's table maps onto a study: for a person to confirm, never applied."""

from __future__ import annotations

import difflib
from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal
from zoneinfo import ZoneInfo

from roadrisk.errors import InputError, Remark
from roadrisk.records.columns import TERMS
from roadrisk.records.dates import only_order, read_dates
from roadrisk.records.raw_table import Notes, RawTable
from roadrisk.records.synonyms import SYNONYMS, fold
from roadrisk.records.table_files import read_raw
from roadrisk.records.value_checks import fits
from roadrisk.table_settings import TableSection

if TYPE_CHECKING:
    import datetime as dt
    from pathlib import Path

    import pandas as pd

    from roadrisk.table_settings import DateOrder

Table = Literal["animals", "fixes", "sightings", "traffic"]
Coordinates = Literal["degrees", "projected", "route", "geometry", "none"]

TABLES: tuple[Table, ...] = ("animals", "fixes", "sightings", "traffic")
# How much a term speaks for a table, beside the positions and dates that points have.
_TELLING: dict[Table, dict[str, float]] = {
    "animals": {"organismID": 1, "mass_g": 2, "transmitter_mass_g": 2, "tag_channel": 2},
    "fixes": {"organismID": 1, "method": 1},
    "sightings": {"vitality": 2, "recordedBy": 2, "occurrenceID": 0.5, "scientificName": 0.5},
    "traffic": {"aadt": 5, "begin_measure": 0.5},
}
_LEAST = 0.6


@dataclass(frozen=True)
class Match:
    """One column and what it seems to be.

    Attributes
    ----------
    theirs : str
        The file's column.
    term : str
        Our term.
    example : str
        The column's first value.
    why : str
        In plain words.
    """

    theirs: str
    term: str
    example: str
    why: str


@dataclass(frozen=True)
class Proposal:
    """How a file could be read; `dataclasses.replace` it with what the user says.

    Attributes
    ----------
    file : pathlib.Path
    table : {"animals", "fixes", "sightings", "traffic"}
    matches : tuple of Match
    unused : tuple of str
        Columns that nothing is made of.
    coordinates : {"degrees", "projected", "route", "geometry", "none"}
    crs : str or None
        Must be asked of the user where `coordinates` is "projected".
    date_order : {"day-first", "month-first", "year-first"} or None
        Only where the dates prove it.
    ask_date_order : bool
        The dates need an order and don't prove one.
    first_day, last_day : datetime.date or None
        Of the dates that could be read.
    delimiter, encoding, sheet : str or None
        As found; `encoding` only where it is not UTF-8.
    rows : int
    remarks : tuple of Remark
        Doubts from reading.
    """

    file: Path
    table: Table
    matches: tuple[Match, ...]
    unused: tuple[str, ...]
    coordinates: Coordinates
    crs: str | None
    date_order: DateOrder | None
    ask_date_order: bool
    first_day: dt.date | None
    last_day: dt.date | None
    delimiter: str | None
    encoding: str | None
    sheet: str | None
    rows: int
    remarks: tuple[Remark, ...]


def propose(file: Path) -> Proposal:
    """Propose which table a file is and what its columns are.

    Parameters
    ----------
    file : pathlib.Path
        Of any kind that a study's tables may have.

    Returns
    -------
    Proposal

    Raises
    ------
    InputError
        If the file can't be read.
    """
    notes = Notes(file.name)
    raw = None
    if not file.is_file():
        notes.error("there is no such file.", "correct the name")
    else:
        raw = read_raw(file, file.name, TableSection(file=(file.name,)), notes)
    if raw is None:
        raise InputError(r for r in notes.remarks if r.kind == "error")
    best = max(TABLES, key=lambda table: _score(table, _matches(table, raw), raw))
    matches = _matches(best, raw)
    terms = {m.term: m.theirs for m in matches}
    order, ask, first, last = _dates(raw, terms.get("eventDate"))
    return Proposal(
        file=file,
        table=best,
        matches=matches,
        unused=tuple(c for c in raw.frame.columns if c not in terms.values()),
        coordinates=_coordinates(terms, raw),
        crs=None,
        date_order=order,
        ask_date_order=ask,
        first_day=first,
        last_day=last,
        delimiter=raw.delimiter,
        encoding=None if raw.encoding == "utf-8" else raw.encoding,
        sheet=raw.sheet,
        rows=len(raw),
        remarks=tuple(notes.remarks),
    )


def _matches(table: Table, raw: RawTable) -> tuple[Match, ...]:
    """Best pairs of column and term first; every column and term is used once."""
    pairs = []
    for place, column in enumerate(raw.frame.columns):
        for term in TERMS[table]:
            if raw.xy is not None and term in ("x", "y", "decimalLatitude", "decimalLongitude"):
                continue
            likeness, why = _likeness(str(column), term)
            suits = fits(raw.frame[column], term, raw)
            if likeness >= _LEAST and suits is not False:
                pairs.append((likeness + (0.1 if suits else 0), -place, str(column), term, why))
            elif suits and term == "vitality":
                pairs.append((0.5, -place, str(column), term, "its values are words for it"))
    pairs.sort(reverse=True)
    found: dict[str, Match] = {}
    used: set[str] = set()
    for _, _, column, term, why in pairs:
        if term not in found and column not in used:
            found[term] = Match(column, term, _example(raw.frame[column]), why)
            used.add(column)
    _find_dates(table, raw, found, used)
    _keep_one_kind(found)
    return tuple(found[t] for t in TERMS[table] if t in found)


def _likeness(column: str, term: str) -> tuple[float, str]:
    name = fold(column)
    if name == fold(term) or column.casefold() == term.casefold():
        return 1.0, "the same name"
    known = SYNONYMS.get(term, ())
    if name in known:
        # Names that stand first in the list are the surer ones.
        return 0.9 - 0.01 * known.index(name), f"{column!r} is a usual name for it"
    near = difflib.get_close_matches(name, [fold(term), *known], 1, cutoff=0.84)
    if near and len(name) > 3:
        return 0.7, f"its name is like {near[0]!r}"
    return 0.0, ""


def _find_dates(table: Table, raw: RawTable, found: dict[str, Match], used: set[str]) -> None:
    """Look for dates by their values where no name gives them away."""
    if "eventDate" not in TERMS[table] or "eventDate" in found:
        return
    for column in raw.frame.columns:
        text = raw.frame[column]
        some = text[text != ""].head(200)
        if column in used or some.empty or some.str.isdigit().all():
            continue
        if fits(some, "eventDate", raw):
            found["eventDate"] = Match(column, "eventDate", _example(text), "its values are dates")
            return


def _keep_one_kind(found: dict[str, Match]) -> None:
    """Keep degrees or metres, not both, and no half of a pair."""
    if "decimalLatitude" in found and "decimalLongitude" in found:
        drop = {"x", "y", "easting", "northing"}
    else:
        drop = {"decimalLatitude", "decimalLongitude"}
        for one, two in (("x", "y"), ("easting", "northing")):
            drop |= set() if one in found and two in found else {one, two}
        if "x" in found and "x" not in drop:
            drop |= {"easting", "northing"}
    for term in drop:
        found.pop(term, None)


def _score(table: Table, matches: tuple[Match, ...], raw: RawTable) -> float:
    terms = {m.term: m.theirs for m in matches}
    score = sum(_TELLING[table].get(t, 0.1) for t in terms)
    if table in ("fixes", "sightings"):
        placed = _coordinates(terms, raw) != "none"
        score += (2 if placed else -3) + (1.5 if "eventDate" in terms else -1)
    if table == "fixes":
        # Many rows an animal are fixes; one row each are reports.
        ids = raw.frame[terms["organismID"]] if "organismID" in terms else None
        repeated = ids is not None and ids.nunique() <= 0.5 * len(ids)
        score += 1.5 if repeated else -1.5
    return score


def _coordinates(terms: dict[str, str], raw: RawTable) -> Coordinates:
    if "decimalLatitude" in terms:
        return "degrees"
    if "x" in terms or "easting" in terms:
        return "projected"
    if raw.xy is not None:
        return "geometry"
    return "route" if "route" in terms and "route_measure" in terms else "none"


def _dates(
    raw: RawTable, column: str | None
) -> tuple[DateOrder | None, bool, dt.date | None, dt.date | None]:
    if column is None:
        return None, False, None, None
    text = raw.frame[column]
    plain = read_dates(text, ZoneInfo("UTC"), None)
    order: DateOrder | None = None
    if plain.ordered.any():
        proven = only_order(text[plain.ordered])
        order = "day-first" if proven == "day-first" else None
        order = "month-first" if proven == "month-first" else order
    day = read_dates(text, ZoneInfo("UTC"), order).day.dropna()
    ask = bool(plain.ordered.any()) and order is None
    if day.empty or ask:
        return order, ask, None, None
    return order, ask, day.min().date(), day.max().date()


def _example(text: pd.Series[str]) -> str:
    some = text[text != ""]
    return str(some.iloc[0])[:60] if len(some) else ""
