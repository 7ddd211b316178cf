"""Animals behind the reports that a run counts: what a public edition counts by cells."""

from __future__ import annotations

import hashlib
from collections import defaultdict
from dataclasses import dataclass
from typing import TYPE_CHECKING

import pandas as pd
import shapely

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
    states = findings.reports.states
    same = dict(zip(states["record"], states["same_animal"], strict=True))
    place = shapely.get_coordinates(table.geometry.set_crs(study.crs).to_crs(WGS84).to_numpy())
    rows = pd.DataFrame(
        {
            "record": table["occurrenceID"].astype(str).to_numpy(),
            "key": table[_KEY if _KEY in table else "occurrenceID"].astype(str).to_numpy(),
            "time": pd.to_datetime(table["time"], utc=True).to_numpy(),
            "state": table["vitality"].to_numpy(),
            "cell": [(c, r) for c, r in finest(place[:, 0], place[:, 1]).tolist()],
        }
    )
    animal = [same.get(record, 0) for record in rows["record"]]
    rows["animal"] = [f"of {n}" if n else f"record {r}" for n, r in
                      zip(animal, rows["record"], strict=True)]  # fmt: skip
    repeats = _repeats(study, set(rows["record"]))
    out = []
    for _, reports in rows.sort_values(["time", "record"]).groupby("animal", sort=False):
        seen = set(reports["state"])
        state = "dead" if "dead" in seen else "alive" if "alive" in seen else ""
        keys = [*reports["key"], *(k for record in reports["record"] for k in repeats[record])]
        out.append(CountedAnimal(frozenset(map(_hashed, keys)), reports["cell"].iloc[0], state))
    return out


def _repeats(study: Study, counted: set[str]) -> dict[str, list[str]]:
    """Return the keys of exact repeats by the counted report that says the same.

    Which of them is counted may change with the next decision: the animal stays the same.
    """
    out: dict[str, list[str]] = defaultdict(list)
    if not len(study.sightings):
        return out
    reports = coordinates_of(study.sightings, study.agency_lines)[0]
    _, joined = join_exact_repeats(reports, study.settings.study.time_zone)
    leader = dict(zip(joined["record"], joined["repeat_of"], strict=True))
    alike: dict[str, list[str]] = defaultdict(list)
    key = dict(zip(reports["occurrenceID"], reports[_KEY], strict=True))
    for record in reports["occurrenceID"]:
        alike[leader.get(record, record)].append(record)
    for records in alike.values():
        standing = [record for record in records if record in counted]
        if standing:
            out[standing[0]] = [key[record] for record in records if record not in counted]
    return out


def _hashed(key: str) -> str:
    return hashlib.sha256(key.encode()).hexdigest()[:20]
