"""What a position may have been meant to be: signs, exchanged axes, lost digits, moved points.

Nothing is corrected here: a mend is proposed, and a person decides.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from roadrisk.records.raw_table import Bools, Floats
    from roadrisk.records.whereabouts import Box

EXCHANGED = "latitude and longitude seem to be exchanged"
MINUS = "seems to lack its minus sign"
DIGITS = "to lack first digits"
POINT = "to have the decimal point in a wrong place"
SIGN = "to have the wrong sign"
# A mended position this far outside the roads' extent is still by the roads [degrees]; so is one
# within a tenth of that extent. Common practice.
LEAST_MARGIN_DEGREES = 0.02


@dataclass(frozen=True)
class Change:
    """A way in which a whole table or one row may have gone wrong."""

    swap: bool = False
    west: bool = False
    south: bool = False

    def of(self, lon: Floats, lat: Floats) -> tuple[Floats, Floats]:
        """Return the positions with the change made."""
        x, y = (lat, lon) if self.swap else (lon, lat)
        x = np.where(x > 0, -x, x) if self.west else x
        y = np.where(y > 0, -y, y) if self.south else y
        bad = (np.abs(x) > 180) | (np.abs(y) > 90)
        return np.where(bad, np.nan, x), np.where(bad, np.nan, y)

    @property
    def steps(self) -> int:
        """How many things are changed."""
        return self.swap + self.west + self.south

    def settings(self, place: str) -> str:
        """Return what to write in study.toml."""
        keys = [
            *(["swapped = true"] if self.swap else []),
            *(['longitude = "unsigned west"'] if self.west else []),
            *(['latitude = "unsigned south"'] if self.south else []),
        ]
        return f"write {' and '.join(keys)} in [{place}]"

    def words(self) -> str:
        """Return what seems to have happened."""
        what = [
            *([EXCHANGED] if self.swap else []),
            *([f"the longitude {MINUS} (west)"] if self.west else []),
            *([f"the latitude {MINUS} (south)"] if self.south else []),
        ]
        return " and ".join(what)


CHANGES = tuple(
    sorted(
        (
            Change(swap, west, south)
            for swap in (False, True)
            for west in (False, True)
            for south in (False, True)
            if swap or west or south
        ),
        key=lambda c: c.steps,
    )
)


@dataclass(frozen=True, eq=False)
class Mends:
    """A mended position for each row; arrays of length n.

    Attributes
    ----------
    lon, lat : ndarray
        WGS 84 [degrees]; NaN where there is none.
    words : ndarray of object
        What seems to have happened; "" where there is none.
    """

    lon: Floats
    lat: Floats
    words: np.ndarray

    @property
    def there(self) -> Bools:
        """Rows that have one."""
        return np.isfinite(self.lon)


# No degree with a moved or lost point is so large, and floats may end where digits are counted.
_ENDLESS = 1e15


def digit_mends(lon: Floats, lat: Floats, which: Bools, roads: Box | None) -> Mends:
    """Propose positions for rows with lost first digits, a lost or moved point, a wrong sign.

    Parameters
    ----------
    lon, lat : ndarray, shape (n,)
        As given [degrees]; may lie outside the valid range.
    which : ndarray of bool, shape (n,)
        Rows to look at.
    roads : (west, south, east, north) or None
        Extent of the study's roads; without it nothing is proposed.

    Returns
    -------
    Mends
        For a row that exactly one mend brings into the roads' extent, slightly grown: of one
        coordinate, or the same of both.
    """
    found = Mends(
        np.full(len(lon), np.nan), np.full(len(lon), np.nan), np.full(len(lon), "", dtype=object)
    )
    if roads is None:
        return found
    west, south, east, north = roads
    wide = max(LEAST_MARGIN_DEGREES, (east - west) / 10)
    high = max(LEAST_MARGIN_DEGREES, (north - south) / 10)
    for i in np.flatnonzero(which & np.isfinite(lon) & np.isfinite(lat)):
        x = _within(float(lon[i]), west - wide, east + wide)
        y = _within(float(lat[i]), south - high, north + high)
        places = {
            (round(u, 9), round(v, 9)): (a, b)
            for a, u in x
            for b, v in y
            # One coordinate as it is, or both mended in the same way.
            if (a == "") != (b == "") or (a == b != "")
        }
        if len(places) == 1:
            ((found.lon[i], found.lat[i]), (a, b)) = next(iter(places.items()))
            found.words[i] = _words(a, b)
    return found


def _within(value: float, low: float, high: float) -> list[tuple[str, float]]:
    """Return what a coordinate may have been within limits, with what was done to it."""
    size, sign = abs(value), -1.0 if value < 0 else 1.0
    if size >= _ENDLESS:
        return []
    some = [("", value), (SIGN, -value)]
    # 2.5 for 52.5 or 102.5, 0.5 for any.
    whole = 10.0 ** len(str(int(size))) if size >= 1 else 1.0
    most = int(max(abs(low), abs(high)) // whole)
    some += [(DIGITS, sign * (k * whole + size)) for k in range(1, most + 1)]
    # A point that is lost altogether leaves a whole number.
    shifts = range(1, 9) if size == int(size) else (1, 2)
    some += [(f"{POINT}{n}", value / 10**n) for n in shifts]
    some += [(f"{POINT}{-n}", value * 10**n) for n in (1, 2)]
    return [(kind, v) for kind, v in some if low <= v <= high]


def _words(x: str, y: str) -> str:
    what = (x or y).rstrip("-0123456789")
    if x and y:
        return f"latitude and longitude seem {what}"
    return f"the {'longitude' if x else 'latitude'} seems {what}"
