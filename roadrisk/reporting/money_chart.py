"""Deaths averted against money, or against metres of fence: a line with its band and two marks."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from roadrisk.reporting.chart_marks import GREY, chart, path, ticks, words
from roadrisk.reporting.palette import INK
from roadrisk.reporting.wording import number

if TYPE_CHECKING:
    from collections.abc import Sequence

    import pandas as pd

WIDTH, HEIGHT = 480.0, 272.0
_LEFT, _RIGHT, _TOP, _BASE = 44.0, 18.0, 44.0, 222.0
AVERTED = "averted_per_year"
# As many points as are told in words besides the two marked ones.
_SPOKEN = 8
HOW_TO_READ = (
    "Line: the most deaths that can be averted for that much (mean over all draws). Grey band: "
    "90 % interval. Disc: what is proposed. Diamond: the knee, beyond which one percent more "
    "money averts less than half a percent more deaths."
)


def money_chart(curve: pd.DataFrame, *, across: str, up: str, times: float = 1.0) -> str:
    """Draw the most deaths that can be averted, against what that takes.

    Parameters
    ----------
    curve : pandas.DataFrame
        `MeasureTables.curve`, in the units to show.
    across, up : str
        What is laid off to the right and upwards, with units.
    times : float
        Deaths are multiplied by this.

    Returns
    -------
    str
        An SVG element with the same in words; "" with fewer than two points that can be drawn.
    """
    known = curve[np.isfinite(curve["cost"].to_numpy(float)) & curve[AVERTED].notna()]
    if len(known) < 2 or not (known["cost"] > 0).any():
        return ""
    known = known.sort_values("cost", kind="stable")
    cost = known["cost"].to_numpy(np.float64)
    value, low, high = (
        times * known[f"{AVERTED}{end}"].to_numpy(np.float64) for end in ("", "_low", "_high")
    )
    shown = np.concatenate([[0.0], value, low[np.isfinite(low)], high[np.isfinite(high)]])
    least, most = float(shown.min()), float(shown.max()) or 1.0
    right = float(cost.max())

    def x(money: float) -> float:
        return _LEFT + (WIDTH - _LEFT - _RIGHT) * money / right

    def y(deaths: float) -> float:
        return _BASE - (_BASE - _TOP) * (deaths - least) / (most - least)

    xs, ys = [x(c) for c in cost], [y(v) for v in value]
    parts = [words(2, 14, up, "start", bold=True)]
    parts += _frame([(t, x(t)) for t in ticks(0.0, right, 5)],
                    [(t, y(t)) for t in ticks(least, most, 5)], across)  # fmt: skip
    band = [(a, y(lo), y(hi)) for a, lo, hi in zip(xs, low, high, strict=True)
            if np.isfinite([lo, hi]).all()]  # fmt: skip
    # The band lies under the lines of the scale.
    parts = _band(band) + parts
    parts.append(path("M" + "L".join(f"{a:.1f} {b:.1f}" for a, b in zip(xs, ys, strict=True)),
                      wide=2.0))  # fmt: skip
    for name, mark in (("knee", _diamond), ("chosen", _disc)):
        for k in np.flatnonzero(known[name].to_numpy(bool)).tolist():
            parts.append(mark(xs[k], ys[k]))
    spoken = f"{up} against {across}. {_said(known, value)}"
    return chart(WIDTH, HEIGHT, spoken, parts)


def _frame(
    along: Sequence[tuple[float, float]], up: Sequence[tuple[float, float]], across: str
) -> list[str]:
    out = []
    for value, y in up:
        out += [path(f"M{_LEFT:g} {y:.1f}H{WIDTH - _RIGHT:g}", colour=GREY),
                words(_LEFT - 5, y + 4, number(value) or "0", "end")]  # fmt: skip
    for value, x in along:
        out += [path(f"M{x:.1f} {_BASE:g}v4"), words(x, _BASE + 17, number(value) or "0")]
    out += [path(f"M{_LEFT:g} {_BASE:g}H{WIDTH - _RIGHT:g}"),
            words((_LEFT + WIDTH - _RIGHT) / 2, HEIGHT - 8, across)]  # fmt: skip
    return out


def _band(ends: Sequence[tuple[float, float, float]]) -> list[str]:
    if len(ends) < 2:
        return []
    top = "L".join(f"{x:.1f} {high:.1f}" for x, _, high in ends)
    bottom = "L".join(f"{x:.1f} {low:.1f}" for x, low, _ in reversed(ends))
    return [f'<path d="M{top}L{bottom}Z" fill="{GREY}" fill-opacity="0.6"/>']


def _disc(x: float, y: float) -> str:
    return f'<circle cx="{x:.1f}" cy="{y:.1f}" r="6" fill="{INK}" stroke="#fff"/>'


def _diamond(x: float, y: float) -> str:
    course = f"M{x:.1f} {y - 9:.1f}l9 9l-9 9l-9 -9Z"
    return f'<path d="{course}" fill="#fff" stroke="{INK}" stroke-width="2"/>'


def _said(known: pd.DataFrame, value: np.ndarray) -> str:
    """Tell the marked points and some more, evenly spread."""
    marked = known["knee"].to_numpy(bool) | known["chosen"].to_numpy(bool)
    some = np.unique(np.linspace(0, len(known) - 1, min(_SPOKEN, len(known))).round().astype(int))
    told = sorted({*some.tolist(), *np.flatnonzero(marked).tolist()})
    marks = {(True, True): " (proposed, knee)", (True, False): " (knee)",
             (False, True): " (proposed)"}  # fmt: skip
    names = [
        marks.get((bool(k), bool(c)), "")
        for k, c in zip(known["knee"], known["chosen"], strict=True)
    ]
    cost = known["cost"].to_numpy(np.float64)
    return "; ".join(f"{number(cost[k]) or '0'}: {number(value[k], 2) or '0'}{names[k]}"
                     for k in told) + "."  # fmt: skip
