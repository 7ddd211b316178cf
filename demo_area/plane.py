"""A flat metre grid over the invented area, and what can be done with lines on it."""

from __future__ import annotations

import hashlib

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]

SEED = 20250401
ORIGIN_LON, ORIGIN_LAT = 19.4, 52.2

# Radii of curvature of the WGS 84 ellipsoid at the origin: meridian and prime vertical [m].
_E2 = 0.00669437999014
_W = float(1 - _E2 * np.sin(np.radians(ORIGIN_LAT)) ** 2)
_M_PER_DEGREE_NORTH = float(np.radians(6378137.0 * (1 - _E2) / _W**1.5))
_M_PER_DEGREE_EAST = float(np.radians(6378137.0 / _W**0.5 * np.cos(np.radians(ORIGIN_LAT))))


def stream(step: str) -> np.random.Generator:
    """Return the random generator of one named step, so that steps don't shift each other."""
    key = int.from_bytes(hashlib.blake2s(step.encode(), digest_size=4).digest(), "big")
    return np.random.default_rng([SEED, key])


def to_lonlat(xy: Floats) -> Floats:
    """Turn metres east and north of the origin into WGS 84 degrees, to 7 decimals (1 cm)."""
    degrees = np.asarray(xy) / (_M_PER_DEGREE_EAST, _M_PER_DEGREE_NORTH)
    return np.asarray(np.round(degrees + np.array([ORIGIN_LON, ORIGIN_LAT]), 7))


def to_xy(lonlat: Floats) -> Floats:
    """Turn WGS 84 degrees into metres east and north of the origin."""
    degrees = np.asarray(lonlat) - (ORIGIN_LON, ORIGIN_LAT)
    return np.asarray(degrees * (_M_PER_DEGREE_EAST, _M_PER_DEGREE_NORTH))


def chainage(xy: Floats) -> Floats:
    """Return the distance of each vertex from the line's beginning [m]."""
    return np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(xy, axis=0).T))])


def along(xy: Floats, at_m: Floats | float) -> Floats:
    """Return the places at the given distances along a line, shape (n, 2)."""
    s, at = chainage(xy), np.atleast_1d(at_m)
    return np.column_stack([np.interp(at, s, xy[:, 0]), np.interp(at, s, xy[:, 1])])


def normals(xy: Floats) -> Floats:
    """Return unit vectors to the left of the line at its vertices."""
    t = np.gradient(xy, axis=0)
    t /= np.hypot(t[:, 0], t[:, 1])[:, None]
    return np.column_stack([-t[:, 1], t[:, 0]])


def beside(xy: Floats, at_m: Floats | float, left_m: Floats | float) -> Floats:
    """Return places so far along a line and so far to its left, shape (n, 2)."""
    at = np.atleast_1d(at_m)
    ahead = along(xy, at + 5.0) - along(xy, at - 5.0)
    ahead /= np.hypot(ahead[:, 0], ahead[:, 1])[:, None]
    left = np.column_stack([-ahead[:, 1], ahead[:, 0]])
    shift = left * np.broadcast_to(left_m, at.shape)[:, None]
    return np.asarray(along(xy, at) + shift)


def cut(xy: Floats, from_m: float, to_m: float) -> Floats:
    """Return the part of a line between two distances along it."""
    s = chainage(xy)
    inside = xy[(s > from_m + 0.01) & (s < to_m - 0.01)]
    return np.vstack([along(xy, from_m), inside, along(xy, to_m)])


def nearest_chainage(xy: Floats, point: Floats) -> float:
    """Return how far along a line its nearest place to a point is [m]."""
    a, d = xy[:-1], np.diff(xy, axis=0)
    t = np.clip(((point - a) * d).sum(axis=1) / (d * d).sum(axis=1), 0, 1)
    gap = np.hypot(*(a + t[:, None] * d - point).T)
    best = int(gap.argmin())
    return float(chainage(xy)[best] + t[best] * np.hypot(*d[best]))


def meetings(path: Floats, line: Floats) -> tuple[NDArray[np.int64], Floats]:
    """Find where the steps of a path cross a line.

    A place exactly on the line counts as being to its right, for the path and for the line
    alike. The sign at a shared vertex is computed from the same numbers for both of its
    steps, so a crossing at a vertex is found once: never twice, never not at all.

    Returns
    -------
    step : ndarray, shape (n,)
        Crossing step, in order; step i runs from path[i] to path[i + 1].
    share : ndarray, shape (n,)
        How much of the step lies before the crossing, 0..1.
    """
    steps, shares = [], []
    ends = np.column_stack([np.minimum(path[:-1], path[1:]), np.maximum(path[:-1], path[1:])])
    lowest, highest = path.min(axis=0), path.max(axis=0)
    lows, highs = np.minimum(line[:-1], line[1:]), np.maximum(line[:-1], line[1:])
    within_reach = (lows <= highest).all(axis=1) & (highs >= lowest).all(axis=1)
    for i in np.flatnonzero(within_reach):
        a, b, low, high = line[i], line[i + 1], lows[i], highs[i]
        near = np.flatnonzero((ends[:, :2] <= high).all(axis=1) & (ends[:, 2:] >= low).all(axis=1))
        if not len(near):
            continue
        p, q = path[near], path[near + 1]
        side_p, side_q = _turn(a, b, p), _turn(a, b, q)
        apart = ((side_p > 0) != (side_q > 0)) & ((_turn(p, q, a) > 0) != (_turn(p, q, b) > 0))
        steps.append(near[apart])
        shares.append(side_p[apart] / (side_p[apart] - side_q[apart]))
    if not steps:
        return np.zeros(0, dtype=np.int64), np.zeros(0)
    step, share = np.concatenate(steps), np.concatenate(shares)
    order = np.lexsort((share, step))
    return step[order], share[order]


def _turn(a: Floats, b: Floats, c: Floats) -> Floats:
    """Twice the signed area of the triangle a, b, c; above 0 where c is left of a to b."""
    return np.asarray(
        (b[..., 0] - a[..., 0]) * (c[..., 1] - a[..., 1])
        - (b[..., 1] - a[..., 1]) * (c[..., 0] - a[..., 0])
    )
