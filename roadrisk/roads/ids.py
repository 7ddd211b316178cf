"""Segment ids that survive a re-run and edits elsewhere."""

from __future__ import annotations

import base64
import hashlib

import numpy as np
import pyproj
import shapely

from roadrisk.base.crs import WGS84


def segment_ids(lines: np.ndarray, crs: pyproj.CRS) -> np.ndarray:
    """Return an id for every line, made from where it lies and from nothing else.

    "s" and the first 12 base-32 characters of the BLAKE2s hash of the WGS 84 coordinates of
    both ends and of the middle, to 1e-6 degrees (about 0.1 m). The direction of the line
    does not matter. Lines that agree in all of these get "-2", "-3", ... in order of length.

    Parameters
    ----------
    lines : array of shapely LineStrings, shape (n,)
    crs : pyproj.CRS
        Of the lines.

    Returns
    -------
    ndarray of str objects, shape (n,)
        Unique.
    """
    lines = np.asarray(lines, dtype=object)
    places = np.stack(
        [
            shapely.get_coordinates(shapely.line_interpolate_point(lines, s, normalized=True))
            for s in (0.0, 0.5, 1.0)
        ],
        axis=1,
    )
    to_wgs84 = pyproj.Transformer.from_crs(crs, WGS84, always_xy=True)
    lon, lat = to_wgs84.transform(places[..., 0].ravel(), places[..., 1].ravel())
    # OSM's own grid is 1e-7 degrees: with 0.53 instead of 0.5 no grid point lies on the edge
    # between two cells, where the noise of a projection would decide.
    cells = np.floor(np.stack([lon, lat], axis=1) * 1e6 + 0.53).astype(np.int64)
    cells = cells.reshape(len(lines), 6)
    a, middle, b = cells[:, 0:2], cells[:, 2:4], cells[:, 4:6]
    turn = (b[:, 0] < a[:, 0]) | ((b[:, 0] == a[:, 0]) & (b[:, 1] < a[:, 1]))
    rows = np.where(turn[:, None], np.hstack([b, middle, a]), cells)
    ids = np.empty(len(lines), dtype=object)
    ids[:] = [_code(row.tobytes()) for row in np.ascontiguousarray(rows, dtype="<i8")]
    return _unique(ids, shapely.length(lines), lines)


def _code(key: bytes) -> str:
    digest = hashlib.blake2s(key, digest_size=10).digest()
    return "s" + base64.b32encode(digest).decode("ascii")[:12].lower()


def _unique(ids: np.ndarray, length: np.ndarray, lines: np.ndarray) -> np.ndarray:
    _, label, count = np.unique(ids.astype(str), return_inverse=True, return_counts=True)
    for k in np.flatnonzero(count > 1):
        rows = np.flatnonzero(label == k)
        shapes = shapely.to_wkb(shapely.normalize(lines[rows]))
        keys = [(round(float(length[r]), 3), s) for r, s in zip(rows, shapes, strict=True)]
        order = sorted(range(len(rows)), key=keys.__getitem__)
        for n, i in enumerate(order[1:], start=2):
            ids[rows[i]] = f"{ids[rows[i]]}-{n}"
    return ids
