"""What all charts are made of: a frame with its words, text, scales. Black, white and hatching."""

from __future__ import annotations

import html
import math
from typing import TYPE_CHECKING

from roadrisk.reporting.palette import INK

if TYPE_CHECKING:
    from collections.abc import Iterable

GREY = "#d5d3cc"
_STEPS = (1.0, 2.0, 5.0, 10.0)


def chart(width: float, height: float, spoken: str, parts: Iterable[str]) -> str:
    """Return an SVG element with the same in words for who can't see it.

    Parameters
    ----------
    width, height : float
    spoken : str
        May hold text from data.
    parts : iterable of str
        SVG elements whose text is escaped already.
    """
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {width:g} {height:g}" role="img" '
        f'aria-label="{html.escape(" ".join(spoken.split()), quote=True)}" '
        f'font-family="system-ui, sans-serif" font-size="12" fill="{INK}">{"".join(parts)}</svg>'
    )


def words(x: float, y: float, text: str, anchor: str = "middle", *, bold: bool = False) -> str:
    """Return text in a chart; escaped."""
    weight = ' font-weight="600"' if bold else ""
    return (
        f'<text x="{x:.1f}" y="{y:.1f}" text-anchor="{anchor}"{weight}>'
        f"{html.escape(text, quote=False)}</text>"
    )


def path(course: str, *, wide: float = 1.0, dash: str = "", colour: str = INK) -> str:
    """Return a line without filling."""
    broken = f' stroke-dasharray="{dash}"' if dash else ""
    return f'<path d="{course}" fill="none" stroke="{colour}" stroke-width="{wide:g}"{broken}/>'


def box(x: float, y: float, wide: float, high: float, fill: str = INK) -> str:
    """Return a filled rectangle."""
    return f'<rect x="{x:.1f}" y="{y:.1f}" width="{wide:.1f}" height="{high:.1f}" fill="{fill}"/>'


def round_top(value: float) -> float:
    """Return the least of 1, 2, 5, 10, 20 and so on that is not below a value; 1 for nothing."""
    if not math.isfinite(value) or value <= 0:
        return 1.0
    power = 10.0 ** math.floor(math.log10(value))
    return next(step * power for step in _STEPS if step * power >= value * (1 - 1e-9))


def ticks(low: float, high: float, most: int = 6) -> list[float]:
    """Return round numbers from low to high, `most` at most, both within.

    Parameters
    ----------
    low, high : float
        ``low < high``.
    most : int
        At least 2.
    """
    step = round_top((high - low) / most)
    first, last = math.ceil(low / step - 1e-9), math.floor(high / step + 1e-9)
    return [round(k * step, 12) for k in range(first, last + 1)]


def shorter(text: str, most: int) -> str:
    """Return text cut to a number of characters, with a mark that it was cut."""
    return text if len(text) <= most else f"{text[: most - 1].rstrip()}…"
