"""Crossings of tagged animals at places of any kind: segments, pieces, whole roads."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from roadrisk.telemetry.crossing_days import CrossingDays

    Floats = NDArray[np.float64]
    Ints = NDArray[np.int64]

COLUMNS = ["place", "segment", "animal", "draw", "days", "crossings"]


def crossing_amounts(
    found: CrossingDays, place_of_lixel: Ints, segment_of_lixel: Ints
) -> pd.DataFrame:
    """Add up crossings of every animal and drawn path at places.

    Parameters
    ----------
    found : CrossingDays
    place_of_lixel : ndarray of int64, shape (lixels,)
        Place of every lixel; -1 for lixels of none.
    segment_of_lixel : ndarray of int64, shape (lixels,)
        `Lixels.segment`.

    Returns
    -------
    pandas.DataFrame
        One row a place, segment, animal and draw with any crossing. Columns: place, segment,
        animal (row of ``found.animals``), draw, days (crossing-days), crossings (all of them:
        days times how often the animal crosses that segment on such a day, a mean over
        draws). Both carriageways of a dual road count on the leading one.
    """
    mass = found.mass
    place, segment = place_of_lixel[mass.lixel], segment_of_lixel[mass.lixel]
    here = place >= 0
    keys = np.stack([k[here].astype(np.int64) for k in (place, segment, mass.animal, mass.draw)])
    sizes = keys.max(axis=1, initial=0) + 1
    flat, row = np.unique(np.ravel_multi_index(tuple(keys), tuple(sizes)), return_inverse=True)
    days = np.bincount(row, mass.days[here].astype(np.float64), len(flat))
    parts = np.unravel_index(flat, tuple(sizes))
    out = pd.DataFrame(dict(zip(COLUMNS[:4], parts, strict=True))).assign(days=days)
    return out.assign(crossings=days * _crossings_a_day(found, out))[COLUMNS]


def _crossings_a_day(found: CrossingDays, rows: pd.DataFrame) -> Floats:
    known = found.by_animal
    ratio = (known["total_crossings"] / known["crossing_days"]).to_numpy(np.float64)
    index = pd.MultiIndex.from_arrays([known["organismID"], known["segment"]])
    names = found.animals["organismID"].to_numpy(object)[rows["animal"].to_numpy(np.int64)]
    wanted = pd.MultiIndex.from_arrays([names, rows["segment"]])
    return pd.Series(ratio, index=index).reindex(wanted).fillna(1.0).clip(lower=1.0).to_numpy()
