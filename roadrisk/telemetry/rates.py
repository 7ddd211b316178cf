"""Crossing frequencies per road segment, with the animal as the sample."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pandas as pd
import shapely

from roadrisk.base.intervals import poisson_exact, resampled_ratio

if TYPE_CHECKING:
    import geopandas as gpd

    from roadrisk.telemetry.crossings import Crossings
    from roadrisk.telemetry.steps import Steps


def rates_by_segment(
    segments: gpd.GeoDataFrame,
    steps: Steps,
    crossings: Crossings,
    *,
    reach_m: float,
    rng: np.random.Generator,
    level: float = 0.90,
) -> pd.DataFrame:
    """Crossings, animals and animal-days within reach of each segment, and their rate.

    Parameters
    ----------
    segments : geopandas.GeoDataFrame
        Of `Network.segments`.
    steps : Steps
    crossings : Crossings
    reach_m : float
        An animal is within reach of a segment for the days of every step that comes this
        near to it [m].
    rng : numpy.random.Generator
    level : float
        Coverage of the intervals, two-sided.

    Returns
    -------
    pandas.DataFrame
        One row a segment, in the segments' order. Columns: crossings, animals_crossing,
        animals_in_reach, animal_days_in_reach, crossings_per_100_animal_days with _low and
        _high (animals resampled) and _poisson_low and _poisson_high (exact Poisson, assumes
        independence), interval_note. Rates are NaN where no animal was within reach.

    Notes
    -----
    The animal is the sample: its crossings are repeats of one habit. The Poisson interval
    treats each crossing as independent, so it is too narrow where a few animals cross often.
    """
    days = _days_in_reach(segments, steps, reach_m)
    made = crossings.table.groupby(["segment", "organismID"]).size().rename("crossings")
    both = days.to_frame().join(made, how="outer").fillna(0.0)
    seen = both.groupby(level="segment")
    rows = {int(str(segment)): _row(some, rng, level) for segment, some in seen}
    return pd.DataFrame(
        [rows.get(segment, _NOBODY) for segment in range(len(segments))], columns=list(_COLUMNS)
    )


def _days_in_reach(segments: gpd.GeoDataFrame, steps: Steps, reach_m: float) -> pd.Series[float]:
    """Days within reach, indexed by (segment, organismID)."""
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
    return pairs.groupby(["segment", "organismID"])["days"].sum()


_RATE = "crossings_per_100_animal_days"
_COLUMNS = (
    "crossings", "animals_crossing", "animals_in_reach", "animal_days_in_reach", _RATE,
    f"{_RATE}_low", f"{_RATE}_high", f"{_RATE}_poisson_low", f"{_RATE}_poisson_high",
    "interval_note",
)  # fmt: skip
_NOBODY = (0.0, 0, 0, 0.0, *[np.nan] * 5, "no tagged animal within reach")


def _row(some: pd.DataFrame, rng: np.random.Generator, level: float) -> tuple[object, ...]:
    count, days = float(some["crossings"].sum()), float(some["days"].sum())
    animals = int((some["days"] > 0).sum())
    head = (count, int((some["crossings"] > 0).sum()), animals, days)
    per = 100 / days if days > 0 else np.nan
    low, high = resampled_ratio(
        some["crossings"].to_numpy(np.float64), some["days"].to_numpy(np.float64), rng, level=level
    )
    poisson_low, poisson_high = (float(v) * per for v in poisson_exact(count, level))
    if days <= 0:
        note = "animal-days within reach are 0: no rate"
    elif count == 0:
        note = "no crossing seen: the upper limit is the exact Poisson one"
        low, high = 0.0, poisson_high / 100
    elif animals < 3:
        note = "fewer than 3 animals within reach: interval over animals not identified"
    else:
        note = "animals resampled"
    return (*head, count * per, low * 100, high * 100, poisson_low, poisson_high, note)
