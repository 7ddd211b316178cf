"""Lengths of many lines, and places on them by share of the length, from their vertices."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np
from numba import njit

if TYPE_CHECKING:
    from roadrisk.roads.network import Floats, Ints


def lengths_of(xy: Floats, first: Ints) -> Floats:
    """Return the length of every line.

    Parameters
    ----------
    xy : ndarray, shape (vertices, 2)
        [m].
    first : ndarray of int64, shape (lines + 1,)
        Line i has vertices ``xy[first[i]:first[i + 1]]``.

    Returns
    -------
    ndarray, shape (lines,)
        [m], summed vertex by vertex as `shapely.length` does.
    """
    out: Floats = _lengths(np.ascontiguousarray(xy), first)
    return out


def shares_along(xy: Floats, first: Ints, share: float) -> Floats:
    """Return the place at a share of every line's length.

    Parameters
    ----------
    xy : ndarray, shape (vertices, 2)
        [m].
    first : ndarray of int64, shape (lines + 1,)
        Line i has vertices ``xy[first[i]:first[i + 1]]``; at least two each.
    share : float
        Between 0 and 1.

    Returns
    -------
    ndarray, shape (lines, 2)
        [m]. The arithmetic is that of `shapely.line_interpolate_point`, so that segment ids,
        which hang on the middle, are the same whichever computed it.
    """
    out: Floats = _shares(np.ascontiguousarray(xy), first, share)
    return out


@njit(cache=True)
def _lengths(xy: Floats, first: Ints) -> Floats:
    out = np.zeros(len(first) - 1)
    for k in range(len(out)):
        for i in range(first[k], first[k + 1] - 1):
            dx, dy = xy[i + 1, 0] - xy[i, 0], xy[i + 1, 1] - xy[i, 1]
            out[k] += math.sqrt(dx * dx + dy * dy)
    return out


@njit(cache=True)
def _shares(xy: Floats, first: Ints, share: float) -> Floats:
    length = _lengths(xy, first)
    out = np.empty((len(length), 2))
    for k in range(len(length)):
        wanted, done = share * length[k], 0.0
        out[k] = xy[first[k + 1] - 1]
        for i in range(first[k], first[k + 1] - 1):
            dx, dy = xy[i + 1, 0] - xy[i, 0], xy[i + 1, 1] - xy[i, 1]
            step = math.sqrt(dx * dx + dy * dy)
            if done + step > wanted:
                part = (wanted - done) / step
                out[k, 0] = xy[i, 0] + part * dx
                out[k, 1] = xy[i, 1] + part * dy
                break
            done += step
    return out
