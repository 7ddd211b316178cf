"""Rows of the review workbook: what a volunteer sees of each report, in words."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

from roadrisk.base.units import M_PER_FOOT
from roadrisk.errors import RoadriskError
from roadrisk.records.review_columns import (
    ASKED,
    DECIDED_ALREADY,
    EXACT_REPEAT,
    LATITUDE,
    LONGITUDE,
    MARK,
    NEW_LATITUDE,
    NEW_LONGITUDE,
    NOT_SAME_AS,
    NUMBER,
    REASON,
    REPORT,
    SAME_AS,
    TOKEN,
    VERDICT,
    shown,
    token,
)
from roadrisk.sightings.reviewed import CHANGED
from roadrisk.sightings.tags import TAG_DOUBTS

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence
    from zoneinfo import ZoneInfo

    from roadrisk.base.units import Units
    from roadrisk.settings import StudySection
    from roadrisk.sightings.reviewed import Reviewed

WHEN, STATE, DETAILS = "Date and time", "Alive or dead", "As described"
PLACE, UNCERTAINTY, DISTANCE = "Place", "Exact to", "From the road"
DOUBTS, REMARK, PHOTOS, SENDER = "Doubts", "Remark", "Photos", "Sender"
MATES = "Perhaps the same animal as"
PROPOSED_LATITUDE, PROPOSED_LONGITUDE = "Proposed latitude", "Proposed longitude"

WIDTHS: Mapping[str, float] = {
    NUMBER: 5, REPORT: 12, WHEN: 12, STATE: 8, DETAILS: 16, PLACE: 22, DOUBTS: 34, REMARK: 34,
    PHOTOS: 12, SENDER: 8, LATITUDE: 9, LONGITUDE: 9, UNCERTAINTY: 8, DISTANCE: 8, MATES: 16,
    VERDICT: 12, REASON: 30, NEW_LATITUDE: 12, NEW_LONGITUDE: 12, PROPOSED_LATITUDE: 12,
    PROPOSED_LONGITUDE: 12, SAME_AS: 16, NOT_SAME_AS: 16, TOKEN: 5, MARK: 5, ASKED: 5,
}  # fmt: skip
"""Headings in their order, with widths [characters]."""

# Below it a link isn't worth a volunteer's time: the chance that two reports are of one animal.
LEAST_SHOWN = 0.05
_MOST_MATES = 10
# Of degrees: about 0.1 m.
_DECIMALS = 6
_VITALITY = {"alive": "alive", "dead": "dead", "mixedLot": "alive and dead ones",
             "uncertain": "not sure", "notAssessed": ""}  # fmt: skip


@dataclass(frozen=True)
class Row:
    """One row of the sheet.

    Attributes
    ----------
    asked : bool
        Whether it waits for a decision; else it is shown for comparison.
    cells : dict
        By heading: printable text, whole numbers and degrees; what is empty is missing.
    """

    asked: bool
    cells: dict[str, str | int | float]


def review_rows(
    reviewed: Reviewed, study: StudySection, share: tuple[int, int] = (1, 1)
) -> list[Row]:
    """Return the rows of the sheet: the queue, each report's group behind it.

    Parameters
    ----------
    reviewed : Reviewed
    study : StudySection
        Its units and its time zone.
    share : (int, int)
        (2, 3): the second of three parts. Groups are dealt out in the order of the queue, so
        parts are about equally important, and no two parts ask about the same report.

    Returns
    -------
    list of Row

    Raises
    ------
    RoadriskError
        A share that can't be.
    """
    part, parts = share
    if not 1 <= part <= parts:
        raise RoadriskError(f"--share {part}/{parts}: write such as 1/3, 2/3 and 3/3")
    order = _in_order(reviewed, part, parts)
    table = reviewed.reports.set_index("report_key", drop=False)
    names = _unique_names(table.loc[order, "occurrenceID"])
    queue = set(reviewed.queue)
    words = _doubts(reviewed.doubts)
    proposed = _proposals(reviewed)
    mates = _mates(reviewed, names)
    senders = _senders(table.loc[order, "recordedBy"])
    rows = []
    for number, (key, record) in enumerate(
        zip(order, table.loc[order].to_dict("records"), strict=True), 1
    ):
        asked = key in queue
        cells = _cells(record, study)
        cells |= {
            NUMBER: number, REPORT: names[key], SENDER: senders[key], MATES: mates.get(key, ""),
            DOUBTS: _doubts_text(record, words.get(key, [])),
            TOKEN: token(key), MARK: str(record["fingerprint"]), ASKED: str(int(asked)),
        }  # fmt: skip
        if not asked:
            repeat = record["repeat_of"] != ""
            cells[VERDICT] = EXACT_REPEAT if repeat else DECIDED_ALREADY
        if key in proposed:
            cells[PROPOSED_LATITUDE], cells[PROPOSED_LONGITUDE] = proposed[key]
        rows.append(Row(asked, {k: v for k, v in cells.items() if v != ""}))
    return rows


def _in_order(reviewed: Reviewed, part: int, parts: int) -> list[str]:
    """Return the keys of the sheet's reports: queue order, mates behind the first of a group."""
    table = reviewed.reports
    group = dict(zip(table["report_key"], table["group"].tolist(), strict=True))
    members: dict[int, list[str]] = {}
    for key in table["report_key"]:
        members.setdefault(group[key], []).append(key)
    place = {key: n for n, key in enumerate(reviewed.queue)}
    groups = list(dict.fromkeys(group[key] for key in reviewed.queue))
    mine = groups[part - 1 :: parts]
    return [key for g in mine for key in sorted(members[g], key=lambda k: place.get(k, len(place)))]


def _unique_names(ids: pd.Series[str]) -> dict[str, str]:
    """Return what reports are called on the sheet: ids made printable, and still told apart.

    Where several would look the same, each has a number, so that the plain name means none of
    them. Nothing is called like a row ("#7") or like two reports ("a; b").
    """
    plain = {str(key): _plain_name(str(given)) for key, given in ids.items()}
    count = Counter(name.casefold() for name in plain.values())
    taken = {name for name, times in count.items() if times == 1}
    names: dict[str, str] = {}
    for key, name in plain.items():
        unique, number = name, 1
        while count[name.casefold()] > 1 and (unique == name or unique.casefold() in taken):
            unique, number = f"{name} ({number})", number + 1
        taken.add(unique.casefold())
        names[key] = unique
    return names


def _plain_name(given: str) -> str:
    name = shown(given, 60).replace(";", ",").strip() or "no name"
    return f"report {name}" if name.startswith("#") else name


def _senders(names: pd.Series[str]) -> dict[str, str]:
    """Return "sender 1", "sender 2", ... in place of names: who sent several is seen, who not."""
    number: dict[str, int] = {}
    found = {}
    for key, name in names.items():
        plain = str(name).strip().casefold()
        found[str(key)] = f"sender {number.setdefault(plain, len(number) + 1)}" if plain else ""
    return found


def _cells(record: dict[Any, Any], study: StudySection) -> dict[str, str | int | float]:
    units = study.units
    cells: dict[str, str | int | float] = {
        WHEN: _when(record, study.zone),
        STATE: _VITALITY[record["vitality"]],
        DETAILS: _details(record),
        PLACE: shown(record["place"] or record["road"], 300),
        REMARK: shown(record["occurrenceRemarks"]),
        PHOTOS: shown(record["associatedMedia"], 1000),
        UNCERTAINTY: _metres(record["coordinateUncertaintyInMeters"], units),
        DISTANCE: _metres(record["distance_m"], units),
    }
    if np.isfinite(record["latitude"]) and np.isfinite(record["longitude"]):
        for heading, name in ((LATITUDE, "latitude"), (LONGITUDE, "longitude")):
            cells[heading] = round(float(record[name]), _DECIMALS)
    return cells


def _when(record: dict[Any, Any], zone: ZoneInfo) -> str:
    """Return the local date and time; as it was written where that is no date."""
    if pd.isna(record["time"]):
        return shown(record["eventDate"], 100)
    local = record["time"].tz_convert(zone)
    return f"{local:%Y-%m-%d %H:%M}" if record["time_known"] else f"{local:%Y-%m-%d}"


def _details(record: dict[Any, Any]) -> str:
    length = record["length_mm"]
    parts = [
        record["scientificName"], record["sex"], record["lifeStage"],
        record["reproductiveCondition"], record["behavior"],
        f"{length:.0f} mm" if np.isfinite(length) else "",
        f"iris {record['iris_colour']}" if record["iris_colour"] else "",
        f"plastron {record['plastron_shape']}" if record["plastron_shape"] else "",
        f"carcass {record['carcass_action']}" if record["carcass_action"] else "",
        f"side: {record['side']}" if record["side"] else "",
    ]  # fmt: skip
    return "; ".join(text for part in parts if (text := shown(str(part), 100)))


def _metres(value: float, units: Units) -> str:
    if not np.isfinite(value):
        return ""
    return f"{value / M_PER_FOOT:.0f} ft" if units == "us" else f"{value:.0f} m"


def _doubts(doubts: pd.DataFrame) -> dict[str, list[str]]:
    """Return the doubts of each report in words; none that names a tagged animal."""
    found: dict[str, list[str]] = {}
    told = doubts[~doubts["kind"].isin(TAG_DOUBTS)]
    for key, words in zip(told["report_key"], told["words"], strict=True):
        found.setdefault(key, []).append(shown(words, 1000))
    return found


def _doubts_text(record: dict[Any, Any], words: Sequence[str]) -> str:
    lines = []
    if record["state"] == CHANGED:
        lines.append("It was decided on before and says something else now.")
    if record["held_because"]:
        if not words:
            lines.append(f"It can't count as written: {shown(record['held_because'], 500)}.")
        if record["given_position"]:
            lines.append(f"Position as written: {shown(record['given_position'], 200)}")
    lines += words
    return shown_lines(lines)


def shown_lines(lines: Sequence[str]) -> str:
    """Return lines as a list in one cell: a bullet before each where there are several."""
    return "\n".join(f"• {line}" for line in lines) if len(lines) > 1 else "".join(lines)


def _proposals(reviewed: Reviewed) -> dict[str, tuple[float, float]]:
    """Return latitude and longitude that may have been meant, by report."""
    found: dict[str, tuple[float, float]] = {}
    for table in (reviewed.reports, reviewed.doubts):
        columns = table[["report_key", "proposed_latitude", "proposed_longitude"]]
        for key, lat, lon in columns.dropna().itertuples(index=False):
            found.setdefault(key, (round(float(lat), _DECIMALS), round(float(lon), _DECIMALS)))
    return found


def _mates(reviewed: Reviewed, names: Mapping[str, str]) -> dict[str, str]:
    """Return which other reports of the sheet may be of the same animal, the likeliest first."""
    links = reviewed.links[reviewed.links["probability"] >= LEAST_SHOWN]
    found: dict[str, list[tuple[float, str]]] = {}
    for a, b, chance in links[["a", "b", "probability"]].itertuples(index=False):
        if a in names and b in names:
            found.setdefault(a, []).append((-chance, names[b]))
            found.setdefault(b, []).append((-chance, names[a]))
    return {
        key: "\n".join(
            f"{name} (chance {-chance:.0%})" for chance, name in sorted(some)[:_MOST_MATES]
        )
        for key, some in found.items()
    }
