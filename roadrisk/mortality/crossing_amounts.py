"""Crossings of tagged animals at places of any kind: segments, pieces, whole roads."""

from __future__ import annotations

from itertools import pairwise
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from roadrisk.telemetry.crossing_days import CrossingDays
    from roadrisk.telemetry.crossing_mass import CrossingMass

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
    # One animal at a time: there may be tens of millions of rows.
    ends = np.searchsorted(mass.animal, np.arange(len(mass.animals) + 1)).tolist()
    parts = [
        _of_one(mass, slice(a, b), k, place_of_lixel, segment_of_lixel)
        for k, (a, b) in enumerate(pairwise(ends))
        if b > a
    ]
    out = (
        pd.concat(parts, ignore_index=True)
        if parts
        else pd.DataFrame({n: np.empty(0, np.float64 if n == "days" else np.int64)
                           for n in COLUMNS[:-1]})
    )  # fmt: skip
    return out.assign(crossings=out["days"] * _crossings_a_day(found, out))[COLUMNS]


class ByPlace:
    """Crossings of all animals by place.

    Parameters
    ----------
    amounts : pandas.DataFrame
        `crossing_amounts`.
    column : {"crossings", "days"}
    animals, paths : int
        How many there are.
    """

    def __init__(self, amounts: pd.DataFrame, column: str, animals: int, paths: int) -> None:
        ordered = amounts.sort_values("place", kind="stable")
        self.place = ordered["place"].to_numpy(np.int64)
        self._cell = (ordered["animal"] * paths + ordered["draw"]).to_numpy(np.int64)
        self._value = ordered[column].to_numpy(np.float64)
        self._shape = (animals, paths)

    def at(self, place: int | None) -> Floats:
        """Return crossings at one place, or at all of them together, shape (animals, paths)."""
        part = slice(None)
        if place is not None:
            part = slice(*np.searchsorted(self.place, [place, place + 1]).tolist())
        size = self._shape[0] * self._shape[1]
        counts = np.bincount(self._cell[part], self._value[part], size)
        return counts.reshape(self._shape).astype(np.float64)


def _of_one(
    mass: CrossingMass, rows: slice, animal: int, place_of_lixel: Ints, segment_of_lixel: Ints
) -> pd.DataFrame:
    lixel = mass.lixel[rows]
    place, segment = place_of_lixel[lixel], segment_of_lixel[lixel]
    here = place >= 0
    segments, draws = int(segment_of_lixel.max(initial=0)) + 1, max(mass.draws, 1)
    key = (place[here] * segments + segment[here]) * draws + mass.draw[rows][here]
    flat, row = np.unique(key, return_inverse=True)
    days = np.bincount(row, mass.days[rows][here].astype(np.float64), len(flat))
    pair, draw = flat // draws, flat % draws
    return pd.DataFrame({
        "place": pair // segments, "segment": pair % segments,
        "animal": np.full(len(flat), animal, np.int64), "draw": draw, "days": days,
    })  # fmt: skip


def _crossings_a_day(found: CrossingDays, rows: pd.DataFrame) -> Floats:
    known = found.by_animal
    ratio = (known["total_crossings"] / known["crossing_days"]).to_numpy(np.float64)
    index = pd.MultiIndex.from_arrays([known["organismID"], known["segment"]])
    names = found.animals["organismID"].to_numpy(object)[rows["animal"].to_numpy(np.int64)]
    wanted = pd.MultiIndex.from_arrays([names, rows["segment"]])
    return pd.Series(ratio, index=index).reindex(wanted).fillna(1.0).clip(lower=1.0).to_numpy()
