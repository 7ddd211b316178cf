"""Survival of tagged animals over a year, as steps with a band and the numbers at risk."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from roadrisk.reporting.chart_marks import GREY, chart, path, words

if TYPE_CHECKING:
    import pandas as pd

WIDTH, HEIGHT = 360.0, 226.0
_LEFT, _RIGHT, _TOP, _BASE = 40.0, 12.0, 30.0, 162.0
_DAYS = 365.0
# First days of January, March and so on, counted from 0.
_FIRSTS = ((0, "Jan"), (59, "Mar"), (120, "May"), (181, "Jul"), (243, "Sep"), (304, "Nov"))
# Numbers at risk closer than this would run into each other.
_APART = 30.0
NO_STEP = (
    "No tagged animal of known date died while it was watched, so there is no curve to draw; "
    "survival over a year stands in the table."
)
HOW_TO_READ = (
    "Steps: share of the tagged animals still alive (Kaplan-Meier, animals come under watch at "
    "different times; years are laid on one another). Grey band: {level:.0f} % interval, where it "
    "is known. Below: how many animals were watched when one died; where these are few, the curve "
    "says little."
)


def survival_chart(curve: pd.DataFrame, group: str) -> str:
    """Draw one group's survival.

    Parameters
    ----------
    curve : pandas.DataFrame
        `DeathTables.survival_curve`.
    group : {"all", "female", "male"}

    Returns
    -------
    str
        An SVG element with the same in words; "" where none of the group died.
    """
    mine = curve[curve["group"] == group]
    if mine.empty:
        return ""
    day, alive, low, high = (
        mine[name].to_numpy(np.float64)
        for name in ("day", "survival", "survival_low", "survival_high")
    )
    whose = {"all": "all", "female": "females", "male": "males"}.get(group, "all")
    title = f"Tagged animals still alive, % ({whose})"
    spoken = "; ".join(
        f"day {d:.0f}: {100 * a:.0f} % alive{_span(lo, hi)}, {n:.0f} watched"
        for d, a, lo, hi, n in zip(day, alive, low, high, mine["at_risk"], strict=True)
    )
    parts = [
        words(2, 14, title, "start", bold=True),
        *_frame(),
        *_band(day, low, high),
        path(_steps(day, np.concatenate([[1.0], alive])), wide=2.0),
        words(2, 206, "watched at a death:", "start"),
        *_at_risk(day, mine["at_risk"].to_numpy(np.float64)),
    ]
    return chart(WIDTH, HEIGHT, f"{title}. {spoken}.", parts)


def _frame() -> list[str]:
    out = []
    for share in (0.0, 0.5, 1.0):
        out += [path(f"M{_LEFT:g} {_y(share):.1f}H{WIDTH - _RIGHT:g}", colour=GREY),
                words(_LEFT - 5, _y(share) + 4, f"{100 * share:.0f}", "end")]  # fmt: skip
    out.append(path(f"M{_LEFT:g} {_TOP:g}V{_BASE:g}H{WIDTH - _RIGHT:g}"))
    for first, name in _FIRSTS:
        out += [path(f"M{_x(first):.1f} {_BASE:g}v4"),
                words(_x(first), _BASE + 17, name, "middle")]  # fmt: skip
    return out


def _band(day: np.ndarray, low: np.ndarray, high: np.ndarray) -> list[str]:
    """Return the band from each death with an interval to the next one, or to the year's end."""
    ends = np.append(day[1:], _DAYS)
    out = []
    for start, end, lo, hi in zip(day, ends, low, high, strict=True):
        if np.isfinite(lo) and np.isfinite(hi):
            out.append(
                f'<rect x="{_x(start):.1f}" y="{_y(hi):.1f}" width="{_x(end) - _x(start):.1f}" '
                f'height="{_y(lo) - _y(hi):.1f}" fill="{GREY}"/>'
            )
            out += [path(f"M{_x(start):.1f} {_y(edge):.1f}H{_x(end):.1f}", wide=0.8, dash="3 2")
                    for edge in (lo, hi)]  # fmt: skip
    return out


def _steps(day: np.ndarray, alive: np.ndarray) -> str:
    """Return the course: level, then down at each death; `alive` has one value more."""
    course = f"M{_x(0):.1f} {_y(alive[0]):.1f}"
    for d, after in zip(day, alive[1:], strict=True):
        course += f"H{_x(d):.1f}V{_y(after):.1f}"
    return course + f"H{_x(_DAYS):.1f}"


def _at_risk(day: np.ndarray, many: np.ndarray) -> list[str]:
    out: list[str] = []
    last = -np.inf
    for d, n in zip(day, many, strict=True):
        if _x(d) - last >= _APART:
            last = _x(d)
            out.append(words(min(last, WIDTH - _RIGHT - 6), 222, f"{n:.0f}"))
    return out


def _span(low: float, high: float) -> str:
    if not (np.isfinite(low) and np.isfinite(high)):
        return " (no interval)"
    return f" ({100 * low:.0f} to {100 * high:.0f})"


def _x(day: float) -> float:
    return _LEFT + (WIDTH - _LEFT - _RIGHT) * min(max(float(day), 0.0), _DAYS) / _DAYS


def _y(share: float) -> float:
    return _BASE - (_BASE - _TOP) * float(share)
