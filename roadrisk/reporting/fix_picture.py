"""A fix for the field book, as SVG: observers, bearings, the estimate and its 95 % region."""

from __future__ import annotations

import textwrap
from dataclasses import dataclass
from typing import TYPE_CHECKING
from xml.sax.saxutils import escape

import numpy as np
import shapely

from roadrisk.base.units import M_PER_FOOT
from roadrisk.reporting.csv_text import plain_text
from roadrisk.reporting.palette import ACCENT, INK, PAPER, ROAD, SCALE

if TYPE_CHECKING:
    from collections.abc import Callable

    import geopandas as gpd
    from numpy.typing import NDArray

    from roadrisk.base.units import Units

    Floats = NDArray[np.float64]
    _Turn = Callable[[Floats], Floats]

WIDTH, MARGIN, HEAD, LINE = 760, 24, 64, 17
_FRAME = WIDTH - 2 * MARGIN
# A region this many times larger than everything else is cut off by the frame.
_LARGEST = 3.0
_RAY = 1.3


@dataclass(frozen=True)
class Words:
    """Text of a picture; anything in it may come from data.

    Attributes
    ----------
    title, subtitle : str
    bearings : tuple of str
        One line a bearing, numbered as the observers are.
    below : tuple of str
        Paragraphs under the drawing.
    """

    title: str
    subtitle: str
    bearings: tuple[str, ...]
    below: tuple[str, ...]


def fix_svg(
    bearings: gpd.GeoDataFrame,
    place: Floats,
    covariance: Floats | None,
    words: Words,
    *,
    true_north_deg: float,
    units: Units,
) -> bytes:
    """Draw one fix, grid north up.

    Parameters
    ----------
    bearings : geopandas.GeoDataFrame
        Column azimuth_deg (from grid north); the geometry is the observer's place [m].
    place : ndarray, shape (2,)
        The estimate [m].
    covariance : ndarray, shape (2, 2), or None
        (p - place)ᵀ covariance⁻¹ (p - place) ≤ 5.991 is the 95 % region; None draws none.
    words : Words
    true_north_deg : float
        Direction of true north [degrees, clockwise from grid north].
    units : {"metric", "us"}
        Of the scale bar.

    Returns
    -------
    bytes
        SVG in UTF-8, without script or links; text from data is escaped.
    """
    observers = shapely.get_coordinates(bearings.geometry.to_numpy())
    outline = None if covariance is None else _outline(place, covariance)
    low, side, cut = _frame(observers, place, outline)
    scale = _FRAME / side

    def at(points: Floats) -> Floats:
        moved = (np.atleast_2d(points) - low) * scale
        return np.column_stack([MARGIN + moved[:, 0], HEAD + _FRAME - moved[:, 1]])

    drawn = [f'<rect x="{MARGIN}" y="{HEAD}" width="{_FRAME}" height="{_FRAME}" fill="white" '
             f'stroke="{ROAD}"/>', '<g clip-path="url(#frame)">']  # fmt: skip
    if outline is not None:
        corners = " ".join(f"{x:.1f},{y:.1f}" for x, y in at(outline))
        drawn.append(f'<polygon class="region" points="{corners}" fill="{SCALE[0]}" '
                     f'fill-opacity="0.45" stroke="{SCALE[3]}" stroke-width="1.5"/>')  # fmt: skip
    drawn += _rays(observers, bearings["azimuth_deg"].to_numpy(), place, at)
    drawn += ["</g>", *_marks(observers, place, at), *_scale_bar(scale, units)]
    drawn.append(_north(true_north_deg))
    below = list(words.below)
    if cut:
        below.insert(0, "The region goes on beyond the drawing.")
    lines = [*words.bearings, *(part for text in below for part in textwrap.wrap(text, 108))]
    height = HEAD + _FRAME + MARGIN + LINE * (len(lines) + 1)
    text = [
        _text(MARGIN, 28, words.title, size=18, weight="bold"),
        _text(MARGIN, 49, words.subtitle, size=13),
        *(
            _text(MARGIN, HEAD + _FRAME + MARGIN + LINE * i, line, size=12)
            for i, line in enumerate(lines)
        ),
    ]
    head = (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {WIDTH} {height}" '
        f'width="{WIDTH}" height="{height}" role="img" font-family="system-ui, sans-serif">'
        f"<title>{_safe(words.title)}</title>"
        f'<defs><clipPath id="frame"><rect x="{MARGIN}" y="{HEAD}" width="{_FRAME}" '
        f'height="{_FRAME}"/></clipPath></defs>'
        f'<rect width="{WIDTH}" height="{height}" fill="{PAPER}"/>'
    )
    return "\n".join([head, *drawn, *text, "</svg>\n"]).encode("utf-8")


def _outline(place: Floats, covariance: Floats) -> Floats:
    turn = np.linspace(0, 2 * np.pi, 97)[:-1]
    size, axes = np.linalg.eigh(covariance)
    # 5.991: chi-square with 2 degrees of freedom at 95 %.
    reach = axes * np.sqrt(np.maximum(size, 0.0) * 5.991464547107979)
    return np.asarray(place + np.column_stack([np.cos(turn), np.sin(turn)]) @ reach.T)


def _frame(observers: Floats, place: Floats, outline: Floats | None) -> tuple[Floats, float, bool]:
    """Lower left corner and side of the square that is drawn [m], and whether a region is cut."""
    seen = np.vstack([observers, place])
    low, high = seen.min(axis=0), seen.max(axis=0)
    side, cut = max(float((high - low).max()), 1.0), False
    if outline is not None:
        whole = np.vstack([seen, outline])
        width = float(np.ptp(whole, axis=0).max())
        cut = width > _LARGEST * side
        if cut:
            half = _LARGEST * side / 2
            whole = np.clip(whole, place - half, place + half)
            whole = np.vstack([whole, seen])
        low, high = whole.min(axis=0), whole.max(axis=0)
        side = float((high - low).max())
    side *= 1.12
    return (low + high - side) / 2, side, cut


def _rays(observers: Floats, azimuth_deg: Floats, place: Floats, at: _Turn) -> list[str]:
    angle = np.radians(azimuth_deg)
    reach = _RAY * np.hypot(*(place - observers).T)
    ends = observers + reach[:, None] * np.column_stack([np.sin(angle), np.cos(angle)])
    return [
        f'<line class="ray" x1="{a[0]:.1f}" y1="{a[1]:.1f}" x2="{b[0]:.1f}" y2="{b[1]:.1f}" '
        f'stroke="{SCALE[3]}" stroke-width="1.2"/>'
        for a, b in zip(at(observers), at(ends), strict=True)
    ]


def _marks(observers: Floats, place: Floats, at: _Turn) -> list[str]:
    found = []
    for number, (x, y) in enumerate(at(observers), start=1):
        found.append(f'<circle class="observer" cx="{x:.1f}" cy="{y:.1f}" r="5" fill="{INK}"/>')
        found.append(_text(x + 8, y - 7, str(number), size=13, weight="bold"))
    x, y = at(place)[0]
    found.append(
        f'<path class="estimate" d="M{x - 8:.1f},{y:.1f}h16M{x:.1f},{y - 8:.1f}v16" '
        f'stroke="{ACCENT}" stroke-width="3"/>'
    )
    return found


def _scale_bar(scale: float, units: Units) -> list[str]:
    unit, name = (M_PER_FOOT, "ft") if units == "us" else (1.0, "m")
    longest = _FRAME / 4 / scale / unit
    power = 10.0 ** np.floor(np.log10(longest))
    length = power * max(step for step in (1, 2, 5) if step * power <= longest)
    x, y = MARGIN + 14, HEAD + _FRAME - 16
    return [
        f'<path class="scale" d="M{x},{y - 6}v6h{length * unit * scale:.1f}v-6" fill="none" '
        f'stroke="{INK}" stroke-width="1.5"/>',
        _text(x + 4, y - 7, f"{length:,.4g} {name}", size=12),
    ]


def _north(true_north_deg: float) -> str:
    x, y = WIDTH - MARGIN - 30, HEAD + 44
    return (
        f'<g class="north" transform="rotate({true_north_deg:.3f} {x} {y})">'
        f'<path d="M{x},{y + 24}V{y - 20}M{x - 6},{y - 10}L{x},{y - 22}L{x + 6},{y - 10}" '
        f'fill="none" stroke="{INK}" stroke-width="1.5"/>'
        f'<text x="{x - 4}" y="{y - 26}" font-size="12" fill="{INK}">N</text></g>'
    )


def _text(x: float, y: float, words: str, *, size: int, weight: str = "normal") -> str:
    return (
        f'<text x="{x:.1f}" y="{y:.1f}" font-size="{size}" font-weight="{weight}" '
        f'fill="{INK}">{_safe(words)}</text>'
    )


def _safe(words: str) -> str:
    return escape(plain_text(words))
