"""The structures that are there, each with its place in words."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from roadrisk.roads.along import places_xy

if TYPE_CHECKING:
    from roadrisk.mitigation.ground import Ground

COLUMNS = ("id", "type", "road", "place", "x_m", "y_m", "verdict", "why", "look_at")


def placed_structures(ground: Ground) -> pd.DataFrame:
    """Return culverts and bridges with where they are, for people who go there.

    Parameters
    ----------
    ground : Ground

    Returns
    -------
    pandas.DataFrame
        `COLUMNS`, one row a structure of `SiteFacts.structures`; x_m and y_m on the road, in the
        network's system. Off the network place is "" and they are NaN.
    """
    table = ground.facts.structures
    line, at = table["line"].to_numpy(np.int64), table["at_m"].to_numpy(np.float64)
    found = [_on_edge(ground, a, b) for a, b in zip(line.tolist(), at.tolist(), strict=True)]
    words = [ground.places.words(*where) if where else "" for where in found]
    xy = np.full((len(found), 2), np.nan)
    known = np.array([where is not None for where in found], dtype=bool)
    edges = np.array([where[0] for where in found if where], dtype=np.int64)
    offsets = np.array([where[1] for where in found if where], dtype=np.float64)
    xy[known] = places_xy(ground.network, edges, offsets)
    told = table.assign(
        place=pd.Series(words, index=table.index, dtype=object), x_m=xy[:, 0], y_m=xy[:, 1]
    )
    return told[list(COLUMNS)].reset_index(drop=True)


def _on_edge(ground: Ground, line: int, at_m: float) -> tuple[int, float] | None:
    """Edge and offset along it [m]; None off the network."""
    lines, pieces, lixels = ground.lines, ground.pieces, ground.lixels
    if line < 0 or not np.isfinite(at_m):
        return None
    first, last = int(lines.first[line]), int(lines.first[line + 1])
    here = int(np.searchsorted(lines.start_m[first:last], at_m, side="right")) - 1
    place = first + max(here, 0)
    piece = int(lines.piece[place])
    begin = float(lixels.start_m[pieces.first[piece]])
    end = float(lixels.end_m[pieces.last[piece]])
    along = at_m - float(lines.start_m[place])
    edge_m = end - along if lines.backward[place] else begin + along
    return int(pieces.edge[piece]), float(np.clip(edge_m, begin, end))
