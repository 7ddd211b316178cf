"""Whether a column's values look like what a term needs, for proposing a mapping."""

from __future__ import annotations

from typing import TYPE_CHECKING, Literal
from zoneinfo import ZoneInfo

import numpy as np

from roadrisk.records.columns import numbers
from roadrisk.records.dates import read_dates
from roadrisk.records.positions import degrees
from roadrisk.records.words import VITALITY_WORDS

if TYPE_CHECKING:
    from collections.abc import Callable

    import pandas as pd

    from roadrisk.records.raw_table import RawTable

    _Check = Callable[[pd.Series[str], RawTable], bool]


def fits(text: pd.Series[str], term: str, raw: RawTable) -> bool | None:
    """Return whether a column's values are what a term needs.

    Parameters
    ----------
    text : Series of str
        The column.
    term : str
    raw : RawTable
        The table it stands in.

    Returns
    -------
    bool or None
        None if values can't tell. One value in five may be odd: field tables are dirty.
    """
    some = text[text != ""].head(200)
    if term not in _CHECKS or some.empty:
        return None
    return _CHECKS[term](some, raw)


def _are_dates(text: pd.Series[str], _raw: RawTable) -> bool:
    found = read_dates(text, ZoneInfo("UTC"), None)
    good = found.time.notna().to_numpy() | found.ordered
    return float(good.mean()) >= 0.8


def _are_times(text: pd.Series[str], _raw: RawTable) -> bool:
    return (
        float(text.str.fullmatch(r"\d{1,2}[:.]\d{2}([:.]\d{2})?( ?[apAP]\.?[mM]\.?)?").mean()) > 0.8
    )


def _are_within(limit: float, axis: Literal["lat", "lon"]) -> _Check:
    def check(text: pd.Series[str], _raw: RawTable) -> bool:
        value = degrees(text, axis)
        return float((np.abs(value) <= limit).mean()) >= 0.8

    return check


def _are_metres(text: pd.Series[str], raw: RawTable) -> bool:
    value = numbers(text, decimal_comma=raw.decimal_comma)
    return float((np.abs(value) > 400).mean()) >= 0.8


def _are_numbers(text: pd.Series[str], raw: RawTable) -> bool:
    value = numbers(text, decimal_comma=raw.decimal_comma)
    return float(np.isfinite(value).mean()) >= 0.8


def _are_vitality(text: pd.Series[str], _raw: RawTable) -> bool:
    words = text.str.casefold()
    known = float(words.isin([w for w in VITALITY_WORDS if len(w) > 1]).mean()) >= 0.8
    return known and bool(words.str.contains("dead|alive|live|dor|kill", regex=True).any())


_CHECKS: dict[str, _Check] = {
    "eventDate": _are_dates,
    "eventTime": _are_times,
    "decimalLatitude": _are_within(180, "lat"),
    "decimalLongitude": _are_within(180, "lon"),
    "x": _are_metres,
    "y": _are_metres,
    "easting": _are_metres,
    "northing": _are_metres,
    "coordinateUncertaintyInMeters": _are_numbers,
    "route_measure": _are_numbers,
    "begin_measure": _are_numbers,
    "end_measure": _are_numbers,
    "mass_g": _are_numbers,
    "transmitter_mass_g": _are_numbers,
    "aadt": _are_numbers,
    "aadt_year": _are_numbers,
    "speed_limit_kmh": _are_numbers,
    "vitality": _are_vitality,
}
