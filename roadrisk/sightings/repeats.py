"""Exact repeats: the same report sent twice is one report."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from roadrisk.base.by_distinct import by_distinct

if TYPE_CHECKING:
    import geopandas as gpd
    from numpy.typing import NDArray

    Ints = NDArray[np.int64]
    Bools = NDArray[np.bool_]


def join_exact_repeats(
    sightings: gpd.GeoDataFrame,
    time_zone: str,
    *,
    rather: Ints | None = None,
    alone: Bools | None = None,
) -> tuple[gpd.GeoDataFrame, pd.DataFrame]:
    """Join reports of one observer, day, place and vitality into one of them.

    Parameters
    ----------
    sightings : geopandas.GeoDataFrame
        Columns of `records.schemas.SIGHTINGS`, projected [m].
    time_zone : str
        Days are local days in this zone.
    rather : ndarray of int64, shape (n,), optional
        The report with the largest number stands for its group; of equal ones the first.
    alone : ndarray of bool, shape (n,), optional
        Reports that are never joined to others.

    Returns
    -------
    kept : geopandas.GeoDataFrame
        One report of each group with a new column `repeats` (reports joined into it,
        1 if it stands alone), in the order of the table; index 0..n-1.
    joined : pandas.DataFrame
        The others. Columns: file, row, record, reason, repeat_of (occurrenceID of the report
        that stands for it).

    Notes
    -----
    Same place: positions that agree when rounded to whole metres. Reports without an observer
    are joined alike: sent twice or seen by two people, it was one event.
    """
    x, y = np.round(sightings.geometry.x), np.round(sightings.geometry.y)
    day = sightings["time"].dt.tz_convert(time_zone).dt.tz_localize(None).dt.normalize()
    who = by_distinct(sightings["recordedBy"], lambda text: text.str.strip().str.casefold())
    group = pd.DataFrame({"x": x, "y": y, "day": day, "who": who, "state": sightings["vitality"]})
    number = group.groupby(list(group.columns), sort=False, dropna=False).ngroup().to_numpy()
    if alone is not None:
        number = np.where(alone, number.max(initial=0) + 1 + np.arange(len(number)), number)
    order = np.arange(len(number)) if rather is None else np.argsort(-rather, kind="stable")
    which = pd.Series(order).groupby(number[order]).first()
    leader = which.reindex(number).to_numpy()
    first = leader == np.arange(len(number))
    counts = pd.Series(number).map(pd.Series(number).value_counts()).to_numpy()
    kept = sightings[first].assign(repeats=counts[first]).reset_index(drop=True)
    later = sightings[~first]
    names = sightings["occurrenceID"].to_numpy(object)[leader[~first]]
    joined = pd.DataFrame(
        {
            "file": later["source_file"],
            "row": later["source_row"],
            "record": later["occurrenceID"],
            "reason": [
                f"exact repeat of {name} (same observer, day, place and state): counted once"
                for name in names
            ],
            "repeat_of": names,
        }
    )
    return kept, joined.reset_index(drop=True)
