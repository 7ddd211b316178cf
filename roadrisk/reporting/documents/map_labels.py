"""Places for labels on a map, so that none hides another and roads stay free as far as can be."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np
import shapely

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence

    from numpy.typing import NDArray

# Distances from the place to the label's middle that are tried [in label heights].
_FAR = (1.1, 1.5, 2.0, 2.7, 3.5, 4.5, 6.0, 8.0, 11.0)
_WAYS = 16
_STRAIGHT = 0.985


class Room:
    """What is taken on a map, as cells of a grid: labels wholly, lines by their weight.

    Parameters
    ----------
    width, height : float
        Of the map [points]; a cell is a square of one point.
    """

    def __init__(self, width: float, height: float) -> None:
        """Begin with an empty map."""
        self._taken = np.zeros((math.ceil(height), math.ceil(width)), dtype=np.bool_)
        self._busy = np.zeros(self._taken.shape, dtype=np.float64)

    def weigh(self, lines: Iterable[shapely.LineString], weight: float) -> None:
        """Make labels keep off lines, given in the map's points."""
        for line in lines:
            steps = np.arange(0.0, shapely.length(line) + 1.0, 1.0)
            at = shapely.get_coordinates(shapely.line_interpolate_point(line, steps))
            rows, columns = self._cells(at)
            self._busy[rows, columns] = np.maximum(self._busy[rows, columns], weight)

    def place(
        self, at: tuple[float, float], size: tuple[float, float]
    ) -> tuple[float, float] | None:
        """Take room for an upright label near a place.

        Parameters
        ----------
        at : tuple of float
            The place [points].
        size : tuple of float
            Width and height of the label.

        Returns
        -------
        tuple of float or None
            Its middle; None where no room is left.
        """
        best: tuple[float, tuple[float, float]] | None = None
        for far in _FAR:
            for way in range(_WAYS):
                angle = 2 * math.pi * way / _WAYS
                # Wide labels need more room sideways than up and down.
                x = at[0] + math.cos(angle) * (far * size[1] + (size[0] - size[1]) / 2)
                y = at[1] + math.sin(angle) * far * size[1]
                cost = self._cost(_box((x, y), size, 0.0))
                if cost is not None:
                    cost += 3.0 * far * size[1]
                    if best is None or cost < best[0]:
                        best = (cost, (x, y))
        if best is None:
            return None
        self._take(_box(best[1], size, 0.0))
        self._take_line(at, best[1])
        return best[1]

    def along(
        self, line: shapely.LineString, size: tuple[float, float], off: float
    ) -> tuple[float, float, float] | None:
        """Take room for a name beside a line, along it where it is straight.

        Parameters
        ----------
        line : shapely.LineString
            In the map's points.
        size : tuple of float
        off : float
            From the line to the name's middle [points].

        Returns
        -------
        tuple of float or None
            Its middle and its angle [degrees], to be read from below or from the right.
        """
        best: tuple[float, tuple[float, float, float]] | None = None
        long, half = shapely.length(line), size[0] / 2
        for middle in np.arange(half, long - half, 6.0).tolist():
            ends = shapely.line_interpolate_point(line, [middle - half, middle + half])
            (x0, y0), (x1, y1) = shapely.get_coordinates(ends)
            if math.hypot(x1 - x0, y1 - y0) < _STRAIGHT * size[0]:
                continue
            angle = math.atan2(y1 - y0, x1 - x0)
            for side in (off, -off):
                x = (x0 + x1) / 2 - math.sin(angle) * side
                y = (y0 + y1) / 2 + math.cos(angle) * side
                cost = self._cost(_box((x, y), size, angle))
                if cost is not None and (best is None or cost < best[0]):
                    turned = (math.degrees(angle) + 90) % 180 - 90
                    best = (cost, (x, y, turned))
        if best is None:
            return None
        x, y, turned = best[1]
        self._take(_box((x, y), (size[0] + 8, size[1]), math.radians(turned)))
        return best[1]

    def _cost(self, box: NDArray[np.float64]) -> float | None:
        high, wide = self._taken.shape
        x, y = box[:, 0], box[:, 1]
        if x.min() < 2 or y.min() < 2 or x.max() > wide - 2 or y.max() > high - 2:
            return None
        rows, columns = self._cells(box)
        if self._taken[rows, columns].any():
            return None
        return float(self._busy[rows, columns].sum())

    def _take(self, box: NDArray[np.float64]) -> None:
        rows, columns = self._cells(box)
        self._taken[rows, columns] = True

    def _take_line(self, start: Sequence[float], end: Sequence[float]) -> None:
        self.weigh([shapely.LineString([start, end])], 40.0)

    def _cells(self, at: NDArray[np.float64]) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
        high, wide = self._taken.shape
        rows = np.clip(np.floor(at[:, 1]), 0, high - 1).astype(np.int64)
        columns = np.clip(np.floor(at[:, 0]), 0, wide - 1).astype(np.int64)
        return rows, columns


def _box(
    middle: tuple[float, float], size: tuple[float, float], angle: float
) -> NDArray[np.float64]:
    """Return points of a label, a point apart, its edges among them."""
    across = np.linspace(-size[0] / 2, size[0] / 2, max(2, math.ceil(size[0]) + 1))
    up = np.linspace(-size[1] / 2, size[1] / 2, max(2, math.ceil(size[1]) + 1))
    x, y = (part.ravel() for part in np.meshgrid(across, up))
    turned = np.column_stack([
        middle[0] + x * math.cos(angle) - y * math.sin(angle),
        middle[1] + x * math.sin(angle) + y * math.cos(angle),
    ])  # fmt: skip
    return np.asarray(turned, dtype=np.float64)
