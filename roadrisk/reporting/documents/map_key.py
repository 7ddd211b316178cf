"""The column beside the map on paper: what lines and marks mean, scale, north, credit."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from roadrisk.base.units import M_PER_FOOT, M_PER_MILE
from roadrisk.reporting.documents.drawn import GREY, said
from roadrisk.reporting.palette import ACCENT, INK, ROAD, SCALE
from roadrisk.reporting.wording import credit, number, short_length

if TYPE_CHECKING:
    import geopandas as gpd
    import numpy as np
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure as Canvas
    from numpy.typing import NDArray

    from roadrisk.reporting.editions.edition import Edition

SIZE = (7.2, 3.75)  # inch
FRAME = (0.0, 0.0, 0.765, 1.0)  # of the figure: left, bottom, width, height of the map
WIDTHS = (1.4, 2.0, 2.7, 3.4, 4.2)  # points, by class
TAG_SIZE = 7.0  # points
JUDGED = (0, (1.2, 1.2))
JUDGED_WIDTH = 0.6
WORKS = (0, (0.5, 0.2))
WORKS_WIDTH, CLEAR_WIDTH, ROAD_WIDTH = 10.0, 6.4, 0.9


@dataclass(frozen=True)
class Drawn:
    """What is coloured on the map.

    Attributes
    ----------
    lines : ndarray of shapely.LineString
    classes : ndarray of int
        Of each line; -1: plain road.
    judged : ndarray of bool
        Nobody watched there.
    breaks : tuple of float
        Lower limits of the classes.
    unit : str
    """

    lines: NDArray[np.object_]
    classes: NDArray[np.int64]
    judged: NDArray[np.bool_]
    breaks: tuple[float, ...]
    unit: str


def draw_key(
    canvas: Canvas,
    edition: Edition,
    drawn: Drawn,
    ranked: gpd.GeoDataFrame,
    sites: gpd.GeoDataFrame,
    bounds: tuple[float, float, float, float],
) -> None:
    """Draw the column beside the map: what lines and marks mean, scale, north, credit."""
    axes = canvas.add_axes((FRAME[2] + 0.012, 0.0, 1 - FRAME[2] - 0.012, 1.0))
    wide, high = 72 * SIZE[0] * (1 - FRAME[2] - 0.012), 72 * SIZE[1]
    axes.set(xlim=(0, wide), ylim=(high, 0))
    axes.axis("off")
    y = 9.0

    def write(text: str, x: float = 22.0, *, bold: bool = False, size: float = 6.6) -> None:
        axes.text(x, y, text, fontsize=size, va="center", fontweight="bold" if bold else "normal")

    for part in _wrapped(drawn.unit, 24):
        write(part, 0, bold=True)
        y += 10
    y += 3
    for k in range(len(drawn.breaks) - 1, -1, -1):
        axes.plot([1, 17], [y, y], color=SCALE[k], linewidth=WIDTHS[k], solid_capstyle="butt")
        write(_class(drawn.breaks, k))
        y += 11
    rows: list[tuple[dict[str, Any], str]] = [
        ({"color": ROAD, "linewidth": ROAD_WIDTH}, "less, or not known")
    ]
    if (drawn.judged & (drawn.classes >= 0)).any():
        dash = {"color": SCALE[1], "linewidth": JUDGED_WIDTH * WIDTHS[2], "linestyle": JUDGED}
        rows.append((dash, "thin, broken: not watched,\njudged from roads like it"))
    for style, text in rows:
        y += 4 * text.count("\n")
        axes.plot([1, 17], [y, y], **style)
        write(text)
        y += 11 + 5 * text.count("\n")
    y += 7
    if len(ranked):
        axes.text(9, y, "1", fontsize=TAG_SIZE - 0.5, ha="center", va="center", fontweight="bold",
                  bbox={"facecolor": "white", "edgecolor": INK, "boxstyle": "circle,pad=0.22",
                        "linewidth": 0.8})  # fmt: skip
        write(f"rank, of pieces of\nabout {_window(edition)}")
        y += 21
    if len(sites):
        axes.plot([1, 17], [y, y], color=ACCENT, linewidth=WORKS_WIDTH, linestyle=WORKS,
                  dash_capstyle="butt")  # fmt: skip
        axes.plot([1, 17], [y, y], color="white", linewidth=CLEAR_WIDTH, solid_capstyle="butt")
        axes.plot([1, 17], [y, y], color=SCALE[-1], linewidth=WIDTHS[-1], solid_capstyle="butt")
        write("S1 … works proposed")
        y += 14
    y = high - 48
    _scale_bar(axes, y, edition, wide, bounds)
    axes.annotate("N", (wide - 8, y - 14), xytext=(wide - 8, y + 6), ha="center", va="center",
                  fontsize=7, fontweight="bold",
                  arrowprops={"arrowstyle": "-|>", "color": INK, "linewidth": 0.8})  # fmt: skip
    y = high - 20
    for part in _wrapped(said(credit(edition.study), 90), 28):
        axes.text(0, y, part, fontsize=5.6, color=GREY, va="center")
        y += 8


def _scale_bar(
    axes: Axes, y: float, edition: Edition, wide: float, bounds: tuple[float, float, float, float]
) -> None:
    per_point = (bounds[2] - bounds[0]) / (72 * SIZE[0] * FRAME[2])
    us = edition.study.settings.study.units == "us"
    steps = [(x * M_PER_FOOT, f"{x:,} ft") for x in (100, 200, 500, 1000, 2000)] if us else []
    steps += [(x * M_PER_MILE, f"{x:g} mi") for x in (0.5, 1, 2, 5, 10, 20, 50)] if us else [
        (x, f"{x} m" if x < 1000 else f"{x // 1000} km")
        for x in (50, 100, 200, 500, 1000, 2000, 5000, 10_000, 20_000, 50_000)
    ]  # fmt: skip
    fitting = [step for step in steps if step[0] / per_point <= 0.7 * wide] or steps[:1]
    long = fitting[-1][0] / per_point
    axes.plot([1, 1, 1 + long, 1 + long], [y - 3, y, y, y - 3], color=INK, linewidth=0.9)
    axes.text(1 + long / 2, y + 7, fitting[-1][1], fontsize=6.6, ha="center", va="center")


def _class(breaks: tuple[float, ...], k: int) -> str:
    low = number(breaks[k])
    return f"{low} to {number(breaks[k + 1])}" if k + 1 < len(breaks) else f"{low} and more"


def _window(edition: Edition) -> str:
    settings = edition.study.settings
    return short_length(settings.hotspots.rank_window_m, settings.study.units)


def _wrapped(text: str, most: int) -> list[str]:
    lines = [""]
    for word in text.split():
        if lines[-1] and len(lines[-1]) + 1 + len(word) > most:
            lines.append("")
        lines[-1] = f"{lines[-1]} {word}".strip()
    return lines
