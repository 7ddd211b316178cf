"""What a species profile says about movement: the activity clock and the prior."""

from __future__ import annotations

import calendar
import math
from typing import TYPE_CHECKING

from roadrisk.telemetry.movement_prior import MovementPrior
from roadrisk.telemetry.movement_tracks import ActiveClock

if TYPE_CHECKING:
    from collections.abc import Iterable

    from roadrisk.species import Profile, Value
    from roadrisk.telemetry.movement_prior import Range
    from roadrisk.telemetry.movement_tracks import Windows

# 97.5 % point of the standard normal: half the width of a range that holds 95 %.
_HALF_95 = 1.959963984540054
# A logarithm can't say 0: a low end of 0 is read as this share of the high end (a choice).
_LEAST_SHARE = 0.01
# Nothing is known better than this: deviation of the logarithm, about 5 % (a choice).
_LEAST_SD = 0.05
_ALL_DAY = ((0.0, 24.0),)
_LAST_DAY = {month: calendar.monthrange(2024, month)[1] for month in range(1, 13)}


def clock_of(profile: Profile) -> ActiveClock:
    """Return the hours and the season in which animals of a species may move.

    Parameters
    ----------
    profile : Profile

    Returns
    -------
    ActiveClock
        Hours of each month of the likely season, spells that overlap joined, a spell over
        midnight cut there. The season goes from the first day of its first month to the last
        day of its last one; it may go over the new year.
    """
    months = profile.months("likely")
    windows = {month: _windows(profile, month) for month in months}
    usual = max(windows.values(), key=list(windows.values()).count)
    return ActiveClock(
        usual,
        ((months[0], 1), (months[-1], _LAST_DAY[months[-1]])),
        tuple((m, w) for m, w in sorted(windows.items()) if w != usual),
    )


def prior_of(profile: Profile) -> MovementPrior:
    """Return what a species profile says about movement, as the prior of the fits.

    Parameters
    ----------
    profile : Profile

    Returns
    -------
    MovementPrior
        `home_h`, `turn_h`, `spread_m` and `speed_m_per_h` from the profile's tau_home_hours,
        tau_velocity_minutes, home_sd_m and path_speed_m_min; all else as by default.

    Notes
    -----
    A profile's range holds about 90 % and the prior's 95 %: both are read as log-normal, by
    `species.Value.log_normal` with the likely value as the median, and the range is widened
    on the log scale to 1.96 deviations. Where the likely value isn't in the middle of the
    logarithms, the further end decides, so the range then reaches beyond the nearer end. A
    low end of 0 is read as a hundredth of the high end, and a range of no width as one of
    about 5 % on either side per deviation.
    """
    movement = profile.movement
    return MovementPrior(
        home_h=_range_95(movement.tau_home_hours, 1.0),
        turn_h=_range_95(movement.tau_velocity_minutes, 1 / 60),
        spread_m=_range_95(movement.home_sd_m, 1.0),
        speed_m_per_h=_range_95(movement.path_speed_m_min, 60.0),
    )


def clock_words(profile: Profile) -> str:
    """Say in plain words when animals are taken to move, and where that comes from.

    Parameters
    ----------
    profile : Profile

    Returns
    -------
    str
        A few sentences.
    """
    clock, months = clock_of(profile), profile.months("likely")
    others: list[tuple[list[int], Windows]] = []
    for month in months:
        windows = clock.windows_of(month)
        if others and others[-1][1] == windows:
            others[-1][0].append(month)
        else:
            others.append(([month], windows))
    apart = [f"{_months_words(m)}: {_hours_words(w)}" for m, w in others if w != clock.windows]
    hours = _hours_words(clock.windows) + (f" ({'; '.join(apart)})" if apart else "")
    first, last = months[0], months[-1]
    spells = [spell for month in months for spell in profile.active.spells(month)]
    season = (*profile.season.first_month.source, *profile.season.last_month.source)
    said = (
        f"Animals are taken to move {hours}, on days from 1 {calendar.month_name[first]} to "
        f"{_LAST_DAY[last]} {calendar.month_name[last]}, by the clocks people keep there, and to "
        "rest otherwise. "
        f"Hours: {_sources(s for spell in spells for s in spell.source)}. "
        f"Season: {_sources(season)}."
    )
    if all(windows == _ALL_DAY for _, windows in others):
        said += " The clock runs all 24 hours: a clock that is too long raises the totals."
    return said


def _windows(profile: Profile, month: int) -> Windows:
    parts: list[tuple[float, float]] = []
    for spell in profile.active.spells(month):
        over_midnight = spell.start > spell.end
        ends = [(spell.start, 24.0), (0.0, spell.end)] if over_midnight else []
        parts += ends or [(spell.start, spell.end)]
    joined: list[tuple[float, float]] = []
    for begin, end in sorted((float(a), float(b)) for a, b in parts if a < b):
        if joined and begin <= joined[-1][1]:
            joined[-1] = (joined[-1][0], max(end, joined[-1][1]))
        else:
            joined.append((begin, end))
    return tuple(joined)


def _range_95(value: Value, times: float) -> Range:
    if value.low <= 0:
        value = value.model_copy(update={"low": _LEAST_SHARE * value.high})
    mean, sd = value.log_normal()
    reach = _HALF_95 * max(sd, _LEAST_SD)
    return math.exp(mean - reach) * times, math.exp(mean + reach) * times


def _hours_words(windows: Windows) -> str:
    if windows == _ALL_DAY:
        return "at all hours"
    return "from " + " and ".join(f"{_clock(a)} to {_clock(b)}" for a, b in windows)


def _clock(hour: float) -> str:
    minutes = round(hour * 60)
    return f"{minutes // 60}:{minutes % 60:02d}"


def _months_words(months: list[int]) -> str:
    names = [calendar.month_name[m] for m in (months[0], months[-1])]
    if len(months) == 1:
        return names[0]
    return f"{names[0]} {'and' if len(months) == 2 else 'to'} {names[1]}"


def _sources(sources: Iterable[str]) -> str:
    return "; ".join(dict.fromkeys(sources))
