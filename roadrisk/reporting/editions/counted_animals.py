"""Animals behind the reports that a run counts: what a public edition counts by cells."""

from __future__ import annotations

import hashlib
from collections import defaultdict
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd
import shapely

from roadrisk.base.by_distinct import listed
from roadrisk.base.crs import WGS84
from roadrisk.reporting.editions.grid_cells import finest
from roadrisk.roads.route_measures import coordinates_of
from roadrisk.sightings.repeats import join_exact_repeats

if TYPE_CHECKING:
    from roadrisk.findings import Findings
    from roadrisk.reporting.editions.freezing import Records
    from roadrisk.study import Study

_KEY = "report_key"


@dataclass(frozen=True)
class CountedAnimal:
    """An animal that the run counts.

    Attributes
    ----------
    records : frozenset of str
        Hashes of the keys of its reports, exact repeats among them.
    cell : tuple of int
        Column and row of the finest cell that its first report lies in.
    state : {"alive", "dead", ""}
        Dead if any report says so.
    """

    records: Records
    cell: tuple[int, int]
    state: str


def counted_animals(study: Study, findings: Findings) -> list[CountedAnimal]:
    """Return the animals behind the reports that count, each at its first report.

    Parameters
    ----------
    study : Study
        Whole: its reports tell which are exact repeats of one another.
    findings : Findings
        Whole.

    Returns
    -------
    list of CountedAnimal
        Reports that are rather one animal than not are one.
    """
    table = findings.sightings
    table = table[~(table.geometry.is_empty | table.geometry.isna())]
    if not len(table):
        return []
    place = shapely.get_coordinates(table.geometry.set_crs(study.crs).to_crs(WGS84).to_numpy())
    rows = pd.DataFrame(
        {
            "record": table["occurrenceID"].astype(str).to_numpy(),
            "key": table[_KEY if _KEY in table else "occurrenceID"].astype(str).to_numpy(),
            "time": pd.to_datetime(table["time"], utc=True).to_numpy(),
            "state": table["vitality"].to_numpy(),
            "row": np.arange(len(table)),
        }
    ).sort_values(["time", "record"])
    cells = finest(place[:, 0], place[:, 1])[rows["row"].to_numpy()].tolist()
    of, starts = _by_animal(rows["record"], findings.reports.states)
    records, keys, states = (listed(rows[c].iloc[of]) for c in ("record", "key", "state"))
    repeats = _repeats(study, set(records))
    out = []
    for begin, end in zip(starts, [*starts[1:], len(of)], strict=True):
        seen = states[begin:end]
        state = "dead" if "dead" in seen else "alive" if "alive" in seen else ""
        own = keys[begin:end]
        own += [k for record in records[begin:end] for k in repeats.get(record, ())]
        first = cells[of[begin]]
        out.append(CountedAnimal(frozenset(map(_hashed, own)), (first[0], first[1]), state))
    return out


def _by_animal(record: pd.Series[str], states: pd.DataFrame) -> tuple[list[int], list[int]]:
    """Return rows by animal, in order of its first, and where each animal begins among them."""
    same = states.drop_duplicates("record", keep="last").set_index("record")["same_animal"]
    number = same.reindex(record).fillna(0).to_numpy(np.int64)
    # A report that shares no animal is one of its own.
    own = np.where(number > 0, number, -1 - np.arange(len(number)))
    animal = pd.factorize(own)[0]
    of = np.argsort(animal, kind="stable")
    return of.tolist(), np.flatnonzero(np.diff(animal[of], prepend=-1)).tolist()


def _repeats(study: Study, counted: set[str]) -> dict[str, list[str]]:
    """Return the keys of exact repeats by the counted report that says the same.

    Which of them is counted may change with the next decision: the animal stays the same.
    """
    out: dict[str, list[str]] = {}
    if not len(study.sightings):
        return out
    reports = coordinates_of(study.sightings, study.agency_lines)[0]
    _, joined = join_exact_repeats(reports, study.settings.study.time_zone)
    leader = dict(zip(joined["record"], joined["repeat_of"], strict=True))
    some = reports[reports["occurrenceID"].isin({*leader, *leader.values()})]
    alike: dict[str, list[str]] = defaultdict(list)
    key = dict(zip(some["occurrenceID"], some[_KEY], strict=True))
    for record in some["occurrenceID"]:
        alike[leader.get(record, record)].append(record)
    for records in alike.values():
        standing = [record for record in records if record in counted]
        if standing:
            out[standing[0]] = [key[record] for record in records if record not in counted]
    return out


def _hashed(key: str) -> str:
    return hashlib.sha256(key.encode()).hexdigest()[:20]
