"""Tables of tagged animals: crossing-days, rates, times, conditions, home ranges."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
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
    # Areas only, and roads without the animals' names: these tables lead to no one's home.
    cut = tracked.roads_cut.groupby(["segment_id", "road"], sort=False).agg(
        home_ranges_cut=("organismID", "nunique"), inside=("metres_inside", "sum")
    )
    unit = "feet" if units == "us" else "metres"
    cut["inside"] /= M_PER_FOOT if units == "us" else 1.0
    cut = cut.rename(columns={"inside": f"{unit}_inside_kernel95"}).reset_index()
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
    """Months and hours; what was not watched, or is taken for rest, is no zero."""
    months = tracked.by_month.copy()
    watched = months["days_watched"] > 0
    months["crossing_days_per_animal_day"] = months["crossing_days"] / months["days_watched"]
    months["note"] = np.where(watched, "", "not watched")
    hours = tracked.by_hour.rename(columns={"hour": "hour_local"})
    moves = hours["total_crossings"] > 0
    hours["note"] = np.where(
        moves, "", "taken to rest by the species profile, or no crossing in any drawn path"
    )
    counted = ["days_watched", "crossing_days", "total_crossings", "share"]
    months.loc[~watched, counted] = np.nan
    hours.loc[~moves, ["total_crossings", "share"]] = np.nan
    columns = ["month", "hour_local", *counted, "crossing_days_per_animal_day", "note"]
    table = pd.concat([months, hours]).reindex(columns=columns)
    return table.astype({"month": "Int64", "hour_local": "Int64"})


def _shown(table: pd.DataFrame) -> pd.DataFrame:
    """Round to what a reader can use: 4 significant digits; text as plain text."""
    out = table.copy()
    for name in out:
        if name in _TEXT:
            out[name] = [plain_text(value) for value in out[name]]
        elif out[name].dtype == "float64":
            out[name] = out[name].map(lambda x: float(f"{x:.4g}"))
    return out.reset_index(drop=True)
