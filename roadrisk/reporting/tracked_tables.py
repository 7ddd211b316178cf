"""Tables of tagged animals: crossing-days, rates, times, conditions, home ranges."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pandas as pd

from roadrisk.base.units import M_PER_FOOT
from roadrisk.reporting.csv_text import plain_text

if TYPE_CHECKING:
    from roadrisk.base.units import Units
    from roadrisk.findings import TrackedAnimals

_TEXT = ("note", "bandwidth", "totals_note", "crossing_days_note", "organismID", "sex", "road")


def tracked_tables(tracked: TrackedAnimals, units: Units) -> dict[str, pd.DataFrame]:
    """Return the tables of tagged animals by the name of their file.

    Parameters
    ----------
    tracked : TrackedAnimals
    units : {"metric", "us"}

    Returns
    -------
    dict
        ``tracked_animals.csv`` (one row an animal), ``crossing_rates.csv`` (all tagged
        animals, by sex, population where its size is known), ``crossing_times.csv`` (by month
        and by hour), ``crossing_conditions.csv`` (how the sums move with what can't be seen in
        the fixes), ``home_ranges.csv``, ``roads_cut.csv``.
    """
    cut = tracked.roads_cut.drop(columns="segment")
    if units == "us":
        cut = cut.assign(metres_inside=cut["metres_inside"] / M_PER_FOOT)
        cut = cut.rename(columns={"metres_inside": "feet_inside"})
    # Areas only: where an animal lives is in no table that might be passed on.
    homes = pd.DataFrame(tracked.home_ranges.drop(columns="geometry"))
    return {
        "tracked_animals.csv": _shown(tracked.animals),
        "crossing_rates.csv": _shown(tracked.groups),
        "crossing_times.csv": _shown(_times(tracked)),
        "crossing_conditions.csv": _shown(tracked.conditions),
        "home_ranges.csv": _shown(homes),
        "roads_cut.csv": _shown(cut),
    }


def _times(tracked: TrackedAnimals) -> pd.DataFrame:
    months = tracked.by_month.rename(columns={"month": "number"}).assign(unit="month")
    hours = tracked.by_hour.rename(columns={"hour": "number"}).assign(unit="hour")
    columns = ["unit", "number", "days_watched", "crossing_days", "total_crossings", "share"]
    return pd.concat([months, hours]).reindex(columns=columns)


def _shown(table: pd.DataFrame) -> pd.DataFrame:
    """Round to what a reader can use: 4 significant digits; text as plain text."""
    out = table.copy()
    for name in out:
        if name in _TEXT:
            out[name] = [plain_text(value) for value in out[name]]
        elif out[name].dtype == "float64":
            out[name] = out[name].map(lambda x: float(f"{x:.4g}"))
    return out.reset_index(drop=True)
