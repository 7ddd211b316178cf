"""Stretches: lixels that stand out, joined where they touch."""

from __future__ import annotations

from collections import Counter
from typing import TYPE_CHECKING

import geopandas as gpd
import numpy as np
import shapely
from scipy import sparse
from scipy.sparse.csgraph import connected_components

from roadrisk.hotspots.events import CROSSING, Events

if TYPE_CHECKING:
    from roadrisk.roads.network import Floats, Ints, Lixels, Network


def join_stretches(network: Network, lixels: Lixels, p_value: Floats, alpha: float) -> Ints:
    """Join lixels that stand out and touch into numbered stretches.

    Parameters
    ----------
    network : Network
    lixels : Lixels
    p_value : ndarray, shape (lixels,)
        Corrected for looking at the whole network.
    alpha : float
        A lixel stands out where p <= alpha.

    Returns
    -------
    ndarray of int64, shape (lixels,)
        0 where nothing stands out, else 1, 2, … from the longest stretch down.
    """
    hot = np.flatnonzero(p_value <= alpha)
    number = np.zeros(len(lixels), np.int64)
    if len(hot) == 0:
        return number
    first, last = _end_nodes(network, lixels)
    ends = np.concatenate([first[hot], last[hot]])
    nodes, where = np.unique(ends, return_inverse=True)
    rows = np.tile(np.arange(len(hot)), 2)
    touch = sparse.coo_array((np.ones(len(rows)), (rows, where)), (len(hot), len(nodes))).tocsr()
    label = connected_components(touch @ touch.T, directed=False)[1]
    lengths = np.bincount(label, lixels.length_m[hot])
    rank = np.empty(len(lengths), np.int64)
    rank[np.lexsort((np.arange(len(lengths)), -lengths))] = np.arange(1, len(lengths) + 1)
    number[hot] = rank[label]
    return number


def describe_stretches(
    network: Network,
    lixels: Lixels,
    geometry: np.ndarray,
    stretch: Ints,
    p_value: Floats,
    events: Events,
) -> gpd.GeoDataFrame:
    """Tabulate the stretches.

    Parameters
    ----------
    network : Network
    lixels : Lixels
    geometry : ndarray of LineString, shape (lixels,)
        Line of each lixel.
    stretch : ndarray of int64, shape (lixels,)
        Of `join_stretches`.
    p_value : ndarray, shape (lixels,)
    events : Events
        Those that were tested.

    Returns
    -------
    geopandas.GeoDataFrame
        Columns of `Findings.stretches`.
    """
    roads = network.segments["road"].to_numpy()
    rows, shapes = [], []
    inside = stretch[events.lixel]
    for number in range(1, int(stretch.max(initial=0)) + 1):
        here = np.flatnonzero(stretch == number)
        lengths: Counter[str] = Counter()
        for road, length in zip(roads[lixels.segment[here]], lixels.length_m[here], strict=True):
            lengths[road] += length
        mine = inside == number
        units = np.unique(events.unit[mine])
        rows.append(
            {
                "stretch": number,
                "road": " / ".join(road for road, _ in lengths.most_common()),
                "length_m": float(lixels.length_m[here].sum()),
                "p_value": float(p_value[here].min()),
                "crossing_days": float(events.weight[mine & (events.kind == CROSSING)].sum()),
                "reports": float(events.weight[mine & (events.kind != CROSSING)].sum()),
                "animals": int((~events.unit_is_observer[units]).sum()),
                "observers": int(events.unit_is_observer[units].sum()),
            }
        )
        merged = shapely.line_merge(shapely.union_all(geometry[here]))
        parts = shapely.get_parts(merged)
        shapes.append(shapely.multilinestrings(parts))
    columns = ["stretch", "road", "length_m", "p_value", "crossing_days", "reports", "animals",
               "observers"]  # fmt: skip
    return gpd.GeoDataFrame(
        {c: [row[c] for row in rows] for c in columns}, geometry=shapes, crs=network.crs
    )


def _end_nodes(network: Network, lixels: Lixels) -> tuple[Ints, Ints]:
    """Give numbers to both ends of each lixel: a node of the network, or a joint of two."""
    nodes = len(network.node_xy)
    count = np.diff(lixels.first)
    joint = nodes + np.arange(len(lixels))
    last = joint.copy()
    first = joint - 1
    first[lixels.first[:-1]] = network.edge_u
    last[lixels.first[:-1] + count - 1] = network.edge_v
    return first, last
