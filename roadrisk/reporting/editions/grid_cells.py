"""Cells of the decimal geographic grid, by whole numbers: no rounding decides where one ends."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import shapely

if TYPE_CHECKING:
    from collections.abc import Iterable

    from numpy.typing import NDArray

    from roadrisk.release_settings import Sensitivity

FINEST_DEGREES = 0.001
COARSEST = 3
"""The level of cells of one degree, the widest."""
LEVELS: dict[Sensitivity, int | None] = {"extreme": None, "high": 2, "medium": 1, "low": 0}
"""Side of a class's cells is 0.001 * 10**level degrees; None: no places at all (Chapman 2020,
https://doi.org/10.15468/doc-5jp4-5g10, table 7)."""

Square = tuple[int, int, int]
"""level, column and row: of the cell whose south-west corner is column and row times its side."""


def size_degrees(level: int) -> float:
    """Return the side of a level's cells [degrees]."""
    return round(FINEST_DEGREES * 10**level, 3)


def finest(longitude: NDArray[np.float64], latitude: NDArray[np.float64]) -> NDArray[np.int64]:
    """Return column and row of the finest cells that places lie in.

    Parameters
    ----------
    longitude, latitude : ndarray of float, shape (n,)
        WGS 84 [degrees].

    Returns
    -------
    ndarray of int, shape (n, 2)
        A place on an edge belongs to the cell east or north of it.
    """
    # A number such as 19.403 is a hair below its decimal in binary: mended before the floor.
    parts = np.round(np.column_stack([longitude, latitude]) / FINEST_DEGREES, 6)
    return np.floor(parts).astype(np.int64)


def square_of(cell: tuple[int, int], level: int) -> Square:
    """Return the square of a level that a finest cell lies in."""
    side = 10**level
    return level, cell[0] // side, cell[1] // side


def parent(square: Square) -> Square:
    """Return the square ten times as wide that a square lies in."""
    level, column, row = square
    return level + 1, column // 10, row // 10


def shape_of(square: Square, without: Iterable[Square] = ()) -> shapely.Geometry:
    """Return a square as a polygon in WGS 84 [degrees], less other squares."""
    whole = _box(square)
    holes = [_box(other) for other in without]
    return whole.difference(shapely.union_all(holes)) if holes else whole


def corner_words(square: Square) -> str:
    """Return a square's name: latitude and longitude of its south-west corner."""
    level, column, row = square
    digits = 3 - level
    size = size_degrees(level)
    return f"{row * size:.{digits}f} {column * size:.{digits}f}"


def _box(square: Square) -> shapely.Polygon:
    level, column, row = square
    side = 10**level
    ends = [round(n * FINEST_DEGREES, 3) for n in
            (column * side, row * side, (column + 1) * side, (row + 1) * side)]  # fmt: skip
    return shapely.box(*ends)
