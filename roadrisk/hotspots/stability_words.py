"""What resamples can say, and what they can't, in words and empty tables."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

if TYPE_CHECKING:
    from collections.abc import Sequence

    from roadrisk.hotspots.ranking import Windows
    from roadrisk.roads.network import Ints

ENDS_WORDS = (
    " A stretch's start and end mark its dense core. In simulated studies stretches of 500 m came "
    "out 50 to 100 m too short at each end on average, those of 200 m about 20 m too long; where "
    "evidence tapers off, more of it lies beyond."
)
WINDOW_COLUMNS = ("kept_of_100", "rank_low", "rank_high")
TIMES_COLUMNS = ("times_around_low", "times_around_high")
END_COLUMNS = ["begin_low_m", "begin_high_m", "end_low_m", "end_high_m"]


def not_told(
    windows: Windows, stretches: Sequence[Ints], units: int
) -> tuple[pd.DataFrame, pd.DataFrame, str]:
    """Return tables without numbers, and why there are none.

    Parameters
    ----------
    windows : Windows
    stretches : sequence of ndarray of int64
    units : int
        Animals and observers.

    Returns
    -------
    windows, stretches : pandas.DataFrame
    words : str
    """
    rows = pd.DataFrame(
        {c: pd.array([pd.NA] * len(windows.first), "Int64") for c in WINDOW_COLUMNS}
    )
    some = pd.DataFrame({
        "kept_of_100": pd.array([pd.NA] * len(stretches), "Int64"),
        **{c: np.full(len(stretches), np.nan) for c in (*END_COLUMNS, *TIMES_COLUMNS)},
    })  # fmt: skip
    who = "one animal or observer" if units == 1 else f"{units} animals and observers"
    words = f"How ranks would change with other animals and observers can't be told from {who}."
    return rows, some, words


def resample_words(years: Ints, resamples: int) -> str:
    """Say what was resampled, in plain sentences.

    Parameters
    ----------
    years : ndarray of int64
        Calendar years with reports.
    resamples : int

    Returns
    -------
    str
    """
    if len(years) > 1:
        listed = ", ".join(str(y) for y in years)
        left = f"leave the reports of one year out ({listed}, in turn)"
    elif len(years) == 1:
        left = f"keep all reports, since all are of {years[0]}"
    else:
        left = "have no reports with a year to leave out"
    return (
        f"{resamples} resamples {left}, draw animals anew, each with one of its drawn paths, and "
        "draw observers anew. A place is kept in a resample whose list of the same length holds "
        "at least half of it. Years of tagged animals are not told apart."
    )
