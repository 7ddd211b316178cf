"""Exact repeats: the same report sent twice is one report."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

if TYPE_CHECKING:
    import geopandas as gpd


def join_exact_repeats(
    sightings: gpd.GeoDataFrame, time_zone: str
) -> tuple[gpd.GeoDataFrame, pd.DataFrame]:
    """Join reports of one observer, day, place and vitality into the first of them.

    Parameters
    ----------
    sightings : geopandas.GeoDataFrame
        Columns of `records.schemas.SIGHTINGS`, projected [m].
    time_zone : str
        Days are local days in this zone.

    Returns
    -------
    kept : geopandas.GeoDataFrame
        The first report of each group with a new column `repeats` (reports joined into it,
        1 if it stands alone); index 0..n-1.
    joined : pandas.DataFrame
        The others. Columns: file, row, record, reason.

    Notes
    -----
    Same place: positions that agree when rounded to whole metres. Reports without an observer
    are joined alike: sent twice or seen by two people, it was one event.
    """
    x, y = np.round(sightings.geometry.x), np.round(sightings.geometry.y)
    day = sightings["time"].dt.tz_convert(time_zone).dt.strftime("%Y-%m-%d")
    who = sightings["recordedBy"].str.strip().str.casefold()
    group = pd.DataFrame({"x": x, "y": y, "day": day, "who": who, "state": sightings["vitality"]})
    number = group.groupby(list(group.columns), sort=False, dropna=False).ngroup()
    first = ~number.duplicated()
    counts = number.map(number.value_counts())
    kept = sightings[first].assign(repeats=counts[first]).reset_index(drop=True)
    later = sightings[~first]
    leader = number[first].reset_index(drop=True)
    names = kept["occurrenceID"].set_axis(leader.to_numpy())
    joined = pd.DataFrame(
        {
            "file": later["source_file"],
            "row": later["source_row"],
            "record": later["occurrenceID"],
            "reason": "exact repeat of "
            + number[~first].map(names).astype(str)
            + " (same observer, day, place and state): counted once",
        }
    )
    return kept, joined.reset_index(drop=True)
