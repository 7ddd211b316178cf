"""What must not be found in an edition, and what was."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from datetime import date, datetime

    import numpy as np
    import shapely
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Secrets:
    """What must not be found.

    Attributes
    ----------
    places : ndarray, shape (n, 2)
        Longitude, latitude of fixes, sightings, homes, nests and captures [degrees].
    names : tuple of str
        Observers, animals' and records' ids, remarks: long enough not to stand anywhere by chance.
    instants : tuple of datetime
        Of records that give the time of day; local and UTC days and clocks are searched.
    days : tuple of date
        Of the others.
    crs : str
        The working system.
    roads : shapely.MultiLineString
        Known to everybody [degrees].
    """

    places: Floats
    names: tuple[str, ...]
    instants: tuple[datetime, ...]
    days: tuple[date, ...]
    crs: str
    roads: shapely.MultiLineString


@dataclass(frozen=True)
class Leak:
    """A secret, and where it was found."""

    where: str
    what: str
    found: str
