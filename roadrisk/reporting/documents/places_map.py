"""The map on paper: roads, deaths along them, the worst places and what is proposed."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, Any

import numpy as np
import shapely
from shapely.affinity import affine_transform

from roadrisk.reporting.csv_text import plain_text
from roadrisk.reporting.death_layer import DRAWN
from roadrisk.reporting.documents.drawn import HAIR, draw, said
from roadrisk.reporting.documents.map_key import (
    CLEAR_WIDTH,
    FRAME,
    JUDGED,
    JUDGED_WIDTH,
    ROAD_WIDTH,
    SIZE,
    TAG_SIZE,
    WIDTHS,
    WORKS,
    WORKS_WIDTH,
    Drawn,
    draw_key,
)
from roadrisk.reporting.documents.map_labels import Room
from roadrisk.reporting.drawn_roads import MOST_ON_PAPER, drawn_findings
from roadrisk.reporting.palette import ACCENT, INK, PAPER, ROAD, SCALE, class_breaks, classify
from roadrisk.reporting.place_sheets import scale_of
from roadrisk.reporting.wording import (
    length_unit,
    per_length_unit,
    ranked_by,
)

if TYPE_CHECKING:
    from collections.abc import Sequence

    import geopandas as gpd
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure as Canvas
    from numpy.typing import NDArray

    from roadrisk.findings import Findings
    from roadrisk.reporting.documents.blocks import Figure
    from roadrisk.reporting.editions.edition import Edition

MOST_RANKS, MOST_SITES, MOST_NAMES = 5, 9, 12
_LEAST_M = 1500.0
_CHAR, _HIGH = 0.56, 1.25  # of a letter: mean width, height of a line [of its size]
_NAME_SIZE = 6.0


def places_map(edition: Edition) -> Figure:
    """Return a map of the roads with deaths along them, the worst places and proposed sites.

    Roads are grey; deaths per km or mile and year are darker and wider the more there are (where
    nothing tells of deaths: crossings and reports); the first five ranks are numbered, sites are
    dashed and named S1 and so on. It shows the part of the network that holds them all.

    Parameters
    ----------
    edition : Edition

    Returns
    -------
    Figure
    """
    whole = edition.findings
    findings = drawn_findings(whole, MOST_ON_PAPER)
    edition = replace(edition, findings=findings)
    sites = findings.measures.chosen.iloc[:MOST_SITES]
    ranked = findings.ranked.iloc[:MOST_RANKS]
    bounds = _bounds(findings, ranked, sites)
    coloured = _coloured(edition)
    alt = _alt(findings, ranked, sites)

    def paint(canvas: Canvas) -> None:
        axes = canvas.add_axes(FRAME)
        axes.set_facecolor(PAPER)
        axes.set(xlim=bounds[::2], ylim=bounds[1::2], xticks=[], yticks=[])
        for spine in axes.spines.values():
            spine.set(visible=True, color=HAIR)
        to_points = _to_points(bounds)
        roads = _within(findings.segments.geometry.to_numpy(), bounds)
        _lines(axes, roads, colors=ROAD, linewidths=ROAD_WIDTH)
        _sites(axes, sites)
        _deaths(axes, coloured, bounds)
        room = Room(72 * SIZE[0] * FRAME[2], 72 * SIZE[1])
        room.weigh(affine(roads, to_points), 1.0)
        room.weigh(affine(_within(coloured.lines, bounds), to_points), 4.0)
        for side in (-WORKS_WIDTH / 2, WORKS_WIDTH / 2):
            lines = affine(_within(sites.geometry.to_numpy(), bounds), to_points)
            beside = shapely.get_parts(shapely.offset_curve(lines, side))
            room.weigh([line for line in beside if not line.is_empty], 8.0)
        _tags(axes, room, ranked, sites, to_points)
        _names(axes, room, findings.segments, bounds, to_points)
        draw_key(canvas, edition, coloured, ranked, sites, bounds)

    return draw(SIZE, paint, alt=alt, caption=_caption(whole, findings, ranked, bounds))


def affine(lines: Sequence[Any] | NDArray[np.object_], matrix: Sequence[float]) -> list[Any]:
    """Return simple lines in the map's points; those of several parts are taken apart."""
    parts = shapely.get_parts(np.asarray(lines, dtype=object))
    return [affine_transform(part, matrix) for part in parts if part.geom_type == "LineString"]


def _bounds(findings: Findings, ranked: gpd.GeoDataFrame, sites: gpd.GeoDataFrame) -> tuple[
    float, float, float, float
]:  # fmt: skip
    """Return the part to show [m]: around all that is marked, and of the frame's shape."""
    whole = findings.segments.total_bounds
    marked = np.array([table.total_bounds for table in (ranked, sites) if len(table)] or [whole])
    box = np.concatenate([marked[:, :2].min(axis=0), marked[:, 2:].max(axis=0)])
    long = max(box[2] - box[0], box[3] - box[1])
    near = max(_LEAST_M, 0.6 * long)
    # Not much more than the network where it ends sooner.
    out = np.array([max(box[0] - near, whole[0]), max(box[1] - near, whole[1]),
                    min(box[2] + near, whole[2]), min(box[3] + near, whole[3])])  # fmt: skip
    pad = 0.03 * max(out[2] - out[0], out[3] - out[1], 100.0)
    out += np.array([-pad, -pad, pad, pad])
    shape = SIZE[0] * FRAME[2] / (SIZE[1] * FRAME[3])
    width, height = out[2] - out[0], out[3] - out[1]
    more = (max(width, height * shape) - width) / 2, (max(height, width / shape) - height) / 2
    return (float(out[0] - more[0]), float(out[1] - more[1]),
            float(out[2] + more[0]), float(out[3] + more[1]))  # fmt: skip


def _to_points(bounds: tuple[float, float, float, float]) -> list[float]:
    """Return the matrix from metres to points of the frame, as `shapely.affinity` takes it."""
    times = 72 * SIZE[0] * FRAME[2] / (bounds[2] - bounds[0])
    return [times, 0.0, 0.0, times, -times * bounds[0], -times * bounds[1]]


def _within(
    lines: NDArray[np.object_], bounds: tuple[float, float, float, float]
) -> NDArray[np.object_]:
    cut = shapely.clip_by_rect(lines, *bounds)
    return np.asarray(cut[~shapely.is_empty(cut)])


def _coloured(edition: Edition) -> Drawn:
    """Return what is drawn in colour, by what the ranked list goes by."""
    findings, scale = edition.findings, scale_of(edition.study, edition.findings)
    units, column = scale.units, DRAWN[scale.by]
    per = f"per {length_unit(units)} and year"
    if column is None:
        table, column, unit = findings.lixels, "density_per_km_year", f"Crossings and reports {per}"
    elif column == "deaths_per_km_year":
        table, unit = findings.deaths.pieces, f"Road deaths {per}"
    else:
        table, unit = findings.deaths.pieces, "Deaths, times the mean of all roads"
    times = 1.0 if unit.endswith("all roads") else per_length_unit(1.0, units)
    values = table[column].to_numpy(np.float64) * times
    breaks = class_breaks(values)
    classes = classify(values, breaks) if breaks else np.full(len(values), -1)
    # Lower classes have fewer colours than the scale where little differs.
    watched = (
        table["watched"].to_numpy(bool) if "watched" in table else np.ones(len(table), np.bool_)
    )
    judged = ~watched if watched.any() else np.zeros(len(table), np.bool_)
    return Drawn(table.geometry.to_numpy(), classes, judged, breaks, unit)


def _deaths(axes: Axes, drawn: Drawn, bounds: tuple[float, float, float, float]) -> None:
    for k in range(len(drawn.breaks)):
        for judged in (True, False):
            mine = drawn.lines[(drawn.classes == k) & (drawn.judged == judged)]
            style: dict[str, Any] = (
                {"linewidths": JUDGED_WIDTH * WIDTHS[k], "linestyles": [JUDGED]}
                if judged else {"linewidths": WIDTHS[k]}
            )  # fmt: skip
            _lines(axes, _within(mine, bounds), colors=SCALE[k], capstyle="butt", zorder=3 + k,
                   **style)  # fmt: skip


def _lines(axes: Axes, lines: NDArray[np.object_], **style: Any) -> None:
    from matplotlib.collections import LineCollection

    parts = shapely.get_parts(lines)
    kept = [shapely.get_coordinates(part) for part in parts if part.geom_type == "LineString"]
    if kept:
        axes.add_collection(LineCollection(kept, **style), autolim=False)


def _sites(axes: Axes, sites: gpd.GeoDataFrame) -> None:
    """Draw proposed sites as broken lines on both sides of what is coloured, clear of it."""
    lines = sites.geometry.to_numpy()
    _lines(axes, lines, colors=ACCENT, linewidths=WORKS_WIDTH, linestyles=[WORKS],
           capstyle="butt", zorder=2)  # fmt: skip
    _lines(axes, lines, colors=PAPER, linewidths=CLEAR_WIDTH, capstyle="butt", zorder=2.2)
    _lines(axes, lines, colors=ROAD, linewidths=ROAD_WIDTH, capstyle="butt", zorder=2.4)


def _tags(
    axes: Axes,
    room: Room,
    ranked: gpd.GeoDataFrame,
    sites: gpd.GeoDataFrame,
    matrix: Sequence[float],
) -> None:
    site = {"facecolor": ACCENT, "edgecolor": "white", "boxstyle": "square,pad=0.25"}
    rank = {"facecolor": "white", "edgecolor": INK, "boxstyle": "circle,pad=0.22"}
    marks = [(f"S{row.site:.0f}", row.geometry, site, "white") for row in sites.itertuples()]
    marks += [(f"{row.rank:.0f}", row.geometry, rank, INK) for row in ranked.itertuples()]
    for text, shape, box, colour in marks:
        here = _middle(shape)
        (x, y), = shapely.get_coordinates(affine_transform(here, matrix))  # fmt: skip
        wide = TAG_SIZE * (_CHAR * len(text) + 0.9)
        spot = room.place((x, y), (wide + 2, 1.75 * TAG_SIZE))
        if spot is None:
            continue
        back = ((spot[0] - matrix[4]) / matrix[0], (spot[1] - matrix[5]) / matrix[3])
        axes.annotate(
            text, (here.x, here.y), xytext=back, ha="center", va="center", fontsize=TAG_SIZE,
            fontweight="bold", color=colour, bbox={**box, "linewidth": 0.8}, zorder=20,
            arrowprops={"arrowstyle": "-", "color": INK, "linewidth": 0.6, "shrinkA": 0,
                        "shrinkB": 0, "zorder": 12},
        )  # fmt: skip


def _middle(shape: shapely.Geometry) -> shapely.Point:
    parts = shapely.get_parts(shape)
    longest = parts[int(np.argmax(shapely.length(parts)))]
    return shapely.line_interpolate_point(longest, 0.5, normalized=True)


def _names(
    axes: Axes,
    room: Room,
    segments: gpd.GeoDataFrame,
    bounds: tuple[float, float, float, float],
    matrix: Sequence[float],
) -> None:
    """Write names along the longest roads of the part that is shown, where there is room."""
    named = segments[segments["name"].map(plain_text) != ""]
    found: list[tuple[float, str, list[Any]]] = []
    for name, group in named.groupby(named["road"].map(plain_text), sort=True):
        cut = _within(group.geometry.to_numpy(), bounds)
        merged = shapely.line_merge(shapely.union_all(cut)) if len(cut) else None
        lines = affine([merged], matrix) if merged is not None else []
        if lines:
            found.append((-sum(map(shapely.length, lines)), str(name), lines))
    written = 0
    for _, name, lines in sorted(found, key=lambda road: road[:2]):
        if written == MOST_NAMES:
            break
        text = said(name, 28)
        size = (_NAME_SIZE * _CHAR * len(text) + 2, _NAME_SIZE * _HIGH)
        for line in sorted(lines, key=shapely.length, reverse=True):
            spot = room.along(line, size, 0.55 * _NAME_SIZE * _HIGH + 2.6)
            if spot is not None:
                written += 1
                axes.text((spot[0] - matrix[4]) / matrix[0], (spot[1] - matrix[5]) / matrix[3],
                          text, fontsize=_NAME_SIZE, color="#4a4842", rotation=spot[2],
                          ha="center", va="center", rotation_mode="anchor", zorder=8)  # fmt: skip
                break


def _alt(findings: Findings, ranked: gpd.GeoDataFrame, sites: gpd.GeoDataFrame) -> str:
    worst = "; ".join(f"{row.rank:.0f}: {plain_text(row.place)}" for row in ranked.itertuples())
    works = "; ".join(f"S{row.site:.0f}: {plain_text(row.place)}" for row in sites.itertuples())
    what = "crossings and reports" if ranked_by(findings.deaths) == "evidence" else "deaths"
    said_ = [f"Map of the roads with {what} along them."]
    said_ += [f"Worst places, by rank: {worst}."] if worst else []
    said_ += [f"Works proposed at {works}."] if works else ["No works are proposed."]
    return " ".join(said_)


def _caption(
    every: Findings,
    findings: Findings,
    ranked: gpd.GeoDataFrame,
    bounds: tuple[float, float, float, float],
) -> str:
    if not len(ranked):
        return "The roads of the study; no place is ranked."
    whole = findings.segments.total_bounds
    inside = bounds[0] <= whole[0] and bounds[1] <= whole[1] and (
        bounds[2] >= whole[2] and bounds[3] >= whole[3]
    )  # fmt: skip
    part = "" if inside else " The part of the roads that holds all marked places."
    if len(findings.segments) < len(every.segments):
        part += " Of small roads, those near marked places and where most is counted."
    return f"Where it is worst and what is proposed. Darker and wider: more.{part}"
