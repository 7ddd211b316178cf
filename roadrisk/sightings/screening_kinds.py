"""The kinds of doubt about a report, and how one is put into a row of words."""

from __future__ import annotations

from dataclasses import dataclass
from types import MappingProxyType
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from roadrisk.base.units import M_PER_FOOT, Units, length_words
from roadrisk.sightings.personal import struck

if TYPE_CHECKING:
    import datetime as dt
    from collections.abc import Mapping, Sequence

DOUBTS = (
    "report_key", "kind", "words", "proposed_longitude", "proposed_latitude", "chance",
)  # fmt: skip
# So much of what a stranger wrote is repeated in words at most.
_MOST_QUOTED = 60


@dataclass(frozen=True)
class Kind:
    """A kind of doubt.

    Attributes
    ----------
    title : str
        What it is called on a page.
    chance : float
        How likely such a report can't count as it is written: a project choice, used only to
        put reports in the order in which to ask about them.
    """

    title: str
    chance: float


KINDS: Mapping[str, Kind] = MappingProxyType(
    {
        "impossible-date": Kind("Date can't be used", 1.0),
        "future-date": Kind("Date in the future", 1.0),
        "swapped-coordinates": Kind("Latitude and longitude exchanged", 1.0),
        "missing-sign": Kind("Sign of a coordinate wrong", 1.0),
        "truncated-coordinates": Kind("Digits or decimal point of a coordinate wrong", 1.0),
        "no-position": Kind("Position can't be used", 1.0),
        "outside-area": Kind("Outside the study area", 0.8),
        "far-from-road": Kind("Too far from any road", 0.7),
        "default-position": Kind("Same position as many others", 0.6),
        "coarse-position": Kind("Position rounded", 0.4),
        "photo-place": Kind("Photo taken somewhere else", 0.4),
        "photo-time": Kind("Photo taken at another time", 0.4),
        "species": Kind("Species not sure", 0.3),
        "out-of-season": Kind("Out of season", 0.3),
        "bridge-or-tunnel": Kind("On a bridge or in a tunnel", 0.3),
        "size": Kind("Size unlikely", 0.2),
        "sex-features": Kind("Sex and features don't agree", 0.1),
        "personal-data": Kind("Personal data in the remark", 0.0),
    }
)


def doubts(
    keys: Sequence[str] | pd.Series[str],
    kind: str,
    words: Sequence[str],
    proposed: tuple[np.ndarray, np.ndarray] | None = None,
) -> pd.DataFrame:
    """Return rows of one kind of doubt.

    Parameters
    ----------
    keys : sequence of str, length n
        report_keys.
    kind : str
        Of `KINDS`.
    words : sequence of str, length n
    proposed : (ndarray, ndarray), shape (n,), optional
        Longitude and latitude that may have been meant, WGS 84 [degrees].

    Returns
    -------
    pandas.DataFrame
        Columns `DOUBTS`.
    """
    lon, lat = proposed or (np.full(len(words), np.nan), np.full(len(words), np.nan))
    return pd.DataFrame(
        {
            "report_key": pd.Series(list(keys), dtype=str),
            "kind": pd.Series([kind] * len(words), dtype=str),
            "words": pd.Series(list(words), dtype=str),
            "proposed_longitude": np.asarray(lon, np.float64),
            "proposed_latitude": np.asarray(lat, np.float64),
            "chance": np.full(len(words), KINDS[kind].chance),
        }
    )


def quoted(text: str) -> str:
    """Return what a stranger wrote, in quotation marks.

    It stands on one line, holds nothing unseen and no personal data that can be found, and isn't
    long.
    """
    plain = " ".join("".join(c if c.isprintable() else " " for c in text[:500]).split())
    plain = struck(plain)
    short = plain if len(plain) <= _MOST_QUOTED else plain[: _MOST_QUOTED - 1] + "…"
    return f"“{short}”"


def metres_words(metres: float, units: Units) -> str:
    """Return a length, to the metre or foot where `length_words` would round it to tens."""
    if metres < 100:
        return f"{metres / M_PER_FOOT:.0f} ft" if units == "us" else f"{metres:.0f} m"
    return length_words(metres, units)


def day_words(day: dt.date) -> str:
    """Return a date as 4 May 2024."""
    return f"{day.day} {day:%B} {day.year}"
