"""Segment ids that survive a re-run and edits elsewhere."""

from __future__ import annotations

import hashlib
from typing import TYPE_CHECKING

import numpy as np
import pyproj
import shapely

from roadrisk.base.crs import WGS84
from roadrisk.roads.lines import shapes_of
from roadrisk.roads.middles import lengths_of, shares_along

if TYPE_CHECKING:
    from roadrisk.roads.network import Floats, Ints

# Base 32 of RFC 4648, in lower case.
_LETTERS = np.frombuffer(b"abcdefghijklmnopqrstuvwxyz234567", dtype=np.uint8)
_LENGTH = 12


def segment_ids(xy: Floats, first: Ints, crs: pyproj.CRS) -> np.ndarray:
    """Return an id for every line, made from where it lies and from nothing else.

    "s" and the first 12 base-32 characters of the BLAKE2s hash of the WGS 84 coordinates of
    both ends and of the middle, to 1e-6 degrees (about 0.1 m). The direction of the line
    does not matter. Lines that agree in all of these get "-2", "-3", ... in order of length.

    Parameters
    ----------
    xy : ndarray, shape (vertices, 2)
    first : ndarray of int64, shape (lines + 1,)
        Line i has vertices ``xy[first[i]:first[i + 1]]``.
    crs : pyproj.CRS
        Of the lines.

    Returns
    -------
    ndarray of str objects, shape (lines,)
        Unique.
    """
    places = np.stack([xy[first[:-1]], shares_along(xy, first, 0.5), xy[first[1:] - 1]], axis=1)
    to_wgs84 = pyproj.Transformer.from_crs(crs, WGS84, always_xy=True)
    lon, lat = to_wgs84.transform(places[..., 0].ravel(), places[..., 1].ravel())
    # OSM's own grid is 1e-7 degrees: with 0.53 instead of 0.5 no grid point lies on the edge
    # between two cells, where the noise of a projection would decide.
    cells = np.floor(np.stack([lon, lat], axis=1) * 1e6 + 0.53).astype(np.int64)
    cells = cells.reshape(len(places), 6)
    a, middle, b = cells[:, 0:2], cells[:, 2:4], cells[:, 4:6]
    turn = (b[:, 0] < a[:, 0]) | ((b[:, 0] == a[:, 0]) & (b[:, 1] < a[:, 1]))
    rows = np.where(turn[:, None], np.hstack([b, middle, a]), cells)
    codes = _codes(np.ascontiguousarray(rows, dtype="<i8"))
    ids = np.char.add("s", codes.view(f"S{_LENGTH}").ravel().astype(str)).astype(object)
    return _numbered(ids, codes, xy, first)


def _codes(rows: Ints) -> np.ndarray:
    """Letters of each row's hash, shape (rows, 12)."""
    keys, size = memoryview(rows.tobytes()), rows.shape[1] * rows.itemsize
    digests = b"".join(
        hashlib.blake2s(keys[k : k + size], digest_size=10).digest()
        for k in range(0, len(keys), size)
    )
    bits = np.unpackbits(np.frombuffer(digests, dtype=np.uint8).reshape(-1, 10)[:, :8], axis=1)
    fives = np.packbits(bits[:, : 5 * _LENGTH].reshape(-1, _LENGTH, 5), axis=2)[..., 0] >> 3
    return np.ascontiguousarray(_LETTERS[fives])


def _numbered(ids: np.ndarray, codes: np.ndarray, xy: Floats, first: Ints) -> np.ndarray:
    _, label, count = np.unique(codes.view(f"S{_LENGTH}").ravel(), return_inverse=True,
                                return_counts=True)  # fmt: skip
    again = np.flatnonzero(count[label] > 1)
    again = again[np.argsort(label[again], kind="stable")]
    length = lengths_of(xy, first)
    for rows in np.split(again, np.flatnonzero(np.diff(label[again])) + 1) if len(again) else []:
        lines = [shapes_of(xy[first[r] : first[r + 1]], np.array([0, first[r + 1] - first[r]]))[0]
                 for r in rows]  # fmt: skip
        shapes = shapely.to_wkb(shapely.normalize(lines))
        keys = [(round(float(length[r]), 3), s) for r, s in zip(rows, shapes, strict=True)]
        order = sorted(range(len(rows)), key=keys.__getitem__)
        for n, i in enumerate(order[1:], start=2):
            ids[rows[i]] = f"{ids[rows[i]]}-{n}"
    return ids
