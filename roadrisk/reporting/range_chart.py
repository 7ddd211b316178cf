"""Numbers with their intervals as dots on lines, beside a bound or a line that means something."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from roadrisk.reporting.chart_marks import GREY, box, chart, path, shorter, ticks, words
from roadrisk.reporting.palette import INK
from roadrisk.reporting.wording import number

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence

WIDTH = 360.0
_LEFT, _RIGHT, _TOP, _ROW = 14.0, 14.0, 40.0, 38.0
_LONGEST = 34


@dataclass(frozen=True)
class Range:
    """A number with its interval, or the words why there is none."""

    label: str
    value: float
    low: float
    high: float
    note: str = "not identified"


def range_chart(
    title: str, rows: Sequence[Range], *, zone: tuple[float, float] | None = None, mark: str = ""
) -> str:
    """Draw numbers with intervals on one scale.

    Parameters
    ----------
    title : str
        With the unit.
    rows : sequence of Range
        Drawn only where value and interval are known; else its note stands there.
    zone : (float, float), optional
        Bounds to hold the numbers against: a grey zone with edges, one line where both are alike.
    mark : str
        What the zone is, in words.

    Returns
    -------
    str
        An SVG element with the same in words; "" where no number is known.
    """
    known = [row for row in rows if np.isfinite([row.value, row.low, row.high]).all()]
    if not known:
        return ""
    shown = [0.0, *(zone or ()), *(end for row in known for end in (row.low, row.high, row.value))]
    least, most = min(shown), max(shown)
    pad = 0.04 * (most - least or 1.0)
    least, most = (least - pad if least < 0 else 0.0), most + pad

    def x(value: float) -> float:
        return _LEFT + (WIDTH - _LEFT - _RIGHT) * (value - least) / (most - least)

    base = _TOP + _ROW * len(rows)
    parts = [words(2, 14, title, "start", bold=True)]
    if zone is not None:
        what = "broken line" if zone[0] == zone[1] else "grey"
        parts.append(words(2, 29, f"{what}: {mark}", "start"))
    for k, row in enumerate(rows):
        y = _TOP + k * _ROW
        parts += _zone(x(zone[0]), x(zone[1]), y) if zone is not None else []
        parts += _row(row, x, y, known=row in known)
    parts.append(path(f"M{_LEFT:g} {base:g}H{WIDTH - _RIGHT:g}"))
    for tick in ticks(least, most):
        parts += [path(f"M{x(tick):.1f} {base:g}v4"),
                  words(x(tick), base + 17, number(tick) or "0", "middle")]  # fmt: skip
    spoken = "; ".join(f"{row.label}: {_said(row, known=row in known)}" for row in rows)
    return chart(WIDTH, base + 22, f"{title}. {spoken}. {mark}", parts)


def _zone(a: float, b: float, y: float) -> list[str]:
    """Return the bounds behind a row's line, clear of its words."""
    top, high = y + 16, _ROW - 16
    edges = [path(f"M{end:.1f} {top:g}v{high:g}", dash="4 2") for end in dict.fromkeys((a, b))]
    return [box(a, top, b - a, high, GREY), *edges]


def _row(row: Range, x: Callable[[float], float], y: float, *, known: bool) -> list[str]:
    out = [words(_LEFT, y + 12, shorter(row.label, _LONGEST), "start"),
           words(WIDTH - _RIGHT, y + 12, _said(row, known=known), "end")]  # fmt: skip
    if known:
        middle = y + 25
        a, b, here = x(row.low), x(row.high), x(row.value)
        out += [path(f"M{a:.1f} {middle:g}H{b:.1f}", wide=2.2),
                *(path(f"M{end:.1f} {middle - 4:g}v8", wide=1.6) for end in (a, b)),
                f'<circle cx="{here:.1f}" cy="{middle:g}" r="4.5" fill="#fff" stroke="{INK}" '
                'stroke-width="2"/>']  # fmt: skip
    return out


def _said(row: Range, *, known: bool) -> str:
    if not known:
        return shorter(row.note, 60)
    return f"{number(row.value, 2)} ({number(row.low, 2)} to {number(row.high, 2)})"
