"""Decisions applied to the reports: which count, where they are, and why the others don't."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely

from roadrisk.base.crs import WGS84
from roadrisk.base.single_records import OfSingleRecords
from roadrisk.decisions import VERDICTS
from roadrisk.records import schemas
from roadrisk.records.point_tables import EARLIEST_YEAR
from roadrisk.sightings.known_again import KnownAgain, know_again
from roadrisk.sightings.reviewed import CHANGED, UNDECIDED

if TYPE_CHECKING:
    from collections.abc import Mapping

    from numpy.typing import NDArray

    from roadrisk.decisions import Decisions, Entry

    Bools = NDArray[np.bool_]

_MOST_NAMED = 5


@dataclass(frozen=True, eq=False)
class Decided:
    """Reports after decisions.

    Attributes
    ----------
    reports : geopandas.GeoDataFrame
        Those that count: columns of `records.schemas.SIGHTINGS`, index 0..n-1, places moved.
    left_out : pandas.DataFrame
        Those that don't, for a reason given here. Columns: file, row, record, reason. A held
        report that nobody decided on is not in it: reading listed it.
    states : pandas.DataFrame
        One row a report, the sightings first, then those held. Columns: report_key, state (a
        verdict, "undecided" or "changed"), decided_by, decided_at (ISO 8601), reason, moved (bool),
        longitude, latitude (of the move, WGS 84 [degrees], else NaN), entry, place_entry (numbers
        of the entries in the history that this rests on; 0: none).
    pairs : mapping
        `Decisions.pairs` by the keys that the reports have now.
    settled : frozenset of (str, int)
        File and row of held reports whose reason from reading no longer holds: they count, or
        `left_out` gives the later reason.
    notes : tuple of str
    """

    reports: gpd.GeoDataFrame
    left_out: pd.DataFrame
    states: pd.DataFrame
    pairs: Mapping[tuple[str, str], bool]
    settled: frozenset[tuple[str, int]]
    notes: tuple[str, ...]


def apply_decisions(
    sightings: gpd.GeoDataFrame,
    held: gpd.GeoDataFrame | None,
    decisions: Decisions,
    *,
    undecided: Literal["count", "leave out"],
) -> Decided:
    """Apply what people decided.

    An accepted report counts; a held one only with a date and a place that can be used. Reports
    that were rejected, asked back or not sure don't count. A report that nobody decided on, or
    that says something else than when it was decided on, counts as `undecided` says, and not at
    all if it is held.

    Parameters
    ----------
    sightings : geopandas.GeoDataFrame
        Columns of `records.schemas.SIGHTINGS`, working system [m].
    held : geopandas.GeoDataFrame or None
        Columns of `records.schemas.HELD`, the same system.
    decisions : Decisions
    undecided : {"count", "leave out"}

    Returns
    -------
    Decided
    """
    columns = list(schemas.SIGHTINGS.columns)
    parts = [sightings[columns]] + ([held[columns]] if held is not None and len(held) else [])
    table = pd.concat(parts, ignore_index=True) if len(parts) > 1 else parts[0]
    table = table.reset_index(drop=True)
    is_held = np.arange(len(table)) >= len(sightings)
    known = know_again(table["report_key"].tolist(), table["fingerprint"].tolist(), decisions)
    states = _states(table, known)
    moved = _moved(table, states)
    why = _why_left_out(moved, is_held, states, known, undecided)
    silent = is_held & states["state"].isin((UNDECIDED, CHANGED)).to_numpy()
    counts = (why == "") & ~silent
    spoken = (why != "") & ~silent
    lost = table[spoken]
    settled = table[is_held & ~silent]
    return Decided(
        reports=schemas.conform(moved[counts], schemas.SIGHTINGS),
        left_out=pd.DataFrame(
            {
                "file": lost["source_file"],
                "row": lost["source_row"],
                "record": lost["occurrenceID"],
                "reason": why[spoken],
            }
        ).reset_index(drop=True),
        states=states,
        pairs={pair: entry.kind == "same" for pair, entry in known.pairs.items()},
        settled=frozenset(
            (str(file), int(row))
            for file, row in settled[["source_file", "source_row"]].itertuples(index=False)
        ),
        notes=_notes(table, is_held, states, known, decisions, undecided),
    )


def decision_words(entry: Entry) -> str:
    """Return a verdict as a clause, such as "rejected by Ida Reed on 2025-03-04: a stone"."""
    day = f"{entry.at:%Y-%m-%d}"
    words = {
        "accept": f"accepted by {entry.who} on {day}",
        "ask back": f"asked back by {entry.who} on {day}",
        "not sure": f"{entry.who} was not sure on {day}",
        "reject": f"rejected by {entry.who} on {day}",
        "": f"moved by {entry.who} on {day}",
    }[entry.verdict]
    return f"{words}: {entry.reason}" if entry.reason else words


def _states(table: gpd.GeoDataFrame, known: KnownAgain) -> pd.DataFrame:
    n = len(table)
    state, who, at, reason = (np.full(n, text, dtype=object) for text in (UNDECIDED, "", "", ""))
    longitude, latitude = np.full(n, np.nan), np.full(n, np.nan)
    moved, entry, place_entry = np.zeros(n, bool), np.zeros(n, np.int64), np.zeros(n, np.int64)
    # Most of many reports nobody decided on.
    for row, (verdict, place, changed) in enumerate(
        zip(known.verdicts, known.places, known.changed, strict=True)
    ):
        if place is not None:
            place_entry[row] = place.number
            if place.longitude is not None:
                moved[row], longitude[row], latitude[row] = True, place.longitude, place.latitude
        shown = verdict or changed
        if shown is not None:
            state[row] = verdict.verdict if verdict else CHANGED
            who[row], at[row], reason[row] = shown.who, shown.at.isoformat(), shown.reason
            entry[row] = verdict.number if verdict else 0
    texts = {"state": state, "decided_by": who, "decided_at": at, "reason": reason}
    return pd.DataFrame(
        {
            "report_key": table["report_key"].astype(str).to_numpy(object),
            **texts,
            "moved": moved,
            "longitude": longitude,
            "latitude": latitude,
            "entry": entry,
            "place_entry": place_entry,
        }
    ).astype(dict.fromkeys(("report_key", *texts), "str"))


def _moved(table: gpd.GeoDataFrame, states: pd.DataFrame) -> gpd.GeoDataFrame:
    """Put reports where they were moved to; an empty point where the system can't express it."""
    moved = states["moved"].to_numpy()
    if not moved.any():
        return table
    there = gpd.points_from_xy(
        states["longitude"][moved], states["latitude"][moved], crs=WGS84
    ).to_crs(table.crs)
    xy = shapely.get_coordinates(np.asarray(there))
    shapes = table.geometry.to_numpy().copy()
    shapes[moved] = [
        shapely.Point(place) if np.isfinite(place).all() else shapely.Point() for place in xy
    ]
    return table.set_geometry(gpd.GeoSeries(shapes, index=table.index, crs=table.crs))


def _why_left_out(
    table: gpd.GeoDataFrame,
    is_held: Bools,
    states: pd.DataFrame,
    known: KnownAgain,
    undecided: Literal["count", "leave out"],
) -> NDArray[np.object_]:
    """Return why each report doesn't count; "" for those that do."""
    placeless = shapely.is_empty(table.geometry.to_numpy())
    moved = states["moved"].to_numpy()
    why = np.full(len(table), "", dtype=object)
    stated = states["state"].to_numpy(object)
    if undecided == "leave out":
        said = "nobody decided on it, and undecided reports are left out in this study"
        why[stated == UNDECIDED] = said
    for row in np.flatnonzero((stated != UNDECIDED) | moved).tolist():
        state, time = stated[row], table["time"].iloc[row]
        verdict, changed = known.verdicts[row], known.changed[row]
        if state == CHANGED and changed is not None and undecided == "leave out":
            why[row] = (
                f"it says something else now than when it was {_then(changed)}, and undecided "
                "reports are left out in this study"
            )
        elif verdict is not None and state != "accept":
            why[row] = decision_words(verdict)
        elif verdict is not None and is_held[row] and not _is_usable(time, verdict):
            why[row] = (
                f"{decision_words(verdict)}; but its date can't be used: correct it in the file"
            )
        elif verdict is not None and is_held[row] and placeless[row] and not moved[row]:
            why[row] = f"{decision_words(verdict)}; but it has no place: move it to where it was"
        if moved[row] and placeless[row] and not why[row]:
            why[row] = "it was moved to a place that the study's coordinate system can't express"
    return why


def _then(entry: Entry) -> str:
    words = decision_words(entry)
    return words if entry.verdict != "not sure" else f"decided on ({words})"


def _is_usable(time: pd.Timestamp, verdict: Entry) -> bool:
    """Whether an animal can have been seen then: not after somebody decided on the report."""
    return bool(pd.notna(time) and time <= verdict.at and time.year >= EARLIEST_YEAR)


def _notes(
    table: gpd.GeoDataFrame,
    is_held: Bools,
    states: pd.DataFrame,
    known: KnownAgain,
    decisions: Decisions,
    undecided: Literal["count", "leave out"],
) -> tuple[str, ...]:
    count = Counter(states["state"].value_counts().to_dict())
    open_ = states["state"].isin((UNDECIDED, CHANGED)).to_numpy()
    fate = "count" if undecided == "count" else "are left out"
    notes: list[str] = []
    if decisions.history:
        words = zip(VERDICTS, ("accepted", "asked back", "not sure", "rejected"), strict=True)
        said = ", ".join(f"{count[verdict]} {word}" for verdict, word in words)
        notes.append(
            f"Reports that people decided on: {sum(count[v] for v in VERDICTS)} ({said}); "
            f"moved to another place: {int(states['moved'].sum())}."
        )
    if decisions.history or undecided == "leave out":
        kept, held = int((open_ & ~is_held).sum()), int((open_ & is_held).sum())
        more = f"; and {held}, which can't count as they are written" if held else ""
        notes.append(f"Reports without a decision: {kept}, which {fate}{more}.")
    if count[CHANGED]:
        names = table["occurrenceID"][(states["state"] == CHANGED).to_numpy()].tolist()
        notes.append(
            OfSingleRecords(
                "Reports that say something else than when they were decided on, taken as "
                f"undecided: {_named(names)}."
            )
        )
    if known.renamed:
        notes.append(
            "Decided reports that came under another id and were known again by what they say: "
            f"{known.renamed}."
        )
    if known.unclear:
        notes.append(
            OfSingleRecords(
                "Reports that say the same as several which were decided on differently and whose "
                f"ids are gone, taken as undecided: {_named(list(known.unclear))}."
            )
        )
    if known.waiting:
        notes.append(
            f"Decided reports that are not in these files: {known.waiting}; their decisions are "
            "kept."
        )
    return tuple(notes)


def _named(names: list[str]) -> str:
    shown = ", ".join(names[:_MOST_NAMED])
    more = len(names) - _MOST_NAMED
    return f"{shown} and {more} more" if more > 0 else shown
