"""Which way traffic runs on every segment, and which side of a dual road it is."""

from __future__ import annotations

from typing import TYPE_CHECKING, Literal

import numpy as np
import shapely

if TYPE_CHECKING:
    import geopandas as gpd

    from roadrisk.roads.network import Ints, Network

DrivingSide = Literal["right", "left"]
_BOTH_WAYS = {"", "both", "b", "two-way", "2"}


def carriageways(network: Network, driving_side: DrivingSide) -> tuple[Ints, Ints]:
    """Return the direction of traffic and the carriageway of every segment.

    Parameters
    ----------
    network : Network
        With `band_of` filled where it has dual carriageways.
    driving_side : {"right", "left"}

    Returns
    -------
    travel : ndarray of int64, shape (segments,)
        1 along the geometry, -1 against it, 0 both ways or not known. An agency's layer may say
        of a carriageway only that it is one of two: where people drive on the right, the other one
        lies to the left of the traffic.
    side : ndarray of int64, shape (segments,)
        0 for the leading carriageway of a dual road, 1 for the one that follows, -1 for others.
    """
    table = network.segments
    ids = {name: k for k, name in enumerate(table["segment_id"].astype(str))}
    band = table["band_of"].astype(str).to_numpy(object)
    travel = np.sign(table["oneway"].to_numpy(np.int64))
    side = np.full(len(table), -1, dtype=np.int64)
    for follower in np.flatnonzero(band != "").tolist():
        leader = ids.get(band[follower])
        if leader is None:
            continue
        side[follower], side[leader] = 1, 0
        for one, other in ((follower, leader), (leader, follower)):
            if travel[one] == 0:
                left = _lies_left(table, one, other)
                travel[one] = 1 if left == (driving_side == "right") else -1
    return travel.astype(np.int64), side


def direction_not_known(network: Network, travel: Ints) -> np.ndarray:
    """Return which segments an agency calls one-way without saying which way, shape (segments,).

    Parameters
    ----------
    network : Network
    travel : ndarray of int64, shape (segments,)
        Of `carriageways`.

    Returns
    -------
    ndarray of bool, shape (segments,)
    """
    words = network.segments["direction"].astype(str).str.strip().str.casefold()
    return np.asarray(~words.isin(_BOTH_WAYS).to_numpy(bool) & (travel == 0))


def _lies_left(table: gpd.GeoDataFrame, one: int, other: int) -> bool:
    line, beside = table.geometry.iloc[one], table.geometry.iloc[other]
    middle = line.interpolate(0.5, normalized=True)
    back, on = (
        np.array(line.interpolate(at).coords[0])
        for at in (max(0.0, line.length / 2 - 2.0), min(line.length, line.length / 2 + 2.0))
    )
    there = np.array(shapely.shortest_line(middle, beside).coords[-1]) - np.array(middle.coords[0])
    along = on - back
    return bool(along[0] * there[1] - along[1] * there[0] > 0)
