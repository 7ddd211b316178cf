"""The invented species' profile, from the numbers that the invented animals walk by."""

from __future__ import annotations

from math import pi, sqrt

from killed import STOPS, WALKING_M_MIN
from movement import (
    ACTIVE_HOURS,
    ANIMALS,
    MEMORY_H,
    PULL_H,
    RADIUS_95_PER_SD,
    REST_BEGINS,
    REST_ENDS,
    SEASON_MONTHS,
    share_of_days_inside,
)

# How much of its time an animal that is out doesn't rest, and how much of all active time it
# moves, by month: everything that the walk knows happens in moving time only.
_AWAKE = REST_ENDS / (REST_BEGINS + REST_ENDS)
_MOVING = {m: _AWAKE * (1 - share_of_days_inside(m)) for m in SEASON_MONTHS}
_HOURS = {m: sum(b - a for a, b in s) for months, s in ACTIVE_HOURS for m in months}
_USUAL = sum(_MOVING[m] * _HOURS[m] for m in _MOVING) / sum(_HOURS.values())
_SD = sorted(a.sd_m for a in ANIMALS)
_SPREAD = (_SD[0], (_SD[8] + _SD[9]) / 2, _SD[-1])


def _speed(sd_m: float) -> float:
    """Mean length of path in a minute of moving [m/min]: velocity with two normal parts."""
    return sqrt(pi / 2) * sd_m / sqrt(PULL_H * MEMORY_H) / 60


def _value(key: str, unit: str, low: float, likely: float | None, high: float) -> str:
    middle = "" if likely is None else f"likely = {likely:.3g}\n"
    return (
        f'[{key}]\nlow = {low:.3g}\n{middle}high = {high:.3g}\nunit = "{unit}"\n'
        'source = "invented for the demo"\n'
    )


def _spells() -> str:
    return "\n".join(
        f"[[active.hours]]\nstart = {begin:g}\nend = {end:g}\n"
        + (f"months = {list(months)}\n" if months != ACTIVE_HOURS[0][0] else "")
        + 'unit = "h"\nsource = "invented for the demo"\n'
        for months, spells in ACTIVE_HOURS
        for begin, end in spells
    )


def _in_active_time(moving: float) -> tuple[float, float, float]:
    """Turn moving time into active time: on days out, as a rule, and in the laziest month."""
    return moving / _AWAKE, moving / _USUAL, moving / min(_MOVING.values())


def profile_toml() -> str:
    """Return profile.toml."""
    usual = _speed(_SPREAD[1])
    a_day = [_MOVING[m] * _HOURS[m] for m in SEASON_MONTHS]
    minutes = [60 * h for h in _in_active_time(MEMORY_H)]
    parts = (
        _value("road.walking_speed_m_min", "m/min", *WALKING_M_MIN),
        _value("road.chance_to_stop", "share", STOPS[0], None, STOPS[1]),
        _value("body.length_mm", "mm", 140, 170, 200),
        _value("season.first_month", "month", SEASON_MONTHS[0], None, SEASON_MONTHS[0]),
        _value("season.last_month", "month", SEASON_MONTHS[-1], None, SEASON_MONTHS[-1]),
        _spells(),
        _value("active.daily_hours", "h/day", min(a_day), sum(a_day) / len(a_day), max(a_day)),
        _value("home_range.area_ha", "ha",
               *(pi * (RADIUS_95_PER_SD * sd) ** 2 / 10_000 for sd in _SPREAD)),
        _value("home_range.diameter_m", "m", *(2 * RADIUS_95_PER_SD * sd for sd in _SPREAD)),
        _value("movement.path_speed_m_min", "m/min", _speed(_SPREAD[0]) * min(_MOVING.values()),
               usual * _USUAL, _speed(_SPREAD[2]) * max(_MOVING.values())),
        _value("movement.tau_velocity_minutes", "min", *minutes),
        _value("movement.tau_home_hours", "h", *_in_active_time(PULL_H)),
        _value("movement.home_sd_m", "m", *_SPREAD),
        _value("population.tolerable_added_mortality", "share/year", 0.01, 0.03, 0.06),
    )  # fmt: skip
    return _HEAD + "\n".join(parts) + _FEATURES


_HEAD = f"""\
# A profile of an invented species. Written by make_demo.py from the numbers that the invented
# animals walk by: in the hours and months below, pulled home over {PULL_H:g} h of moving, with a
# velocity that remembers {60 * MEMORY_H:g} min of moving. They move in about {100 * _USUAL:.0f} %
# of their active hours; the values under [movement] count all of those. Over a road they go in
# one go, much faster than that: a walk is stop and go, and what a path covers in an hour is little.

scientific_name = "Testudo ficta"
common_name = "marsh tortoise (invented)"
habitat = "land"
note = "Invented for the demo: nothing here is a finding about any animal."

"""

_FEATURES = """
[sex_features]
source = "invented for the demo"
note = "Both features are never wrong in the demo, since they are made up."

[sex_features.iris_colour]
male = ["amber"]
female = ["slate"]

[sex_features.plastron_shape]
male = ["dished"]
female = ["flat"]
"""
