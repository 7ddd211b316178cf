"""One report in words, as the page shows it."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any
from zoneinfo import ZoneInfo

import numpy as np
import pandas as pd

from roadrisk.base.units import Units, length_words
from roadrisk.review.shown_text import shown
from roadrisk.sightings.reviewed import CHANGED, UNDECIDED

if TYPE_CHECKING:
    from datetime import datetime

STATES = {
    UNDECIDED: "Not decided yet",
    CHANGED: "Changed since it was decided on",
    "accept": "Accepted",
    "ask back": "Asked back",
    "not sure": "Not sure",
    "reject": "Rejected",
}
_VITALITY = {
    "alive": "Alive", "dead": "Dead", "mixedLot": "Several, alive and dead",
    "uncertain": "Alive or dead: not sure", "notAssessed": "Alive or dead: not said",
}  # fmt: skip
_MORE = (
    ("Breeding", "reproductiveCondition"), ("Behaviour", "behavior"),
    ("Iris colour", "iris_colour"), ("Plastron shape", "plastron_shape"),
    ("Carcass", "carcass_action"), ("Found by", "samplingProtocol"), ("Species", "scientificName"),
    ("Checked", "identificationVerificationStatus"),
)  # fmt: skip
# Nearer than this a report is beside its road, farther it is away from it; for the words only.
BESIDE_M = 60.0
# Short texts: a name or a word. A remark may be longer.
_SHORT = 120


def when_words(time: Any, given: str, *, time_known: bool, zone: str) -> str:
    """Return a date in local time: "Mon 3 April 2023, 07:53"; what was written if unreadable."""
    if pd.isna(time):
        return f"{shown(given, _SHORT)} (can't be read)" if given.strip() else "not given"
    local = pd.Timestamp(time).tz_convert(ZoneInfo(zone))
    day = f"{local:%a} {local.day} {local:%B} {local.year}"
    return f"{day}, {local:%H:%M}" if time_known else f"{day}, time of day not given"


def moment_words(at: datetime, zone: str) -> str:
    """Return when something was decided, in local time."""
    local = at.astimezone(ZoneInfo(zone))
    return f"{local.day} {local:%B} {local.year}, {local:%H:%M}"


def title_words(row: dict[str, Any]) -> str:
    """Return what was seen in a few words: "Dead, female, adult"."""
    parts = [_VITALITY.get(row["vitality"], row["vitality"]), row["sex"], row["lifeStage"]]
    return ", ".join(shown(p.strip(), _SHORT) for p in parts if p.strip())


def where_words(row: dict[str, Any], units: Units) -> str:
    """Return where a report lies, by roads."""
    if not np.isfinite(row["longitude"]):
        return "no place that can be used"
    if not np.isfinite(row["distance_m"]):
        return "far from every road"
    place = str(row["place"]) or str(row["road"]) or "a road without a name"
    far = near_words(float(row["distance_m"]), units)
    if row["distance_m"] > BESIDE_M:
        return f"{far} from the nearest road: {shown(place, 300)}"
    return f"{shown(place, 300)}; {far} from the road's middle"


def near_words(metres: float, units: Units) -> str:
    """Return a distance; to the metre where it is short."""
    if metres < 100 and units == "metric":
        return f"{metres:.0f} m"
    return length_words(metres, units)


def fact_words(row: dict[str, Any], zone: str, units: Units) -> list[list[str]]:
    """Return what was reported as pairs of label and words; what wasn't said is left out."""
    facts = [
        ["When", when_words(row["time"], row["eventDate"], time_known=row["time_known"],
                            zone=zone)],
        ["Where", where_words(row, units)],
    ]  # fmt: skip
    if row["given_position"].strip():
        facts.append(["Position as written", shown(row["given_position"], _SHORT)])
    if row["route"].strip():
        measure = row["route_measure"]
        at = f" at {measure:g}" if np.isfinite(measure) else ""
        facts.append(["Route as written", f"{shown(row['route'], _SHORT)}{at}"])
    within = near_words(float(row["coordinateUncertaintyInMeters"]), units)
    facts.append(["Accuracy", f"within {within}"])
    if np.isfinite(row["length_mm"]):
        facts.append(["Size", f"{row['length_mm']:g} mm"])
    facts += [[label, shown(row[name], _SHORT)] for label, name in _MORE if row[name].strip()]
    return [*facts, ["Report", name_words(row)]]


def name_words(row: dict[str, Any]) -> str:
    """Return what a report is called and where it is written: "R-07; row 8 of reports.csv"."""
    line = f"row {row['source_row']} of {shown(row['source_file'], _SHORT)}"
    name = shown(row["occurrenceID"].strip(), _SHORT)
    return f"{name}; {line}" if name else line


def chance_words(probability: float) -> str:
    """Return how likely two reports are of one animal, in words and as a number.

    The words' limits are choices; the number stands beside them.
    """
    limits = (
        (0.95, "almost certainly"), (0.75, "probably"), (0.5, "rather yes than no"),
        (0.25, "rather no than yes"), (0.05, "probably not"), (0.0, "hardly"),
    )  # fmt: skip
    word = next(w for least, w in limits if probability >= least)
    if probability > 0.99:
        return f"{word} (over 99 in 100)"
    if probability < 0.01:
        return f"{word} (under 1 in 100)"
    return f"{word} ({100 * probability:.0f} in 100)"


def lag_words(seconds: float) -> str:
    """Return how much later (or earlier) another report is."""
    if not np.isfinite(seconds):
        return "date unknown"
    size, word = abs(seconds), "later" if seconds > 0 else "earlier"
    if size < 90:
        return "at the same time"
    for unit, name in ((86400.0, "day"), (3600.0, "hour"), (60.0, "minute")):
        count = round(size / unit)
        if size >= unit * 0.95:
            return f"{count} {name}{'s' * (count != 1)} {word}"
    return "at the same time"
