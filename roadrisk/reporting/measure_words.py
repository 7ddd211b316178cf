"""Proposed measures in words: deaths averted, money, where, how good the choice is."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from roadrisk.base.units import M_PER_FOOT
from roadrisk.reporting.csv_text import plain_text
from roadrisk.reporting.sheets import measures, road
from roadrisk.reporting.wording import number, short_length

if TYPE_CHECKING:
    from collections.abc import Mapping

    from roadrisk.measure_findings import MeasureTables
    from roadrisk.reporting.place_sheets import Scale

NOT_CONFIRMED = "Prices not confirmed"
PLACEHOLDERS = (
    f"{NOT_CONFIRMED}. While any price is a placeholder quantities are shown and no totals, and "
    "the choice is among lengths of fence. Put your own prices into the price list that study.toml "
    "names and mark each as confirmed: then costs stand here."
)
NONE_CHOSEN = "none chosen"
_NO_BREAK = "\N{NO-BREAK SPACE}"
_LEAST = 0.001
_MINUS = "\N{MINUS SIGN}"


def deaths_said(
    row: Mapping[str, Any], name: str, measures: MeasureTables, note: str = "not known"
) -> str:
    """Return deaths a year, or their share of all, with interval, in two digits.

    Parameters
    ----------
    row : mapping
        With `name`, and where it has an interval its _low and _high.
    name : str
    measures : MeasureTables
        Its `known` says whether numbers are deaths or shares.
    note : str
        Words where the number is missing.

    Returns
    -------
    str
        "0.9 (0.36 to 1.8)", or "18 % (7.2 to 36 %)".
    """
    times = 1.0 if measures.known else 100.0
    ends = [times * float(row.get(f"{name}{end}", np.nan)) for end in ("", "_low", "_high")]
    value, low, high = (_short(x) for x in ends)
    unit = "" if measures.known else " %"
    if not value:
        return note
    if low == value == high:
        return _kept(f"{value}{unit}")
    if not low or not high:
        no_interval = " (no interval)" if f"{name}_low" in row else ""
        return _kept(f"{value}{unit}{no_interval}")
    return _kept(f"{value}{unit} ({low} to {high}{unit})")


def money(value: float, currency: str = "") -> str:
    """Return an amount in three digits, as a price list bears; "" where it isn't known."""
    said = number(float(value))
    return _kept(_with_currency(said, said, currency)) if said else ""


def money_range(
    row: Mapping[str, Any], name: str, note: str = NOT_CONFIRMED, currency: str = ""
) -> str:
    """Return an amount with its low and high, or why there is none; it may take two lines."""
    value, low, high = (number(float(row[f"{name}{end}"])) for end in ("", "_low", "_high"))
    if not value:
        return note
    ends = _kept(f"({low} to {high})") if low and high else "(no range)"
    return _with_currency(f"{value} {ends}", value, currency)


def per_death(row: Mapping[str, Any], years: int) -> str:
    """Return the present cost for each death averted, with the interval of the deaths.

    Parameters
    ----------
    row : mapping
        present_cost, and averted_per_year with its _low and _high.
    years : int
        Over which deaths are counted.
    """
    cost = float(row["present_cost"])
    value, low, high = (float(row[f"averted_per_year{end}"]) for end in ("", "_low", "_high"))
    if not (np.isfinite(cost) and value > 0):
        return "–"
    each = [number(cost / (years * x)) if x > 0 else "" for x in (value, high, low)]
    if not each[1]:
        return f"{each[0]} (no interval)"
    ends = f"({each[1]} to {each[2]})" if each[2] else f"({each[1]} or more)"
    return f"{each[0]} {_kept(ends)}"


def gap_words(measures: MeasureTables) -> str:
    """Return how far the choice may be from the best one; "" without a choice."""
    gap = measures.gap
    if not measures.proposed or not np.isfinite(gap):
        return ""
    # What rounds to nothing but isn't proven to be nothing is said as a bound.
    if gap <= 0:
        said = "no better choice exists (proven)"
    else:
        said = f"another choice could be at most {number(max(100 * gap, 0.01), 2)} % better"
    return (
        f"For these deaths, effects and prices {said}. That is arithmetic: how well deaths and "
        "effects are known is told by the intervals."
    )


def where(row: Mapping[str, Any], scale: Scale) -> str:
    """Return a site's road, place, and route with measures where it has any."""
    along = measures(row, scale.measure_unit)
    parts = (road(row["road"]), on_road(row), f"({along})" if along else "")
    first, *rest = [part for part in parts if part]
    return f"{first}, {' '.join(rest)}" if rest else first


def on_road(row: Mapping[str, Any]) -> str:
    """Return a place in words without the road's name, which stands beside it."""
    return plain_text(row["place"]).removesuffix(f", on {road(row['road'])}")


def passages(row: Mapping[str, Any]) -> str:
    """Return how many passages are new and how many are there already."""
    new, there = float(row["passages_new"]), float(row["passages_existing"])
    if not np.isfinite([new, there]).all():
        return "–"
    said = [f"{n:.0f} {what}" for n, what in ((new, "new"), (there, "there")) if n > 0]
    return _kept(", ".join(said)) or "none"


def length(metres: float, scale: Scale) -> str:
    """Return a length in the study's units; a dash for none."""
    return _kept(short_length(float(metres), scale.units)) if metres > 0 else "–"


def fence_length(metres: float, scale: Scale) -> str:
    """Return a length of fence as it is bought: in metres or feet; a dash for none."""
    if not metres > 0:
        return "–"
    if scale.units == "us":
        return _kept(f"{metres / M_PER_FOOT:,.0f} ft")
    return _kept(f"{metres:,.0f} m")


def whole(value: float) -> str:
    """Return a whole number, or a dash where there is none."""
    return f"{value:.0f}" if np.isfinite(value) else "–"


def included(row: Mapping[str, Any]) -> str:
    """Return in how many of 100 draws the site is part of the best choice."""
    return whole(float(row["included_of_100"]))


def crossings_kept(row: Mapping[str, Any]) -> str:
    """Return the share of tracked crossings that have a passage within reach."""
    share = float(row["crossings_kept"])
    return _kept(f"{100 * share:.0f} %") if np.isfinite(share) else "not known"


def _with_currency(said: str, value: str, currency: str) -> str:
    """Put a sign of one character before an amount, any other behind it."""
    sign = plain_text(currency)
    if not sign or len(sign) > 1:
        return f"{said} {sign}".strip()
    return f"{sign}{value}{said.removeprefix(value)}"


def _short(value: float) -> str:
    """Return a number with two digits and a true minus; next to nothing is not written out."""
    if 0 < abs(value) < _LEAST:
        return f"<{_LEAST:g}" if value > 0 else f"{_MINUS}<{_LEAST:g}"
    return number(value, 2).replace("-", _MINUS)


def _kept(text: str) -> str:
    """Keep a number in one line with its unit and interval."""
    return text.replace(" ", _NO_BREAK)
