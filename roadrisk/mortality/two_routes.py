"""Deaths from crossings beside deaths from carcasses, before anything is joined."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

from roadrisk.base.plain_numbers import number, span
from roadrisk.base.seeds import generator

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    Floats = NDArray[np.float64]

MORE_BY_CROSSINGS = "crossings lead to expect more"
MORE_BY_CARCASSES = "carcasses show more"
AGREE = "agree within their ranges"
SAYS_LITTLE = "ranges too wide to tell"
ONE_ONLY = "one of the two isn't identified"
NO_CARCASS = "no carcass was found: carcasses give a bound only"
# A ratio whose ends are so many times apart is called too wide to tell: a choice.
_WIDE = 30.0
# One-sided, where no carcass was found.
_BOUND = 0.95

_CROSSINGS_MORE = (
    "Where crossings lead to expect more deaths than carcasses show, animals may avoid the road "
    "or cross when it is quiet (the drawn paths don't know roads), walk faster, or pass between "
    "wheels; or carcasses are missed more than trials say (taken within hours, thrown or carried "
    "off the searched strip); or the stated number of animals, or traffic that nobody counted, is "
    "too high."
)
_CARCASSES_MORE = (
    "Where carcasses show more deaths than crossings lead to expect, more animals may cross than "
    "the tagged ones tell of (young ones, animals on the way to nest or new homes, more animals "
    "than stated); or they stop on the road for longer, drivers aim at them, traffic is heavier "
    "than taken; or some carcasses died elsewhere or were counted twice, or borrowed values of "
    "persistence are too short."
)


@dataclass(frozen=True, eq=False)
class TwoRoutes:
    """Both routes to the number of deaths, side by side.

    Attributes
    ----------
    table : pandas.DataFrame
        One row a place: place, deaths_by_crossings, deaths_by_carcasses and ratio
        (crossings over carcasses), medians with _low and _high, verdict (one of this
        module's constants), ratio_below_one (chance). Where no carcass was found: no median, 0
        and the one-sided bound of deaths by carcasses, and the least that the ratio can be.
    notes : tuple of str
    """

    table: pd.DataFrame
    notes: tuple[str, ...]


def compare_routes(
    places: Sequence[str],
    crossings: Floats,
    carcasses: Floats,
    seed: int,
    *,
    level: float = 0.90,
    none_found: Sequence[bool] | None = None,
    told: int | None = None,
) -> TwoRoutes:
    """Lay deaths a year by crossings and by carcasses beside each other.

    Parameters
    ----------
    places : sequence of str
        Name of each place: a road, a stretch, all roads.
    crossings, carcasses : ndarray, shape (places, draws)
        Deaths a year of the same animals at the same places; NaN where not identified. The
        numbers of draws may differ; the two are independent of one another.
    seed : int
        The study's.
    level : float
        Coverage of intervals, two-sided.
    none_found : sequence of bool, length places, optional
        Where searches found no carcass: draws of deaths by carcasses are then those of a bound,
        and only their upper end means anything.
    told : int, optional
        Only the first so many places get a sentence; all of them unless given.

    Returns
    -------
    TwoRoutes
        A sum of places isn't the two routes of all of them: hand those in as a place.
    """
    a, b = (np.atleast_2d(np.asarray(v, dtype=np.float64)) for v in (crossings, carcasses))
    rng = generator(seed, "mortality.two_routes")
    count = max(a.shape[1], b.shape[1])
    # One order for all places keeps what places share.
    first = a[:, rng.permutation(count) % a.shape[1]] if a.size else a
    second = b[:, rng.permutation(count) % b.shape[1]] if b.size else b
    bound = [False] * len(places) if none_found is None else list(none_found)
    rows = [
        _row(str(name), x, y, p, q, level, bound_only=none)
        for name, x, y, p, q, none in zip(places, a, b, first, second, bound, strict=True)
    ]
    names = ["place", *_three("deaths_by_crossings"), *_three("deaths_by_carcasses"),
             *_three("ratio"), "ratio_below_one", "verdict"]  # fmt: skip
    table = pd.DataFrame(rows, columns=names)
    return TwoRoutes(table, _words(table, level, told))


def _three(name: str) -> tuple[str, str, str]:
    return name, f"{name}_low", f"{name}_high"


def _row(
    name: str,
    x: Floats,
    y: Floats,
    first: Floats,
    second: Floats,
    level: float,
    *,
    bound_only: bool = False,
) -> tuple[object, ...]:
    known = [bool(len(v)) and bool(np.isfinite(v).all()) for v in (x, y)]
    parts = [_middle_and_ends(v, level) if k else (np.nan,) * 3 for v, k in zip((x, y), known,
             strict=True)]  # fmt: skip
    bound_only = bound_only and known[1]
    if bound_only:
        parts[1] = (np.nan, 0.0, float(np.quantile(y, _BOUND)))
    if not all(known):
        return (name, *parts[0], *parts[1], np.nan, np.nan, np.nan, np.nan, ONE_ONLY)
    both = (first > 0) | (second > 0)
    ratio = np.divide(first, second, out=np.full(len(first), np.inf), where=second > 0)
    # No deaths by either route: they agree.
    ratio = np.where(both, ratio, 1.0)
    low, middle, high = np.quantile(
        ratio, [(1 - level) / 2, 0.5, (1 + level) / 2], method="inverted_cdf"
    )
    if bound_only:
        verdict = MORE_BY_CROSSINGS if low > 1 else NO_CARCASS
        return (name, *parts[0], *parts[1], np.nan, low, np.nan, np.nan, verdict)
    below = float((ratio < 1).mean() + (ratio == 1).mean() / 2)
    verdict = _verdict(float(low), float(high))
    return (name, *parts[0], *parts[1], middle, low, high, below, verdict)


def _middle_and_ends(values: Floats, level: float) -> tuple[float, float, float]:
    low, high = np.quantile(values, [(1 - level) / 2, (1 + level) / 2])
    return float(np.median(values)), float(low), float(high)


def _verdict(low: float, high: float) -> str:
    if low > 1:
        return MORE_BY_CROSSINGS
    if high < 1:
        return MORE_BY_CARCASSES
    return SAYS_LITTLE if low <= 0 or high / low > _WIDE else AGREE


def _words(table: pd.DataFrame, level: float, told: int | None) -> tuple[str, ...]:
    out = [
        "Two routes to the same number of deaths: how often tagged animals cross times the chance "
        "that a crossing kills, and carcasses found divided by the chance to find one. They share "
        "no data, so each is a test of the other.",
    ]
    out += [_row_words(row, level) for _, row in table.iloc[:told].iterrows()]
    verdicts = set(table["verdict"])
    if MORE_BY_CROSSINGS in verdicts:
        out.append(_CROSSINGS_MORE)
    if MORE_BY_CARCASSES in verdicts:
        out.append(_CARCASSES_MORE)
    return tuple(out)


def _row_words(row: pd.Series[Any], level: float) -> str:
    def said_of(name: str) -> str:
        value, low, high = (float(row[f"{name}{end}"]) for end in ("", "_low", "_high"))
        if np.isfinite(value):
            return span(value, low, high)
        if np.isfinite(high):
            return f"at most {number(high)} (none found, one-sided 95 % bound)"
        return "not identified"

    said = (
        f"{row['place']}, deaths a year: by crossings {said_of('deaths_by_crossings')}, "
        f"by carcasses {said_of('deaths_by_carcasses')}"
    )
    if row["verdict"] == ONE_ONLY:
        return f"{said}; nothing to compare."
    low, high = (number(float(row[f"ratio_{end}"]), 2) for end in ("low", "high"))
    if not np.isfinite(row["ratio"]) and np.isfinite(row["deaths_by_carcasses_high"]) and not high:
        least = f"; at least {low} times as many by crossings" if low else ""
        return f"{said}{least}: {row['verdict']}."
    ends = f"{100 * level:.0f} % range {low} to {high}"
    times = number(float(row["ratio"]), 2)
    return f"{said}; {times} times as many by crossings ({ends}): {row['verdict']}."
