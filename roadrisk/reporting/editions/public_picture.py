"""A picture of the public edition's cells: squares, shades and counts, and nothing below them."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np
import shapely

from roadrisk.reporting.chart_marks import chart, path, words
from roadrisk.reporting.palette import INK, SCALE, UNWATCHED, class_breaks, classify
from roadrisk.reporting.wording import count, number

if TYPE_CHECKING:
    from collections.abc import Sequence

    import geopandas as gpd
    from numpy.typing import NDArray

    from roadrisk.base.units import Units

_WIDE, _HIGH, _LARGEST = 330.0, 430.0, 110.0
_LEFT, _TOP, _BELOW, _RIGHT = 58.0, 6.0, 34.0, 44.0
# Around a count: half of its height, of each digit's width, and of what is left free.
_DIGIT, _HALF, _FREE = 3.6, 8.0, 2.5
# Sides of a small square that are drawn around the small ones, where there are larger ones too.
_MARGIN = 2.0
_ROW, _SWATCH = 20.0, 16.0
_HATCH = (
    '<defs><pattern id="thin" width="7" height="7" patternUnits="userSpaceOnUse">'
    '<rect width="7" height="7" fill="#fff"/>'
    f'<path d="M0 7L7 0" stroke="{UNWATCHED}" stroke-width="1"/></pattern></defs>'
)
# Mean Earth radius 6,371.0 km, from memory; said to two digits.
_KM_PER_DEGREE = 6371.0 * math.pi / 180
_KM_PER_MILE = 1.609344


def picture(cells: gpd.GeoDataFrame) -> str:
    """Draw the cells, north up, darker where more animals were counted.

    Parameters
    ----------
    cells : geopandas.GeoDataFrame
        `PublicRelease.cells`.

    Returns
    -------
    str
        An SVG element with what it shows in words; "" without cells. The count stands in each
        cell that has room for it.
    """
    if cells.empty:
        return ""
    sides = cells["size_degrees"].to_numpy(float)
    # A larger square holds animals that were too thinly spread for small ones: no shade is its.
    small = sides <= sides.min() * 1.001
    frame = west, south, east, north = _frame(cells, small)
    middle = math.cos(math.radians((south + north) / 2))
    scale = min(_WIDE / ((east - west) * middle), _HIGH / (north - south), _LARGEST / sides.min())
    stretch = np.array([middle * scale, -scale])
    drawn = shapely.transform(
        cells.geometry.to_numpy(), lambda xy: (xy - [west, north]) * stretch + [_LEFT, _TOP]
    )
    wide, high = (east - west) * middle * scale, (north - south) * scale
    bottom = _TOP + high
    inside = shapely.intersection(drawn, shapely.box(_LEFT, _TOP, _LEFT + wide, bottom))
    animals = cells["animals"].to_numpy(np.float64)
    shades, entries = _shades(animals, small)
    order = np.argsort(-shapely.area(drawn).round(), kind="stable")
    outline = f'x="{_LEFT:.1f}" y="{_TOP:.1f}" width="{wide:.1f}" height="{high:.1f}"'
    parts = [
        f'<defs><clipPath id="frame"><rect {outline}/></clipPath></defs>',
        *([_HATCH] if not small.all() else []),
        '<g clip-path="url(#frame)">',
        *(_cell(drawn[k], shades[k]) for k in order),
        f'</g><rect {outline} fill="none" stroke="{INK}" stroke-width="0.8"/>',
        *(_count(inside[k], int(animals[k])) for k in order),
        *_edges(frame, wide, bottom),
        *_north(_LEFT + wide + _RIGHT / 2 + 4, _TOP),
        *_key(entries, bottom + _BELOW),
    ]
    spoken = (
        f"Map of {_squares(len(cells))}, {_degrees(south, 'NS')} to {_degrees(north, 'NS')} and "
        f"{_degrees(west, 'EW')} to {_degrees(east, 'EW')}, north up. Animals counted: "
        f"{_from_to(count(animals.min()), count(animals.max()))} in a square. The table below has "
        "each."
    )
    width = max(_LEFT + wide + _RIGHT, 300.0)
    return chart(width, bottom + _BELOW + 4 + _ROW * len(entries), spoken, parts)


def is_cut(cells: gpd.GeoDataFrame) -> bool:
    """Return whether larger squares go on beyond the picture, which is drawn around small ones."""
    if cells.empty:
        return False
    sides = cells["size_degrees"].to_numpy(float)
    return _frame(cells, sides <= sides.min() * 1.001) != tuple(cells.total_bounds.tolist())


def size_words(cells: gpd.GeoDataFrame, units: Units) -> str:
    """Return how large the squares are on the ground; "" without cells.

    Parameters
    ----------
    cells : geopandas.GeoDataFrame
        `PublicRelease.cells`.
    units : {"metric", "us"}

    Returns
    -------
    str
        One sentence for each size, smallest first.
    """
    if cells.empty:
        return ""
    _, south, _, north = cells.total_bounds
    middle = math.cos(math.radians((south + north) / 2))
    unit, km = ("miles", _KM_PER_MILE) if units == "us" else ("km", 1.0)
    said = []
    for side in sorted({round(float(s), 3) for s in cells["size_degrees"]}):
        tall = side * _KM_PER_DEGREE / km
        said.append(
            f"A square of {side:g} degrees is about {number(tall, 2)} {unit} from south to north "
            f"and {number(tall * middle, 2)} {unit} from west to east."
        )
    return " ".join(said)


def _frame(cells: gpd.GeoDataFrame, small: NDArray[np.bool_]) -> tuple[float, ...]:
    """Return west, south, east, north of what is drawn: small squares and a margin."""
    all_ = cells.total_bounds
    if small.all():
        return tuple(all_.tolist())
    margin = _MARGIN * float(cells["size_degrees"].min())
    near = cells.geometry[small].total_bounds + np.array([-1, -1, 1, 1]) * margin
    low, high = np.maximum(near[:2], all_[:2]), np.minimum(near[2:], all_[2:])
    return tuple(np.concatenate([low, high]).round(3).tolist())


def _shades(
    animals: NDArray[np.float64], small: NDArray[np.bool_]
) -> tuple[list[str], list[tuple[str, str]]]:
    """Return each cell's filling, and fillings with their words, most animals first."""
    breaks = class_breaks(animals[small])
    classes = np.where(small, classify(animals, breaks), -2)
    shades = dict(enumerate(SCALE[len(SCALE) - len(breaks) :] if breaks else ()))
    shades |= {-1: "#fff", -2: "url(#thin)"}
    said = {-1: "none", -2: "larger square, animals far apart"}
    for k, limit in enumerate(breaks):
        low, last = math.ceil(limit), k + 1 == len(breaks)
        above = "or more" if last else f"to {math.ceil(breaks[k + 1]) - 1:,}"
        said[k] = f"{low:,} {above} animals"
    there = sorted(set(classes.tolist()), reverse=True)
    return [shades[k] for k in classes.tolist()], [(shades[k], said[k]) for k in there]


def _cell(shape: shapely.Geometry, shade: str) -> str:
    course = " ".join(
        "M" + "L".join(f"{x:.1f} {y:.1f}" for x, y in shapely.get_coordinates(ring)[:-1]) + "Z"
        for part in shapely.get_parts(shape)
        for ring in shapely.get_rings(part)
    )
    return (
        f'<path d="{course}" fill="{shade}" fill-rule="evenodd" stroke="{INK}" '
        'stroke-width="0.8" stroke-linejoin="round"/>'
    )


def _count(shape: shapely.Geometry, animals: int) -> str:
    """Return a count on a white plate in a cell's middle or widest place; "" without room."""
    # A cell beyond the frame has nothing in it, or a mere edge.
    parts = [p for p in shapely.get_parts(shape) if isinstance(p, shapely.Polygon) and p.area]
    if not parts:
        return ""
    largest = max(parts, key=lambda part: part.area)
    text = f"{animals:,}"
    half = max(_HALF, _DIGIT * len(text) + _FREE)
    circle = shapely.maximum_inscribed_circle(largest, tolerance=0.5)
    for x, y in (largest.centroid.coords[0], circle.coords[0]):
        if largest.contains(shapely.box(x - half - 1, y - _HALF - 1, x + half + 1, y + _HALF + 1)):
            plate = (
                f'<rect x="{x - half:.1f}" y="{y - _HALF:.1f}" width="{2 * half:.1f}" '
                f'height="{2 * _HALF:.1f}" rx="3" fill="#fff"/>'
            )
            return plate + words(x, y + 4, text, bold=True)
    return ""


def _edges(bounds: Sequence[float], wide: float, bottom: float) -> list[str]:
    west, south, east, north = bounds
    beside, below = _LEFT - 6, bottom + 18
    return [
        words(beside, _TOP + 9, _degrees(north, "NS"), "end"),
        words(beside, bottom, _degrees(south, "NS"), "end"),
        words(_LEFT, below, _degrees(west, "EW"), "start" if wide > 120 else "middle"),
        words(_LEFT + wide, below, _degrees(east, "EW"), "end" if wide > 120 else "middle"),
    ]


def _north(x: float, y: float) -> list[str]:
    return [path(f"M{x:.1f} {y + 34:.1f}V{y + 2:.1f}m-5 8l5 -8l5 8", wide=1.6),
            words(x, y + 50, "N", bold=True)]  # fmt: skip


def _key(entries: Sequence[tuple[str, str]], top: float) -> list[str]:
    parts = []
    for k, (shade, text) in enumerate(entries):
        y = top + k * _ROW
        parts.append(
            f'<rect x="{_LEFT:.1f}" y="{y:.1f}" width="{_SWATCH:g}" height="{_SWATCH - 3:g}" '
            f'fill="{shade}" stroke="{INK}" stroke-width="0.8"/>'
        )
        parts.append(words(_LEFT + _SWATCH + 8, y + 11, text, "start"))
    return parts


def _degrees(value: float, ends: str) -> str:
    """Return a coordinate in words: 52.2° N."""
    return f"{round(abs(value), 3):g}° {ends[0] if value >= 0 else ends[1]}"


def _squares(number_: int) -> str:
    return "1 square" if number_ == 1 else f"{number_:,} squares"


def _from_to(low: str, high: str) -> str:
    return low if low == high else f"{low} to {high}"
