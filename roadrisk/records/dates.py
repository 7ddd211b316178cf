"""Dates as people write them, to UTC: ISO 8601, slashed and dotted in a stated order, named months.

The order of day and month in 03/04/2025 is never guessed.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Literal

import numpy as np
import pandas as pd

from roadrisk.base.by_distinct import by_distinct, listed
from roadrisk.records.columns import of_a_value

if TYPE_CHECKING:
    from zoneinfo import ZoneInfo

    from roadrisk.records.raw_table import Bools, Floats
    from roadrisk.table_settings import DateOrder

_TIME = (
    r"(?:(?:[T ]|,\s*)\s*(?P<h>\d{1,2})[:.](?P<mi>\d{2})(?:[:.](?P<s>\d{2}(?:[.,]\d+)?))?"
    r"\s*(?P<ap>[AaPp]\.?[Mm]\.?)?\s*(?P<zone>Z|z|UTC|GMT|[+-]\d{2}(?::?\d{2})?)?)?\s*$"
)
_ISO = r"^(?P<y>\d{4})[-/.](?P<m>\d{1,2})[-/.](?P<d>\d{1,2})" + _TIME
_COMPACT = r"^(?P<y>\d{4})(?P<m>\d{2})(?P<d>\d{2})" + _TIME
_DAY, _CLOCK = re.compile(_ISO.removesuffix(_TIME).replace("{1,2}", "{2}")), re.compile("^" + _TIME)
_MANY = 1000
_DAY_MONTH = r"^(?P<d>\d{1,2})[ .-]+(?P<m>[A-Za-z]{3,9})\.?[ ,.-]+(?P<y>\d{4})" + _TIME
_MONTH_DAY = r"^(?P<m>[A-Za-z]{3,9})\.? +(?P<d>\d{1,2})(?:st|nd|rd|th)?,? +(?P<y>\d{4})" + _TIME
_ORDERED = r"^(?P<a>\d{1,2})[-/.](?P<b>\d{1,2})[-/.](?P<c>\d{4}|\d{2})" + _TIME

_MONTHS = ("jan", "feb", "mar", "apr", "may", "jun", "jul", "aug", "sep", "oct", "nov", "dec")
_NAMES = ("january", "february", "march", "april", "may", "june", "july", "august", "september",
          "october", "november", "december")  # fmt: skip
_PLACES: dict[DateOrder, tuple[str, str, str]] = {
    "day-first": ("d", "m", "y"),
    "month-first": ("m", "d", "y"),
    "year-first": ("y", "m", "d"),
}


@dataclass(frozen=True, eq=False)
class Dates:
    """Dates that were read; arrays of one length.

    Attributes
    ----------
    time : Series of datetime64[ns, UTC]
        NaT where nothing could be read. A date without a time stands for noon.
    day : Series of datetime64
        The local calendar day.
    time_known : ndarray of bool
    ordered : ndarray of bool
        Written as 03/04/2025, so that it needs an order.
    twice, never : ndarray of bool
        Local times that the clocks show twice (the first is taken) or never (moved forward).
    """

    time: pd.Series[pd.Timestamp]
    day: pd.Series[pd.Timestamp]
    time_known: Bools
    ordered: Bools
    twice: Bools
    never: Bools


def read_dates(text: pd.Series[str], zone: ZoneInfo, order: DateOrder | None) -> Dates:
    """Read dates.

    Parameters
    ----------
    text : Series of str, length n
        ISO 8601 (extended or basic; with a time or not; with a zone or not; also with slashes
        or dots if the year comes first with four digits), month names in English, or three
        numbers in `order`.
    zone : zoneinfo.ZoneInfo
        Of times that name none.
    order : {"day-first", "month-first", "year-first"} or None
        None leaves dates such as 03/04/2025 unread.

    Returns
    -------
    Dates
    """
    text = of_a_value(text)
    parts = _by_halves(text)
    for pattern in (_ISO, _COMPACT, _DAY_MONTH, _MONTH_DAY):
        _fill(parts, text, pattern)
    parts["m"] = by_distinct(parts["m"], lambda m: m.str.lower().map(_month))
    left = text[(parts["y"] == "") & (text != "")]
    loose = left.str.extract(_ORDERED).reindex(text.index).fillna("")
    ordered = (loose["a"] != "").to_numpy()
    if order is not None and ordered.any():
        named = loose.rename(columns=dict(zip("abc", _PLACES[order], strict=True)))
        named["y"] = named["y"].mask(named["y"].str.len() == 1, "")
        parts = parts.where(~pd.Series(ordered, index=text.index), named[parts.columns])
    return _assemble(parts, zone, ordered)


def only_order(text: pd.Series[str]) -> str:
    """Return which order the dates that need one would fit: "day-first", "month-first", "both"
    or "neither".
    """  # noqa: D205
    found = of_a_value(text).str.extract(_ORDERED)
    a, b = (pd.to_numeric(found[c]).to_numpy(dtype=np.float64) for c in "ab")
    day_first, month_first = not (b > 12).any(), not (a > 12).any()
    if day_first and month_first:
        return "both"
    return "day-first" if day_first else "month-first" if month_first else "neither"


def _blank(index: pd.Index[int]) -> pd.DataFrame:
    return pd.DataFrame("", index=index, columns=["y", "m", "d", "h", "mi", "s", "ap", "zone"])


def _by_halves(text: pd.Series[str]) -> pd.DataFrame:
    """Read dates such as 2025-03-04T17:30: few days and times of day come again and again."""
    if len(text) < _MANY:
        return _blank(text.index)
    whole = listed(text)
    day, days = pd.factorize(np.array([t[:10] for t in whole], dtype=object))
    clock, clocks = pd.factorize(np.array([t[10:] for t in whole], dtype=object))
    of_day = [m.groupdict() if (m := _DAY.fullmatch(t)) else None for t in days]
    of_clock = [m.groupdict("") if (m := _CLOCK.match(t)) else None for t in clocks]
    good = np.array([m is not None for m in of_day], dtype=bool)[day]
    good &= np.array([m is not None for m in of_clock], dtype=bool)[clock]
    columns = {}
    for names, found, code in (("y m d", of_day, day), ("h mi s ap zone", of_clock, clock)):
        for name in names.split():
            values = np.array([m[name] if m else "" for m in found], dtype=object)
            columns[name] = np.where(good, values[code], "")
    return pd.DataFrame(columns, index=text.index, dtype=str)


def _number(text: pd.Series[str]) -> Any:
    return by_distinct(text, lambda t: pd.to_numeric(t, errors="coerce"))


def _fill(parts: pd.DataFrame, text: pd.Series[str], pattern: str) -> None:
    left = (parts["y"] == "") & (text != "")
    if left.any():
        found = text[left].str.extract(pattern).fillna("")
        found = found[found["y"] != ""]
        parts.loc[found.index, found.columns] = found


def _month(text: str) -> str:
    if text[:1].isdigit() or not text:
        return text
    whole = text in _NAMES or text in _MONTHS or text == "sept"
    return str(_MONTHS.index(text[:3]) + 1) if whole else "0"


def _assemble(parts: pd.DataFrame, zone: ZoneInfo, ordered: Bools) -> Dates:
    year = _number(parts["y"])
    # Two digits as POSIX has them: 69 to 99 are 1969 to 1999.
    short = by_distinct(parts["y"], lambda y: y.str.len() == 2)
    year = year.mask(short, year + np.where(year < 69, 2000, 1900))
    year = year.where(year.between(1678, 2261))  # what fits into nanoseconds
    day = pd.to_datetime(
        {
            "year": year,
            "month": _number(parts["m"]),
            "day": _number(parts["d"]),
        },
        errors="coerce",
    ).astype("datetime64[ns]")
    known = (parts["h"] != "").to_numpy()
    seconds, sound = _clock(parts, known)
    day = day.where(pd.Series(sound, index=day.index))
    local = day + pd.to_timedelta(seconds, unit="s").as_unit("ns")
    offset, zoned = _offset(parts["zone"])
    as_zoned = (local - pd.to_timedelta(offset, unit="s").as_unit("ns")).dt.tz_localize("UTC")
    plain, twice, never = _localise(local, zone)
    time = plain.where(~pd.Series(zoned, index=day.index), as_zoned).astype("datetime64[ns, UTC]")
    near = time.dt.tz_convert(zone).dt.tz_localize(None).dt.normalize()
    return Dates(time, near, known & sound, ordered, twice & ~zoned & known, never & ~zoned & known)


def _clock(parts: pd.DataFrame, known: Bools) -> tuple[Floats, Bools]:
    """Seconds since midnight (noon where no time is given) and whether they make sense."""
    h, mi = (_number(parts[c]).to_numpy(dtype=float) for c in ("h", "mi"))
    written = _number(by_distinct(parts["s"], lambda s: s.str.replace(",", ".", regex=False)))
    s = written.fillna(0.0).to_numpy(dtype=float)
    half = by_distinct(parts["ap"], lambda ap: ap.str.lower().str[:1]).to_numpy(dtype=object)
    twelve = half != ""
    sound = ~known | ((h <= 23) & (mi <= 59) & (s < 60) & (~twelve | ((h >= 1) & (h <= 12))))
    h = np.where(twelve, h % 12 + np.where(half == "p", 12, 0), h)
    seconds = np.where(known & sound, h * 3600 + mi * 60 + s, 12 * 3600.0)
    return seconds, sound


def _offset(zone: pd.Series[str]) -> tuple[Floats, Bools]:
    """Offset from UTC in seconds, and which times name one."""
    return by_distinct(zone, _seconds_ahead), (zone != "").to_numpy()


def _seconds_ahead(zone: pd.Series[str]) -> Floats:
    found = zone.str.extract(r"^(?P<sign>[+-])(?P<h>\d{2}):?(?P<m>\d{2})?$")
    h = pd.to_numeric(found["h"]).fillna(0).to_numpy(dtype=float)
    m = pd.to_numeric(found["m"]).fillna(0).to_numpy(dtype=float)
    sign = np.where((found["sign"] == "-").to_numpy(), -1.0, 1.0)
    return np.asarray(sign * (h * 3600 + m * 60), np.float64)


def _localise(
    local: pd.Series[pd.Timestamp], zone: ZoneInfo
) -> tuple[pd.Series[pd.Timestamp], Bools, Bools]:
    def as_zone(
        *, summer: bool, missing: Literal["shift_forward", "NaT"]
    ) -> pd.Series[pd.Timestamp]:
        flags = np.full(len(local), summer)
        found = local.dt.tz_localize(zone, ambiguous=flags, nonexistent=missing)
        return found.dt.tz_convert("UTC")

    first = as_zone(summer=True, missing="shift_forward")
    second = as_zone(summer=False, missing="shift_forward")
    strict = as_zone(summer=True, missing="NaT")
    there = first.notna().to_numpy()
    return (
        first,
        there & (first != second).to_numpy(),
        there & strict.isna().to_numpy(),
    )
