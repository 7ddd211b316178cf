"""Steps: consecutive fixes of one animal that lie close enough in time to count."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import shapely

if TYPE_CHECKING:
    import geopandas as gpd
    import pandas as pd


@dataclass(frozen=True, eq=False)
class Steps:
    """Steps that count, and what was left out.

    Attributes
    ----------
    table : pandas.DataFrame
        One row a step that counts, index 0..n-1. Columns: organismID, from_time, to_time,
        step_days, start_x, start_y, end_x, end_y [m, the fixes' coordinate system].
    too_long : int
        Steps longer than the set gap.
    longest_days : float
        The set gap [days].
    """

    table: pd.DataFrame
    too_long: int
    longest_days: float


def steps_of(fixes: gpd.GeoDataFrame, longest_days: float) -> Steps:
    """Join each fix to the animal's next one.

    Parameters
    ----------
    fixes : geopandas.GeoDataFrame
        Columns organismID, time (zone-aware), geometry (Point, projected [m]); any order.
        Rows without a position are passed over.
    longest_days : float
        Longer steps don't count: where the animal went between is anybody's guess.

    Returns
    -------
    Steps
    """
    placed = fixes[~(fixes.geometry.is_empty | fixes.geometry.isna())]
    ordered = placed.sort_values(["organismID", "time"], kind="stable")
    xy = shapely.get_coordinates(ordered.geometry.to_numpy())
    table = ordered[["organismID", "time"]].reset_index(drop=True)
    table = table.rename(columns={"time": "from_time"})
    table["to_time"] = table["from_time"].shift(-1)
    same = (table["organismID"] == table["organismID"].shift(-1)).to_numpy()
    days = (table["to_time"] - table["from_time"]).dt.total_seconds() / 86_400
    table["step_days"] = days
    table["start_x"], table["start_y"] = xy[:, 0], xy[:, 1]
    table["end_x"], table["end_y"] = np.roll(xy[:, 0], -1), np.roll(xy[:, 1], -1)
    short = (days <= longest_days).to_numpy()
    kept = table[same & short].reset_index(drop=True)
    return Steps(kept, int((same & ~short).sum()), longest_days)
