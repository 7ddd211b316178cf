"""The structures that are there, each with its place in words."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

if TYPE_CHECKING:
    from roadrisk.mitigation.ground import Ground

COLUMNS = ("id", "type", "road", "place", "verdict", "why", "look_at")


def placed_structures(ground: Ground) -> pd.DataFrame:
    """Return culverts and bridges with where they are, for people who go there.

    Parameters
    ----------
    ground : Ground

    Returns
    -------
    pandas.DataFrame
        `COLUMNS`, one row a structure of `SiteFacts.structures`; place is "" off the network.
    """
    table = ground.facts.structures
    line, at = table["line"].to_numpy(np.int64), table["at_m"].to_numpy(np.float64)
    words = [_words(ground, a, b) for a, b in zip(line.tolist(), at.tolist(), strict=True)]
    told = table.assign(place=pd.Series(words, index=table.index, dtype=object))
    return told[list(COLUMNS)].reset_index(drop=True)


def _words(ground: Ground, line: int, at_m: float) -> str:
    lines, pieces, lixels = ground.lines, ground.pieces, ground.lixels
    if line < 0 or not np.isfinite(at_m):
        return ""
    first, last = int(lines.first[line]), int(lines.first[line + 1])
    here = int(np.searchsorted(lines.start_m[first:last], at_m, side="right")) - 1
    place = first + max(here, 0)
    piece = int(lines.piece[place])
    begin = float(lixels.start_m[pieces.first[piece]])
    end = float(lixels.end_m[pieces.last[piece]])
    along = at_m - float(lines.start_m[place])
    edge_m = end - along if lines.backward[place] else begin + along
    return ground.places.words(int(pieces.edge[piece]), float(np.clip(edge_m, begin, end)))
