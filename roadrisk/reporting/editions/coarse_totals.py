"""Numbers of a whole study, so coarse that no record can be told from them."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from roadrisk.findings import Findings
    from roadrisk.study import Study


def coarse_totals(study: Study, findings: Findings) -> tuple[str, ...]:
    """Return what a public edition says of the whole study, one sentence each.

    Parameters
    ----------
    study : Study
    findings : Findings
        Whole.

    Returns
    -------
    tuple of str
        Ends of intervals are rounded outward to one significant digit.

    Notes
    -----
    By carcasses alone, on the roads that were searched. The number that all sources give together
    moves with the crossings of tagged animals, often by more than one digit hides: trying places
    for a home would tell which of them give the number that was published.
    """
    years = f"{study.settings.study.start.year} to {study.settings.study.end.year}"
    not_known = (
        f"How many animals die on these roads is not known from searches for dead ones, {years}."
    )
    searched = findings.deaths.carcasses
    if not len(searched):
        return (not_known,)
    row = searched.iloc[0]
    low, high = float(row["deaths_per_year_low"]), float(row["deaths_per_year_high"])
    if not math.isfinite(high):
        return (not_known,)
    if not math.isfinite(low) or outward(low, up=False) == 0:
        return (
            f"At most about {outward(high, up=True):g} animals a year die on the roads that were "
            "searched for dead ones.",
        )
    return (
        f"Between about {outward(low, up=False):g} and {outward(high, up=True):g} animals a year "
        f"die on the roads that were searched for dead ones (records of {years}; 90 % interval, "
        "rounded outward).",
    )


def outward(value: float, *, up: bool) -> float:
    """Return a number rounded up or down to one significant digit; below 1 down to 0, up to 1.

    Parameters
    ----------
    value : float
        0 or more.
    up : bool

    Returns
    -------
    float
    """
    if value < 1:
        return float(up and value > 0)
    step = 10.0 ** math.floor(math.log10(value))
    return (math.ceil if up else math.floor)(value / step) * step
