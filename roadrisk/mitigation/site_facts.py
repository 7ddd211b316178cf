"""What is there already, place by place: passages, openings, fences, land, works, crashes."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

if TYPE_CHECKING:
    import pandas as pd

    from roadrisk.errors import Remark
    from roadrisk.roads.network import Floats, Ints

Bools = NDArray[np.bool_]


@dataclass(frozen=True, eq=False)
class SiteFacts:
    """What stands at or along the lines that a fence may follow.

    Attributes
    ----------
    passage_at_m : ndarray, shape (passages,)
        Where along its line an existing structure is that an animal can use [m].
    passage_line : ndarray of int64, shape (passages,)
        Sorted, by line and then place along it.
    passage_id : ndarray of object, shape (passages,)
    openings : ndarray of int64, shape (places,)
        Driveways, gates and minor junction arms at which a fence on the place must open.
    fenced : ndarray of bool, shape (places,)
        Already fenced, on both sides.
    structures : pandas.DataFrame
        One row a structure. Columns id, type, road, line, at_m, span_m, rise_m, length_m,
        openness_m, verdict ("usable", "not usable", "not known"), why, look_at, owner, inspected;
        line -1 and road "" where it lies off the network.
    constraints : pandas.DataFrame
        Columns place, kind (parcel, wetland, works, crash, opening, structure, fence), what,
        effect; sorted by place.
    crashes : pandas.DataFrame
        One row a crash on a line. Columns place, year, animal ("yes", "no", "").
    notes : tuple of str
        What was not supplied, and what had to be left out.
    remarks : tuple of Remark
        Rows that lie on no road, kind "left out".
    """

    passage_at_m: Floats
    passage_line: Ints
    passage_id: NDArray[np.object_]
    openings: Ints
    fenced: Bools
    structures: pd.DataFrame
    constraints: pd.DataFrame
    crashes: pd.DataFrame
    notes: tuple[str, ...]
    remarks: tuple[Remark, ...] = ()
