"""How long tagged animals were watched within reach of each road segment."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pandas as pd
import shapely

if TYPE_CHECKING:
    import geopandas as gpd

    from roadrisk.telemetry.steps import Steps


def reach_by_segment(segments: gpd.GeoDataFrame, steps: Steps, *, reach_m: float) -> pd.DataFrame:
    """Count animals and animal-days within reach of each segment.

    Parameters
    ----------
    segments : geopandas.GeoDataFrame
        Of `Network.segments`.
    steps : Steps
    reach_m : float
        An animal is within reach of a segment for the days of every step that comes this
        near to it [m].

    Returns
    -------
    pandas.DataFrame
        One row a segment, in the segments' order. Columns: animals_in_reach,
        animal_days_in_reach.
    """
    walked = steps.table
    lines = shapely.linestrings(
        walked[["start_x", "start_y", "end_x", "end_y"]].to_numpy(np.float64).reshape(-1, 2, 2)
    )
    tree = shapely.STRtree(segments.geometry.to_numpy())
    step, segment = tree.query(lines, predicate="dwithin", distance=reach_m)
    pairs = pd.DataFrame(
        {
            "segment": segment,
            "organismID": walked["organismID"].to_numpy()[step],
            "days": walked["step_days"].to_numpy()[step],
        }
    )
    seen = pairs.groupby("segment").agg(
        animals_in_reach=("organismID", "nunique"), animal_days_in_reach=("days", "sum")
    )
    every = seen.reindex(range(len(segments)), fill_value=0)
    return every.astype({"animals_in_reach": "int64", "animal_days_in_reach": "float64"})
