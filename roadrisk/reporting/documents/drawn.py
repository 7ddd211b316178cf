"""Pictures drawn with matplotlib: the same everywhere, quiet, and in a grey print too."""

from __future__ import annotations

import io
from typing import TYPE_CHECKING, Any

from roadrisk.reporting.documents.blocks import Figure
from roadrisk.reporting.documents.pdf import printable
from roadrisk.reporting.palette import INK

if TYPE_CHECKING:
    from collections.abc import Callable

    from matplotlib.axes import Axes
    from matplotlib.figure import Figure as Canvas

GREY = "#8a877f"
HAIR = "#d5d3cc"
_PNG_DPI = 200
# Fonts go in as outlines, ids from a fixed salt: no font of the reader's machine, no chance.
_STYLE: dict[str, Any] = {
    "svg.fonttype": "path", "svg.hashsalt": "roadrisk", "font.family": "DejaVu Sans",
    "font.size": 7.5, "text.color": INK, "axes.labelcolor": INK, "axes.edgecolor": GREY,
    "xtick.labelsize": 6.6,
    "ytick.labelsize": 6.6, "xtick.color": INK, "ytick.color": INK, "axes.linewidth": 0.6,
    "axes.spines.top": False, "axes.spines.right": False, "figure.facecolor": "white",
    "axes.facecolor": "white", "xtick.major.width": 0.6, "ytick.major.width": 0.6,
    "axes.unicode_minus": True, "text.parse_math": False, "path.simplify": False,
}  # fmt: skip


def draw(
    size: tuple[float, float],
    paint: Callable[[Canvas], None],
    *,
    alt: str,
    caption: str,
    width: float = 1.0,
) -> Figure:
    """Return a picture.

    Parameters
    ----------
    size : tuple of float
        Width and height [inch].
    paint : callable
        Draws on an empty canvas; its texts go through `said`.
    alt, caption : str
    width : float
        Share of the text's width.

    Returns
    -------
    Figure
        SVG with outlines of letters, and PNG; neither holds a date or what made it. The same
        arguments give the same bytes.
    """
    import matplotlib as mpl
    from matplotlib.backends.backend_agg import FigureCanvasAgg
    from matplotlib.figure import Figure as Canvas

    # Of this type since matplotlib's stub names every key.
    style: Any = mpl.rcParams
    with mpl.rc_context():
        style.update(mpl.rcParamsDefault)
        style.update(_STYLE)
        canvas = Canvas(figsize=size, dpi=_PNG_DPI)
        FigureCanvasAgg(canvas)
        paint(canvas)
        svg, png = io.BytesIO(), io.BytesIO()
        nothing = {"Date": None, "Creator": None, "Type": None, "Format": None}
        canvas.savefig(svg, format="svg", metadata=nothing)
        canvas.savefig(png, format="png", dpi=_PNG_DPI, metadata={"Software": None})
    return Figure(svg.getvalue(), png.getvalue(), printable(alt), printable(caption), width)


def said(text: str, most: int = 40) -> str:
    """Return text from data as a picture shows it: no unseen marks, cut where it is long."""
    clean = " ".join(printable(text).replace("\N{ZERO WIDTH SPACE}", "").split())
    return clean if len(clean) <= most else f"{clean[: most - 1].rstrip()}…"


def quiet(axes: Axes, *, lines: bool = True) -> None:
    """Leave an axis its scale and faint lines across, and nothing else."""
    axes.tick_params(length=2, pad=2)
    if lines:
        axes.grid(visible=True, axis="y", color=HAIR, linewidth=0.5)
        axes.set_axisbelow(True)
