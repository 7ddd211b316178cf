"""When in the year deaths can happen: the active months, as spells of days."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    Floats = NDArray[np.float64]

_MONTH_DAYS = (31, 28.25, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31)


def active_days_a_year(months: Sequence[int]) -> float:
    """Return the number of days of the active months (1–12) in a mean year."""
    return float(sum(_MONTH_DAYS[m - 1] for m in set(months)))


def active_spells(first: float, last: float, months: Sequence[int]) -> Floats:
    """Return the parts of a span of time that lie in the active months.

    Parameters
    ----------
    first, last : float
        Days since 1970-01-01, UTC. Months are those of UTC: hours make no difference here.
    months : sequence of int
        1–12.

    Returns
    -------
    ndarray, shape (spells, 2)
        Begin and end of each [days since 1970]; months that follow each other are one spell.
    """
    if last <= first:
        return np.empty((0, 2))
    begin = pd.Timestamp(first, unit="D").normalize().replace(day=1)
    end = pd.Timestamp(last, unit="D") + pd.DateOffset(months=1)
    starts = pd.date_range(begin, end, freq="MS")
    day = ((starts - pd.Timestamp(0)) / pd.Timedelta(days=1)).to_numpy(dtype=np.float64)
    spells: list[list[float]] = []
    wanted = set(months)
    for month, a, b in zip(starts.month[:-1], day[:-1], day[1:], strict=True):
        low, high = max(float(a), first), min(float(b), last)
        if month not in wanted or high <= low:
            continue
        if spells and spells[-1][1] == low:
            spells[-1][1] = high
        else:
            spells.append([low, high])
    return np.array(spells, dtype=np.float64).reshape(-1, 2)
