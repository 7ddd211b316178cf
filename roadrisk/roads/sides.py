"""Whether two straight pieces meet, and where: decided in whole millimetres, where it is exact."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from numba import njit

if TYPE_CHECKING:
    from roadrisk.roads.network import Floats

SPARE_M = 4e-3
"""What is near by less than this is looked at in whole millimetres."""

_PER_M = 1000.0
# Differences below this keep every product inside 64 bits (about 1,000 km).
_EXACT = 2**30


@njit(cache=True, nogil=True)
def meeting_of_two(
    ax: float, ay: float, bx: float, by: float, piece: Floats
) -> tuple[bool, float, float]:
    """Whether step a-b meets the piece p-q, and where (shares of the piece and of the step)."""
    if not sides_differ(ax, ay, bx, by, piece):
        return False, 0.0, 0.0
    share, along = shares_of(ax, ay, bx, by, piece)
    return True, share, along


@njit(cache=True, nogil=True)
def sides_differ(ax: float, ay: float, bx: float, by: float, piece: Floats) -> bool:
    """Whether step a-b meets the piece p-q, decided in whole millimetres.

    Where the ends of each lie clearly (by `SPARE_M`) on either side of the other, rounding moves
    none of them across (no height of a triangle of three of the ends is under 2 mm, and rounding
    moves each by less than 0.71 mm): such pairs need not be asked about.
    """
    iax, iay = int(np.rint(ax * _PER_M)), int(np.rint(ay * _PER_M))
    ibx, iby = int(np.rint(bx * _PER_M)), int(np.rint(by * _PER_M))
    px, py = int(np.rint(piece[0] * _PER_M)), int(np.rint(piece[1] * _PER_M))
    qx, qy = int(np.rint(piece[2] * _PER_M)), int(np.rint(piece[3] * _PER_M))
    side_a = _moved_side(qx - px, qy - py, iax - px, iay - py, 1)
    side_b = _moved_side(qx - px, qy - py, ibx - px, iby - py, 1)
    if side_a * side_b >= 0:
        return False
    # Moving the step one way is moving the road's vertices the other way.
    side_p = _moved_side(ibx - iax, iby - iay, px - iax, py - iay, -1)
    side_q = _moved_side(ibx - iax, iby - iay, qx - iax, qy - iay, -1)
    return side_p * side_q < 0


@njit(cache=True, nogil=True)
def shares_of(ax: float, ay: float, bx: float, by: float, piece: Floats) -> tuple[float, float]:
    """Where a step and a piece that meet do so: shares of the piece and of the step."""
    iax, iay = np.rint(ax * _PER_M), np.rint(ay * _PER_M)
    px, py = np.rint(piece[0] * _PER_M), np.rint(piece[1] * _PER_M)
    dx, dy = np.rint(piece[2] * _PER_M) - px, np.rint(piece[3] * _PER_M) - py
    ex, ey = np.rint(bx * _PER_M) - iax, np.rint(by * _PER_M) - iay
    wx, wy = iax - px, iay - py
    cross = dx * ey - dy * ex
    share = min(max((wx * ey - wy * ex) / cross, 0.0), 1.0)
    along = min(max((wx * dy - wy * dx) / cross, 0.0), 1.0)
    return share, along


@njit(cache=True, nogil=True)
def _side(dx: int, dy: int, ex: int, ey: int) -> int:
    """Sign of the cross product of (dx, dy) and (ex, ey), whole numbers."""
    if max(abs(dx), abs(dy), abs(ex), abs(ey)) < _EXACT:
        exact = dx * ey - dy * ex
        return (exact > 0) - (exact < 0)
    rough = float(dx) * float(ey) - float(dy) * float(ex)
    return (rough > 0) - (rough < 0)


@njit(cache=True, nogil=True)
def _moved_side(dx: int, dy: int, ex: int, ey: int, sign: int) -> int:
    """As `_side`, where the second vector is moved by sign times (tiny, tinier still)."""
    side = _side(dx, dy, ex, ey)
    if side != 0:
        return side
    # cross((dx, dy), (t, t^2)) = dx t^2 - dy t: the term in t decides if there is one.
    if dy != 0:
        return sign if dy < 0 else -sign
    return sign * ((dx > 0) - (dx < 0))
