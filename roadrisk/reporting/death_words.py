"""Deaths of a place in words: how many, above similar roads, how sure its rank is."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

from roadrisk.reporting.csv_text import plain_text
from roadrisk.reporting.wording import and_words, length_unit, number, per_length_unit, rate_words

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence

    from roadrisk.reporting.place_sheets import Scale

RATE, YEAR, EXCESS, TIMES = (
    "deaths_per_km_year", "deaths_per_year", "excess_per_km_year", "relative_rate"
)  # fmt: skip
BOUND = "one-sided 95 % bound: the sources that say how many counted no death"
NONE_LISTED = "none among those listed"
_NO_NUMBER = ("relative", "evidence")
# Why a number is missing, by `wording.ranked_by`.
WHY_NOT = {
    "deaths": "not known here",
    "relative": "how many die isn't known: no source has a known chance of counting a death",
    "bound": "not known: of deaths only an upper bound is",
    "evidence": "not known: nothing that was counted tells of deaths",
}


def deaths_rate(row: Mapping[str, Any], scale: Scale) -> str:
    """Return deaths per km or mile and year with interval, a bound, or why neither is known."""
    return with_bound(row, RATE, per_length_unit(1.0, scale.units), _note(row, scale))


def deaths_in_stretch(row: Mapping[str, Any], scale: Scale) -> str:
    """Return deaths a year and per km or mile, with intervals, bounds, or why not known."""
    a_year = with_bound(row, YEAR, 1.0, _note(row, scale))
    if np.isnan(float(row[f"{YEAR}_high"])):
        return a_year
    per_length = with_bound(row, RATE, per_length_unit(1.0, scale.units), "")
    return f"{a_year}; per {length_unit(scale.units)} {per_length.replace(f' ({BOUND})', '')}"


def with_bound(row: Mapping[str, Any], name: str, times: float, note: str) -> str:
    """Return a number of deaths with its interval, its upper bound, or why neither is known.

    Parameters
    ----------
    row : mapping
        With `name`, and its _low and _high. A bound has no value, and an upper end.
    name : str
    times : float
        All three are multiplied by this.
    note : str
        Words where nothing is known.

    Returns
    -------
    str
        "3.1 (1.2 to 6.3)", "at most 6.3 (one-sided 95 % bound: ...)", or `note`.
    """
    value, low, high = (times * float(row[f"{name}{end}"]) for end in ("", "_low", "_high"))
    if np.isnan(value) and np.isfinite(high):
        return f"at most {number(high)} ({BOUND})"
    return rate_words(value, low, high, note, "metric")


def above_similar(row: Mapping[str, Any], scale: Scale) -> str:
    """Return deaths per km or mile and year above similar roads, with interval or why none."""
    if scale.by in _NO_NUMBER:
        return ""
    value, low, high = (float(row[f"{EXCESS}{end}"]) for end in ("", "_low", "_high"))
    return rate_words(value, low, high, WHY_NOT[scale.by], scale.units)


def times_mean(row: Mapping[str, Any]) -> str:
    """Return how many times as many die as on the mean of all roads, with interval, if known."""
    value, low, high = (number(float(row[f"{TIMES}{end}"])) for end in ("", "_low", "_high"))
    return f"{value} times as many ({low} to {high})" if value else ""


def among_worst(row: Mapping[str, Any], scale: Scale) -> str:
    """Return the chance of being among the worst places; nothing where places have no order."""
    chance = float(row["chance_among_worst"])
    if np.isnan(chance):
        return ""
    return f"with a chance of {_chance(chance)} one of the {scale.worst} worst places"


def rank_words(low: Any, high: Any, scale: Scale) -> str:
    """Return a rank's interval for a row of the list; nothing where it can't be told."""
    if pd.isna(low) or pd.isna(high):
        return ""
    return f"rank {int(low)} to {int(high)} {_of_rank(scale)}"


def rank_range(row: Mapping[str, Any], scale: Scale) -> str:
    """Return the ranks that a window may have, or that they can't be told."""
    if pd.isna(row["rank_low"]):
        return "can't be told from so few animals and observers"
    level = 90 if scale.by != "evidence" else 100 * scale.level
    words = f"{int(row['rank_low'])} to {int(row['rank_high'])} ({level:.0f} % interval)"
    return words if scale.by != "evidence" else f"{words[:-1]}, in resamples)"


def ranks_of(ranked: pd.DataFrame, scale: Scale) -> str:
    """Return ranks, each with its interval, and the chances of being among the worst.

    ``1 (1 to 4, 90 % interval), 4 (2 to 6); with chances of 0.97 and 0.81 among the 5 worst``.
    """
    parts: list[str] = []
    of = "in resamples" if scale.by == "evidence" else "90 % interval"
    for rank, low, high in ranked[["rank", "rank_low", "rank_high"]].itertuples(index=False):
        known = "" if pd.isna(low) or pd.isna(high) else f" ({int(low)} to {int(high)})"
        parts.append(f"{rank}{known if parts else known.replace(')', f', {of})')}")
    return "; ".join(x for x in (", ".join(parts), _worst_of(ranked, scale)) if x) or NONE_LISTED


def _worst_of(ranked: pd.DataFrame, scale: Scale) -> str:
    chances = ranked["chance_among_worst"].dropna()
    if chances.empty:
        return ""
    shown = and_words(*map(_chance, chances))
    with_them = "with chances" if len(chances) > 1 else "with a chance"
    return f"{with_them} of {shown} among the {scale.worst} worst places"


def kill_words(segment_ids: Sequence[str], scale: Scale) -> str:
    """Return the chance that a crossing kills on some segments, and where their traffic is from.

    Parameters
    ----------
    segment_ids : sequence of str
    scale : Scale
        Its `kills` are looked up.

    Returns
    -------
    str
        "" where no chance is known.
    """
    here = [scale.kills[name] for name in segment_ids if name in scale.kills]
    here = [kill for kill in here if np.isfinite(kill.chance)]
    if not here:
        return ""
    least, most = (f(kill.chance for kill in here) for f in (min, max))
    low, high = min(kill.low for kill in here), max(kill.high for kill in here)
    shown = number(least, 2) if number(least, 2) == number(most, 2) else (
        f"{number(least, 2)} to {number(most, 2)} by piece of road"
    )  # fmt: skip
    traffic = " / ".join(dict.fromkeys(kill.traffic for kill in here if kill.traffic))
    said = f"{shown} ({number(low, 2)} to {number(high, 2)})"
    return f"{said}; traffic: {traffic}" if traffic else said


def first_line(row: Mapping[str, Any], scale: Scale) -> str:
    """Return what a ranked window's rank goes by, for its row in the list.

    Only where the list goes by deaths, or by where more die than elsewhere.
    """
    per = f"per {length_unit(scale.units)} and year"
    ends = [f"{RATE}{end}" for end in ("", "_low", "_high")]
    value, low, high = (number(per_length_unit(float(row[x]), scale.units)) for x in ends)
    if value:
        return f"{value} road deaths {per} ({low} to {high})"
    some = f"at most {high} road deaths {per} (95 % bound)" if high else "how many die isn't known"
    return f"{times_mean(row)}, beside the mean of all roads; {some}"


def _note(row: Mapping[str, Any], scale: Scale) -> str:
    return plain_text(row.get("deaths_note")) or WHY_NOT[scale.by]


def _chance(chance: float) -> str:
    """Return a chance from draws: none of them makes no zero."""
    if chance < 0.01:
        return "less than 0.01"
    return "more than 0.99" if chance > 0.99 else f"{chance:.2f}"


def _of_rank(scale: Scale) -> str:
    return "in resamples" if scale.by == "evidence" else "(90 % interval)"
