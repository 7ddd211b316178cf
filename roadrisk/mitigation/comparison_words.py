"""A comparison before and after works in plain sentences that its numbers bear."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from roadrisk.base.plain_numbers import number

if TYPE_CHECKING:
    from collections.abc import Mapping

    from roadrisk.mitigation.before_after import Ratio

FEWER = {"deaths": "fewer deaths", "crossings": "fewer crossings"}
MORE = {"deaths": "more deaths", "crossings": "more crossings"}
NO_DIFFERENCE = "no difference shown"
TOO_FEW = "too few to tell"
YEARS_UNKNOWN = "too few years to tell how much years differ"
NO_CONTROL = "There is no control: whether the works did it or the years were others can't be told."
_AT = {"works": "at the works", "works and ends together": "at the works and their ends"}
_COUNTED = {"deaths": "carcasses", "crossings": "crossing-days"}


def not_identified(why: str) -> str:
    """Return why nothing can be told as a sentence."""
    return f"{why[:1].upper()}{why[1:]}."


def comparison_words(
    row: Mapping[str, object],
    found: Ratio,
    verdict: str,
    *,
    what: str,
    where: str,
    level: float,
    controlled: bool,
    left: int,
) -> str:
    """Put a comparison into sentences.

    Parameters
    ----------
    row : mapping
        Counts: before, after, control_before, control_after.
    found : Ratio
    verdict : str
    what : str
        "deaths" or "crossings".
    where : str
        "works" or another place.
    level : float
    controlled : bool
    left : int
        Works sites, or groups of them, that nothing can be told of.

    Returns
    -------
    str
    """
    at = _AT.get(where, where)
    counts = (
        f"{_count(row['before'])} {_COUNTED[what]} {at} before and {_count(row['after'])} after"
    )
    if controlled:
        counts += (
            f", {_count(row['control_before'])} and {_count(row['control_after'])} at the controls"
        )
    beside = (
        "without the works, going by the controls" if controlled else "before, for equal effort"
    )
    if np.isnan(found.ratio):
        said = [f"{_first(verdict)}: {counts}: nothing to compare."]
        return " ".join(said)
    ends = f"{100 * level:g} % interval {_end(found.low)} to {_end(found.high)}"
    times = f"{_end(found.ratio)} times as many {what} as {beside} ({ends})"
    said = [f"{_first(verdict)}: {counts}: {times}."]
    chance = _percent(found.chance_to_see)
    if verdict == TOO_FEW:
        said.append(f"Had the works halved them, so few would have shown it {chance} of the time.")
    if verdict == NO_DIFFERENCE:
        said.append(
            f"That is no proof of no effect; a halving would have been seen {chance} of the time."
        )
    if verdict == YEARS_UNKNOWN:
        said.append(
            "The interval takes counts to vary by chance alone. Search on, or give years_differ "
            "in [compare] if it is known."
        )
    if not controlled:
        said.append(NO_CONTROL)
    if left:
        said.append(f"{left} of the groups of works sites can't be compared and are not in this.")
    return " ".join(said)


def _first(words: str) -> str:
    return words[:1].upper() + words[1:]


def _count(value: object) -> str:
    return number(float(str(value))) or "0"


def _end(value: float) -> str:
    return "any number" if np.isinf(value) else number(value, 2)


def _percent(chance: float) -> str:
    return "less than 1 %" if chance < 0.01 else f"{100 * chance:.0f} %"
