"""Tagged animals that the public saw: matched to their animal, unless it can't have been it."""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd
import shapely

from roadrisk.base.by_distinct import by_distinct
from roadrisk.base.single_records import OfSingleRecords
from roadrisk.records import schema_columns, schemas
from roadrisk.sightings.tag_checks import (
    DATE_ONLY_S,
    KnownAnimals,
    SeenReport,
    seconds_of,
    short,
    utc,
)
from roadrisk.sightings.tag_readings import Reading, TagReader

if TYPE_CHECKING:
    import geopandas as gpd

    from roadrisk.settings import Settings
    from roadrisk.species import Profile

MATCHES = ("report_key", "organismID", "read_as", "where", "in_track")
"""read_as: the tag as it was written, and how it was read where that isn't the animal's id.
where: "organismID" or "remark". in_track (bool): the animal was being tracked then."""

FOUND_DEAD = ("organismID", "last_alive", "last_alive_by", "found_dead", "report_key")
"""last_alive, found_dead: times (UTC). last_alive_by: "fix" or "report". report_key: of the report
that says dead."""

SEEN_BY_THE_PUBLIC = "seen by the public"
UNKNOWN, IMPOSSIBLE = "tag-unknown", "tag-impossible"
TAG_DOUBTS = (UNKNOWN, IMPOSSIBLE)
"""Kinds of doubts about tags. Their words name animals: show them where tags may be shown."""

_MAY_BE_TAG = re.compile(r"\d|\b(?:tag|transmitter|antenna|label|mark)", re.IGNORECASE)
# How likely a doubt about the tag means that the report can't count as written: a choice.
_CHANCE = {UNKNOWN: 0.05, IMPOSSIBLE: 0.2}


@dataclass(frozen=True, eq=False)
class Tagged:
    """Tagged animals that reports name.

    Attributes
    ----------
    matches : pandas.DataFrame
        Columns `MATCHES`, one row a report that was matched.
    doubts : pandas.DataFrame
        Columns of `screening.DOUBTS`: readings that fit no animal or several, and animals that
        can't have been there.
    opportunistic : geopandas.GeoDataFrame
        Columns of `records.schemas.FIXES`, method "seen by the public", one row a matched report
        with a time and a place. Only to be shown: see `match_tags`.
    histories : pandas.DataFrame
        Columns `FOUND_DEAD`, one row an animal that was alive and was then reported dead: its
        history, and no report made twice.
    notes : tuple of str
        Sentences on how many were matched and what they are used for; none without a reading.
    """

    matches: pd.DataFrame
    doubts: pd.DataFrame
    opportunistic: gpd.GeoDataFrame
    histories: pd.DataFrame
    notes: tuple[str, ...]


def match_tags(
    reports: gpd.GeoDataFrame,
    animals: pd.DataFrame,
    fixes: gpd.GeoDataFrame,
    settings: Settings,
    profile: Profile,
) -> Tagged:
    """Match tags that people read on an animal to the tagged animals.

    Parameters
    ----------
    reports : geopandas.GeoDataFrame
        Columns of `records.schemas.SIGHTINGS`, projected [m]. Held reports may be among them: one
        without a time or a place is matched by its tag and sex alone.
    animals : pandas.DataFrame
        Columns of `records.schemas.ANIMALS`.
    fixes : geopandas.GeoDataFrame
        Columns of `records.schemas.FIXES`, in the same system: scheduled fixes only.
    settings : Settings
        An animal with a fix within `[crossings] longest_step_days` before and after a report was
        being tracked then; units and time zone of the words.
    profile : Profile
        Of the species: how far an animal can have gone.

    Returns
    -------
    Tagged

    Notes
    -----
    A report counts as a match where its reading fits exactly one animal (`tag_readings`) and
    nothing speaks against it: sexes that disagree; a place that the animal can't have reached
    from its nearest fixes in time, with an hour at the upper end of the profile's walking speed,
    all other active time at the upper end of its path speed, always straight on, and both
    uncertainties besides; alive after it was reported dead, or dead at two places; or fixes that
    moved after it was.
    A number in a remark that need not be a tag ("number 7") counts only for an animal whose fixes
    put it near at the time. There is no guess: two animals that fit are a doubt.

    Opportunistic fixes must not enter the movement process, home ranges or crossing rates. People
    see animals on and beside roads, and where they are seen decides that there is a fix at all:
    tracks with such fixes would cross roads more often than the animals did.
    """
    names = sorted({*animals["organismID"], *fixes["organismID"]} - {""})
    known = KnownAnimals(
        animals,
        fixes,
        profile=profile,
        longest_step_days=settings.crossings.longest_step_days,
        units=settings.study.units,
        zone=settings.study.time_zone,
    )
    readings = _read(reports, TagReader(names))
    rows: dict[int, tuple[Any, ...]] = {}
    doubts: dict[int, tuple[str, str]] = {}
    table = _reports(reports, readings)
    # The dead first, in order of time: what was seen alive later is held against them.
    for i in sorted(readings, key=lambda i: (table[i].vitality != "dead", _when(table[i]), i)):
        sure = [r for r in readings[i] if r.sure]
        chosen, words = _one_animal(sure or list(readings[i]))
        if chosen is None:
            if sure:
                doubts[i] = (UNKNOWN, words)
            continue
        animal, report = chosen.animals[0], table[i]
        against = known.against(animal, report)
        if not sure and (against or not known.in_track(animal, report)):
            continue
        if against:
            said = f'The tag, read as "{short(chosen.written)}", fits {animal}; but '
            doubts[i] = (IMPOSSIBLE, said + "; and ".join(against) + ". Not matched.")
            continue
        if report.vitality == "dead":
            known.reported_dead(animal, report)
        where = chosen.where
        rows[i] = (report.key, animal, _read_as(chosen), where, known.in_track(animal, report))
    matches = pd.DataFrame([rows[i] for i in sorted(rows)], columns=list(MATCHES))
    matches = matches.astype({"in_track": bool})
    opportunistic = _as_fixes(reports, {i: str(row[1]) for i, row in rows.items()})
    alive = [(str(rows[i][1]), table[i]) for i in sorted(rows) if table[i].vitality == "alive"]
    histories = _histories(known, alive)
    notes = _notes(matches, len(doubts), histories)
    return Tagged(matches, _doubts(reports, doubts), opportunistic, histories, notes)


def _when(report: SeenReport) -> float:
    return report.time if np.isfinite(report.time) else np.inf


def _read(reports: gpd.GeoDataFrame, reader: TagReader) -> dict[int, tuple[Reading, ...]]:
    tags, remarks = reports["organismID"], reports["occurrenceRemarks"]
    # Most reports say nothing that could be a tag.
    some = (tags != "") | by_distinct(remarks, lambda text: text.str.contains(_MAY_BE_TAG))
    found = {
        int(i): reader.read(tags.iloc[i], remarks.iloc[i]) for i in np.flatnonzero(some.to_numpy())
    }
    return {i: readings for i, readings in found.items() if readings}


def _one_animal(readings: list[Reading]) -> tuple[Reading | None, str]:
    """Return the reading that gives the one animal that all of them fit, or why there is none."""
    single = [r for r in readings if len(r.animals) == 1]
    several = [r for r in readings if len(r.animals) > 1]
    unread = [r for r in readings if not r.animals and any(c.isdecimal() for c in r.written)]
    fits = sorted({r.animals[0] for r in single})
    ask = " Not matched: ask for the tag as it is written, best with a photo."
    if len(fits) > 1:
        return None, f"The report names tags of several animals: {', '.join(fits)}.{ask}"
    if single and not unread and all(fits[0] in r.animals for r in several):
        return single[0], ""
    if single:
        other = (unread or several)[0].written
        words = f'The report names {fits[0]} and "{short(other)}" besides, which is not the same.'
        return None, words + ask
    if several:
        animals = ", ".join(several[0].animals)
        return None, f'The tag "{short(several[0].written)}" may be any of {animals}.{ask}'
    return None, f'No tagged animal has the tag "{short(readings[0].written)}".{ask}'


def _read_as(reading: Reading) -> str:
    written = short(reading.written)
    return f"{written} ({reading.how})" if reading.how else written


def _reports(
    reports: gpd.GeoDataFrame, readings: dict[int, tuple[Reading, ...]]
) -> dict[int, SeenReport]:
    some = reports.iloc[list(readings)]
    placed = ~(some.geometry.is_empty | some.geometry.isna()).to_numpy()
    xy = np.full((len(some), 2), np.nan)
    xy[placed] = shapely.get_coordinates(some.geometry.to_numpy()[placed])
    time = seconds_of(some["time"])
    slack = np.where(some["time_known"], 0.0, DATE_ONLY_S)
    radius = some["coordinateUncertaintyInMeters"].to_numpy(np.float64)
    words = some[["report_key", "vitality", "sex"]].to_numpy(object)
    return {
        i: SeenReport(str(words[n, 0]), float(time[n]), float(slack[n]), xy[n], float(radius[n]),
                   str(words[n, 1]), str(words[n, 2]))
        for n, i in enumerate(readings)
    }  # fmt: skip


def _as_fixes(reports: gpd.GeoDataFrame, animal: dict[int, str]) -> gpd.GeoDataFrame:
    rows = sorted(animal)
    some = reports.iloc[rows].assign(
        organismID=[animal[i] for i in rows], method=SEEN_BY_THE_PUBLIC
    )
    usable = some["time"].notna() & ~(some.geometry.is_empty | some.geometry.isna())
    if not usable.any():
        return schemas.empty(schemas.FIXES, reports.crs)
    return schemas.conform(some[usable], schemas.FIXES)


def _histories(known: KnownAnimals, alive: list[tuple[str, SeenReport]]) -> pd.DataFrame:
    rows = []
    for animal, dead in sorted(known.dead.items()):
        seen = [(r.time, "report") for a, r in alive if a == animal and r.time <= dead.time]
        last_fix = known.last_fix(animal, dead.time)
        seen += [(last_fix, "fix")] if np.isfinite(last_fix) else []
        if seen:
            time, by = max(seen)
            rows.append((animal, utc(time), by, utc(dead.time), dead.key))
    table = pd.DataFrame(rows, columns=list(FOUND_DEAD))
    return table.astype(
        {"last_alive": schema_columns.UTC_TIME, "found_dead": schema_columns.UTC_TIME}
    )


def _notes(matches: pd.DataFrame, doubts: int, histories: pd.DataFrame) -> tuple[str, ...]:
    notes: list[str] = []
    if len(matches):
        animals, tracked = matches["organismID"].nunique(), int(matches["in_track"].sum())
        notes.append(
            f"Reports matched to tagged animals by their tag: {len(matches)}, of {animals} "
            f"animal{'s' * (animals != 1)}; {tracked} while the animal was being tracked. They "
            "stay out of the animals' paths and crossing-days: people see animals at roads, and "
            "such fixes would make animals look as if they crossed more."
        )
    if doubts:
        notes.append(f"Reports with a tag that could not be matched: {doubts} (see the doubts).")
    if len(histories):
        names = ", ".join(histories["organismID"])
        notes.append(
            OfSingleRecords(f"Tagged animals found dead after they were known alive: {names}.")
        )
    return tuple(notes)


def _doubts(reports: gpd.GeoDataFrame, found: dict[int, tuple[str, str]]) -> pd.DataFrame:
    rows = sorted(found)
    return pd.DataFrame(
        {
            "report_key": pd.Series([reports["report_key"].iloc[i] for i in rows], dtype=str),
            "kind": pd.Series([found[i][0] for i in rows], dtype=str),
            "words": pd.Series([found[i][1] for i in rows], dtype=str),
            "proposed_longitude": np.full(len(rows), np.nan),
            "proposed_latitude": np.full(len(rows), np.nan),
            "chance": np.array([_CHANCE[found[i][0]] for i in rows], np.float64),
        }
    )
