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
    """
    deaths = findings.deaths
    years = f"{study.settings.study.start.year} to {study.settings.study.end.year}"
    if not deaths.known or not len(deaths.roads):
        return (f"How many animals die on these roads is not known from the records of {years}.",)
    row = deaths.roads.iloc[0]
    low, high = float(row["deaths_per_year_low"]), float(row["deaths_per_year_high"])
    if not math.isfinite(high):
        return (f"How many animals die on these roads is not known from the records of {years}.",)
    if deaths.bound_only or not math.isfinite(low) or outward(low, up=False) == 0:
        return (f"At most about {outward(high, up=True):g} animals a year die on these roads.",)
    return (
        f"Between about {outward(low, up=False):g} and {outward(high, up=True):g} animals a year "
        f"die on these roads (records of {years}; 90 % interval, rounded outward).",
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
