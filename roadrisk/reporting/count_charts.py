"""What was counted by month, hour, road and sex: a small chart for each kind of count.

Carcasses, reports and crossings are different counts: they follow who looked, not only who
died. Each has a chart and a scale of its own, and they are never added or stacked.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from roadrisk.reporting.chart_marks import GREY, box, chart, path, round_top, shorter, words
from roadrisk.reporting.csv_text import plain_text
from roadrisk.reporting.wording import count, number

if TYPE_CHECKING:
    from collections.abc import Sequence

    import pandas as pd

WIDTH = 250.0
_LEFT, _RIGHT, _TOP, _BARS = 30.0, 8.0, 32.0, 72.0
_ROW, _NAME, _NAMED = 17.0, 112.0, 16
# As many roads as a chart has lines for; the others stand in the table of the file.
MOST_ROADS = 12
_SHORT_MONTHS = tuple("JFMAMJJASOND")
MONTHS = ("January", "February", "March", "April", "May", "June", "July", "August", "September",
          "October", "November", "December")  # fmt: skip


@dataclass(frozen=True)
class Kind:
    """A kind of count: its column of `DeathTables.when`, its title, why there may be none."""

    column: str
    title: str
    why_none: str = "none"


KINDS = (
    Kind("carcasses", "Carcasses that surveys found", "not counted: no surveys"),
    Kind("reports_dead", "Dead animals that others reported"),
    Kind("reports_alive", "Live animals reported"),
    Kind("crossings", "Crossings of tagged animals", "not known: no tagged animals"),
)
NOT_SAID = Kind("reports_other", "Reports, dead or alive not said")


def count_charts(when: pd.DataFrame, counted_by: str, order: Sequence[str] = ()) -> list[str]:
    """Draw each kind of count by month, hour, road or sex.

    Parameters
    ----------
    when : pandas.DataFrame
        `DeathTables.when`.
    counted_by : {"month", "hour", "road", "sex"}
    order : sequence of str
        Roads in the order to show, of which the first `MOST_ROADS` are.

    Returns
    -------
    list of str
        SVG elements, one a kind of count, each with its numbers in words. Reports that don't say
        whether the animal was dead or alive have a chart only where there are any. Empty where
        nothing is counted by it.
    """
    mine = when[when["counted_by"] == counted_by]
    if counted_by == "road":
        rank = {name: k for k, name in enumerate(order)}
        place = mine["value"].map(lambda name: rank.get(name, len(rank)))
        mine = mine.loc[place.sort_values(kind="stable").index][:MOST_ROADS]
    if mine.empty:
        return []
    kinds = [*KINDS, *([NOT_SAID] if mine[NOT_SAID.column].sum() > 0 else [])]
    names = [plain_text(value) for value in mine["value"]]
    draw = _lying if counted_by == "road" else _standing
    return [draw(kind, counted_by, names, mine[kind.column].to_numpy(np.float64)) for kind in kinds]


def bars(
    title: str,
    labels: Sequence[str],
    values: Sequence[float],
    spoken: str,
    *,
    width: float = WIDTH,
) -> str:
    """Draw standing bars with a scale from zero.

    Parameters
    ----------
    title : str
    labels : sequence of str
        Below the bars; "" for none.
    values : sequence of float
        One a bar; not all NaN.
    spoken : str
        The same in words.
    width : float
    """
    step = (width - _LEFT - _RIGHT) / len(values)
    base, top = _TOP + _BARS, round_top(float(np.nanmax(values)))
    parts = [words(2, 14, title, "start", bold=True), *_scale(top, base, width)]
    for k, value in enumerate(values):
        high = _BARS * value / top if value > 0 else 0.0
        left = _LEFT + (k + 0.5) * step
        if high:
            wide = min(0.7 * step, 34.0)
            parts.append(box(left - wide / 2, base - high, wide, high))
        if labels[k]:
            parts.append(words(left, base + 17, labels[k]))
    return chart(width, base + 22, spoken, parts)


def _standing(kind: Kind, counted_by: str, names: list[str], values: np.ndarray) -> str:
    said = _said(kind, counted_by, _long(counted_by, names), values)
    if np.isnan(values).all() or not np.nansum(values) > 0:
        return _nothing(kind, values, said)
    labels = {
        "month": list(_SHORT_MONTHS),
        "hour": [name if k % 6 == 0 else "" for k, name in enumerate(names)],
    }.get(counted_by, names)
    return bars(kind.title, labels, values.tolist(), said)


def _lying(kind: Kind, counted_by: str, names: list[str], values: np.ndarray) -> str:
    said = _said(kind, counted_by, names, values)
    if np.isnan(values).all() or not np.nansum(values) > 0:
        return _nothing(kind, values, said)
    top = float(np.nanmax(values))
    room = WIDTH - _NAME - 42.0
    parts = [words(2, 14, kind.title, "start", bold=True)]
    base = _TOP + _ROW * len(names)
    for k, (name, value) in enumerate(zip(names, values.tolist(), strict=True)):
        y = _TOP + k * _ROW
        long = room * value / top if value > 0 else 0.0
        parts += [
            words(_NAME - 6, y + 9, shorter(name or "no name", _NAMED), "end"),
            box(_NAME, y, long, 10.5),
            words(_NAME + long + 4, y + 9, _few(value), "start"),
        ]
    parts.append(path(f"M{_NAME:g} {_TOP - 4:g}V{base:g}"))
    return chart(WIDTH, base + 4, said, parts)


def _scale(top: float, base: float, width: float) -> list[str]:
    """Return the floor, and a line at the top of the scale and one half way."""
    out = []
    for share in (0.5, 1.0):
        y = base - _BARS * share
        out += [path(f"M{_LEFT:g} {y:.1f}H{width - _RIGHT:g}", colour=GREY),
                words(_LEFT - 4, y + 4, number(share * top), "end")]  # fmt: skip
    return [*out, words(_LEFT - 4, base + 4, "0", "end"),
            path(f"M{_LEFT:g} {base:g}H{width - _RIGHT:g}")]  # fmt: skip


def _nothing(kind: Kind, values: np.ndarray, said: str) -> str:
    why = kind.why_none if np.isnan(values).all() else "none counted"
    parts = [words(2, 14, kind.title, "start", bold=True), words(2, 36, why, "start")]
    return chart(WIDTH, 46, said, parts)


def _said(kind: Kind, counted_by: str, names: Sequence[str], values: np.ndarray) -> str:
    if np.isnan(values).all():
        return f"{kind.title}, by {counted_by}: {kind.why_none}."
    each = ", ".join(
        f"{name or 'no name'} {count(value)}" for name, value in zip(names, values, strict=True)
    )
    return f"{kind.title}, by {counted_by}: {each}."


def _long(counted_by: str, names: list[str]) -> list[str]:
    if counted_by == "month":
        return [MONTHS[int(name) - 1] for name in names]
    return [f"{name} h" for name in names] if counted_by == "hour" else names


def _few(value: float) -> str:
    """Return a count in few characters, for beside a bar."""
    if np.isnan(value):
        return "?"
    return f"{value:,.0f}" if value >= 10 else count(round(value, 1))
