"""How far ahead of a place a warning sign stands: the federal sign manual's table."""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from functools import lru_cache
from importlib.resources import files
from typing import TYPE_CHECKING, Any, Literal

import numpy as np

from roadrisk.base.units import M_PER_FOOT, M_PER_MILE
from roadrisk.errors import InputError, Remark

if TYPE_CHECKING:
    from roadrisk.base.units import Units

Edition = Literal["2023", "2009"]
STOP = "B to 0 mph"
CONDITIONS = ("A", STOP, *(f"B to {v} mph" for v in (10, 20, 30, 40, 50)))
# A limit written in whole km/h may be half a km/h above the mph that are meant.
_ROUNDED_MPH = 0.5 * 1000.0 / M_PER_MILE + 0.01
_DRIVER_S, _BRAKING_FT_S2 = 2.5, 11.2

JUDGEMENT = (
    "The table's distance is a starting point: the engineer sets the location and the legal sign "
    "face. A sign that isn't tied to one spot, like one for animals, may be placed by engineering "
    "judgement (11th edition, note to the table)."
)
NO_SYMBOL = (
    "The 11th edition's symbols for animals (Figure 2C-15, as transcribed) hold no turtle and no "
    "other small animal: take the state's or county's own sign, or a word sign."
)


@dataclass(frozen=True)
class AdvanceDistance:
    """One distance from the table.

    Attributes
    ----------
    metres, feet : float
        NaN where the table has no entry.
    row_mph : int
        Row that was used; 0 without an entry.
    beyond : bool
        The speed is above the table's last entry, whose distance stands here and is too short.
    verified : bool
        Whether the values were compared with the printed table.
    table : str
        Which table, row and condition, for a column.
    words : str
        One plain sentence, with what is doubtful.
    """

    metres: float
    feet: float
    row_mph: int
    beyond: bool
    verified: bool
    table: str
    words: str


def advance_distance(
    speed_kmh: float,
    *,
    condition: str = STOP,
    edition: Edition = "2023",
    units: Units = "metric",
) -> AdvanceDistance:
    """Return how far ahead a warning sign stands for drivers at some speed.

    Parameters
    ----------
    speed_kmh : float
        Speed limit, or the speed that 85 of 100 drivers keep below [km/h], above 0.
    condition : str
        One of `CONDITIONS`. An animal on the road makes drivers stop: "B to 0 mph".
    edition : {"2023", "2009"}
    units : {"metric", "us"}
        Of `words`.

    Returns
    -------
    AdvanceDistance
        A speed between two rows takes the next higher row, one below the first the first. The
        table is in mph: a limit in km/h is converted, and one up to half a km/h above a row counts
        as that row.

    Raises
    ------
    InputError
        For a speed that isn't above 0, another condition or another edition.
    """
    table = _checked(speed_kmh, condition, edition)
    name, rows = str(table["name"]), _column(table, condition)
    mph = speed_kmh * 1000.0 / M_PER_MILE
    said = f"{speed_kmh:.0f} km/h are {mph:.1f} mph" if units == "metric" else f"{mph:.0f} mph"
    if not rows:
        words = f"{name}: the values kept here hold no column for condition {condition}."
        return AdvanceDistance(np.nan, np.nan, 0, False, False, name, words)
    found = [row for row in rows if mph <= row + _ROUNDED_MPH]
    row = min(found) if found else max(rows)
    feet = rows[row]
    metres = feet * M_PER_FOOT
    far = f"{metres:.0f} m ({feet:.0f} ft)" if units == "metric" else f"{feet:.0f} ft"
    flagged = "" if table["verified"] else f" ({table['flag']})"
    head = f"{name}{flagged}, {row} mph, condition {condition}: {far}"
    more = [f"{said}; row {row} mph."]
    if not found:
        more = [f"{said}, above the table's last row of {row} mph: its distance is too short."]
    elif mph < min(rows) - _ROUNDED_MPH:
        more = [f"{said}, below the first row with an entry, {row} mph, which is used."]
    if not table["verified"]:
        more.append(f"{str(table['caution']).capitalize()}.")
    return AdvanceDistance(
        metres, float(feet), row, not found, bool(table["verified"]), head,
        f"{head}. {' '.join(more)}",
    )  # fmt: skip


def stopping_sight_distance_ft(speed_mph: float) -> float:
    """Return the stopping sight distance: 2.5 s until the driver brakes, then 11.2 ft/s².

    Parameters
    ----------
    speed_mph : float

    Returns
    -------
    float
        1.47 · V · 2.5 + 1.075 V² / 11.2 [ft], on the level, wet road, not rounded. AASHTO's formula
        for stopping sight distance, from `check_values.md`, section 8.
    """
    return 1.47 * speed_mph * _DRIVER_S + 1.075 * speed_mph**2 / _BRAKING_FT_S2


def stopping_sight_distance_m(speed_kmh: float) -> float:
    """Return `stopping_sight_distance_ft` in metres for a speed in km/h."""
    return stopping_sight_distance_ft(speed_kmh * 1000.0 / M_PER_MILE) * M_PER_FOOT


def assumed_limit_kmh(road_class: str) -> float:
    """Return the speed limit taken where a road's own isn't known [km/h], from memory.

    Parameters
    ----------
    road_class : str
        In OpenStreetMap's words.

    Returns
    -------
    float
    """
    limits = _data()["assumed_limit_kmh"]
    return float(limits.get(road_class.removesuffix("_link"), limits["other"]))


def edition_words(edition: Edition) -> tuple[str, str]:
    """Return name and caution of an edition's table."""
    table = _data()["edition"][edition]
    return str(table["name"]), f"{str(table['caution']).capitalize()}. Source: {table['source']}."


def _checked(speed_kmh: float, condition: str, edition: str) -> dict[str, Any]:
    editions: dict[str, Any] = _data()["edition"]
    wrong = []
    if not (np.isfinite(speed_kmh) and speed_kmh > 0):
        wrong.append(
            ("speed_limit_kmh", f"a speed limit of {speed_kmh:g} km/h.", "a speed above 0")
        )
    if condition not in CONDITIONS:
        wrong.append(("sign_condition", f"{condition!r} is none.", " or ".join(CONDITIONS)))
    if edition not in editions:
        wrong.append(("sign_table", f"{edition!r} is no edition kept here.", " or ".join(editions)))
    if wrong:
        raise InputError(
            Remark("study.toml", None, key, what, f"write {mend}") for key, what, mend in wrong
        )
    return dict(editions[edition])


def _column(table: dict[str, Any], condition: str) -> dict[int, float]:
    key = "a" if condition == "A" else f"to_{condition.split()[2]}"
    return {int(mph): float(row[key]) for mph, row in table["feet"].items() if key in row}


@lru_cache
def _data() -> dict[str, Any]:
    text = (files(__package__) / "sign_distances.toml").read_text(encoding="utf-8")
    return tomllib.loads(text)
