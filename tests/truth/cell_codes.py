"""Codes by which others name small cells of the earth."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pyproj

if TYPE_CHECKING:
    from numpy.typing import NDArray

_GEOHASH = "0123456789BCDEFGHJKMNPQRSTUVWXYZ"
_PLUS = "23456789CFGHJMPQRVWX"
_EDGE_M = 111_320.0


def codes_of(places: NDArray[np.float64], crs: str, finer_than_m: float) -> frozenset[str]:
    """Return codes, in capitals, of cells that hold places and are finer than a distance.

    Parameters
    ----------
    places : ndarray, shape (n, 2)
        Longitude, latitude [degrees].
    crs : str
        The working system: digits of its easting and northing are run together as military grid
        references do.
    finer_than_m : float
        Height of a cell.

    Returns
    -------
    frozenset of str
        Geohashes of 7 or more letters (5 bits a letter, longitude first), plus codes of 10
        (0.000125 degrees) and of 8 (0.0025 degrees) letters, and grid digits of 10 m and 1 m.
    """
    out: set[str] = set()
    for longitude, latitude in places.tolist():
        for letters in (7, 8, 9):
            if 180.0 / 2 ** (5 * letters // 2) * _EDGE_M < finer_than_m:
                out.add(geohash(longitude, latitude, letters))
        plus = plus_code(longitude, latitude)
        if finer_than_m > 0.0025 * _EDGE_M:
            out.add(plus[:9])
        if finer_than_m > 0.000125 * _EDGE_M:
            out.add(plus)
    xy = np.column_stack(
        pyproj.Transformer.from_crs("EPSG:4326", crs, always_xy=True).transform(*places.T)
    )
    for x, y in (np.floor(xy).astype(np.int64) % 100_000).tolist():
        if finer_than_m > 1:
            out |= {f"{x:05}{y:05}", f"{x:05} {y:05}"}
        if finer_than_m > 10:
            out |= {f"{x // 10:04}{y // 10:04}", f"{x // 10:04} {y // 10:04}"}
    return frozenset(out)


def geohash(longitude: float, latitude: float, letters: int) -> str:
    """Return a geohash in capitals: bits of longitude and latitude by turns (public domain)."""
    spans = [[-180.0, 180.0], [-90.0, 90.0]]
    number = 0
    for bit in range(5 * letters):
        span, value = (spans[0], longitude) if bit % 2 == 0 else (spans[1], latitude)
        middle = (span[0] + span[1]) / 2
        upper = value >= middle
        span[0 if upper else 1] = middle
        number = 2 * number + upper
    return "".join(_GEOHASH[(number >> (5 * k)) & 31] for k in reversed(range(letters)))


def plus_code(longitude: float, latitude: float) -> str:
    """Return a full plus code of 10 letters (open standard, 20 letters, pairs of base 20)."""
    # In units of the last pair, so that no digit is lost to rounding.
    y, x = int((latitude + 90) * 8000 + 1e-6), int((longitude + 180) * 8000 + 1e-6)
    pairs = []
    for _ in range(5):
        pairs.append(_PLUS[y % 20] + _PLUS[x % 20])
        y, x = y // 20, x // 20
    letters = "".join(reversed(pairs))
    return f"{letters[:8]}+{letters[8:]}"
