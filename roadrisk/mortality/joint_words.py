"""What the one model knows and doesn't, in sentences."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Sequence

    from roadrisk.mortality.joint_model import JointDeaths
    from roadrisk.mortality.sources import Source

_ROUGH = 10.0
_APART = 1.4


def words_of(
    result: JointDeaths, sources: Sequence[Source], remarks: Sequence[str]
) -> tuple[str, ...]:
    """Say what stands behind the estimate, and what is not known.

    Parameters
    ----------
    result : JointDeaths
    sources : sequence of Source
        All that were given.
    remarks : sequence of str
        Sentences about covariates.

    Returns
    -------
    tuple of str
    """
    known = [s for s in sources if s.known and s.watched]
    free = [s for s in sources if not s.known and s.watched]
    words = [f"{s.name} watched no road and was left out." for s in sources if not s.watched]
    words.append(_scale(result, known))
    words += _agreement(result)
    words += _where(result, known, free)
    if not sum(s.counted for s in [*known, *free]):
        words.append(
            "Nothing was counted by any source: no place is known to be worse than another."
        )
    if result.effective < _ROUGH:
        words.append(
            "The data hardly say how uneven deaths are along the roads, so ends of intervals are "
            f"rough (effective number of settings {result.effective:.0f})."
        )
    return (*words, *remarks)


def _scale(result: JointDeaths, known: Sequence[Source]) -> str:
    if result.rate is None:
        return (
            "How many die is not known: no source has a known chance of counting a death (carcass "
            "surveys with trials, or crossings of tagged animals). Only where more die than "
            "elsewhere is shown."
        )
    names = ", ".join(source.name for source in known)
    each = " and ".join(f"{source.name} ({source.counted:.0f} counted)" for source in known)
    if result.bound_only:
        return (
            f"Nothing was found by {names}. That is a bound and not a zero: the number shown is "
            "the most that dies there, at 95 % confidence."
        )
    return f"How many die comes from {each} alone."


def _agreement(result: JointDeaths) -> list[str]:
    return [
        f"{name} does not agree with the other sources: together they fit only if it counts "
        f"{factor:.1f} times the share of deaths that its trials say. See both routes side by side "
        "before trusting the sum."
        for name, factor in result.chance_moved.items()
        if not 1 / _APART < factor < _APART
    ]


def _where(result: JointDeaths, known: Sequence[Source], free: Sequence[Source]) -> list[str]:
    words = []
    if free and known:
        words.append(
            f"{', '.join(s.name for s in free)} say where and not how many: more reports change "
            "the order of places, never the number on roads that were surveyed."
        )
    elif free:
        words.append(
            "People report where people are: without surveys or tagged animals, places with "
            "more reports may have more deaths or only more eyes."
        )
    if known and not result.watched.all():
        off = float(result.length_km[~result.watched].sum())
        basis = "reports and the roads beside them" if free else "the roads beside them alone"
        words.append(
            f"{off:.1f} of {result.length_km.sum():.1f} km were watched by no source with a known "
            f"chance; deaths there are judged from {basis}, and their intervals are wide."
        )
    if free and not np.logical_or.reduce([s.y > 0 for s in free]).any():
        words.append(f"{' and '.join(s.name for s in free)} counted nothing.")
    return words
