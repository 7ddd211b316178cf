"""What lies beside the roads: shares of wetland, forest and water around each piece."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import shapely

from roadrisk.errors import CoordinateSystemError
from roadrisk.roads.lixels import lixel_geometry

if TYPE_CHECKING:
    import geopandas as gpd

    from roadrisk.roads.network import Floats, Lixels, Network
    from roadrisk.roads.pieces import Pieces


@dataclass(frozen=True, eq=False)
class HabitatShares:
    """Shares of the ground about each piece of road.

    Attributes
    ----------
    names : tuple of str
        Kinds of habitat, sorted.
    values : ndarray, shape (pieces, kinds)
        0 to 1.
    within_m : float
        How far from the road was looked [m].
    """

    names: tuple[str, ...]
    values: Floats
    within_m: float


def habitat_shares(
    network: Network,
    lixels: Lixels,
    pieces: Pieces,
    habitat: gpd.GeoDataFrame,
    *,
    within_m: float = 200.0,
) -> HabitatShares:
    """Measure how much of each kind of habitat lies about every piece of road.

    Parameters
    ----------
    network : Network
    lixels : Lixels
    pieces : Pieces
    habitat : geopandas.GeoDataFrame
        Polygons with column kind, in the network's system. Polygons of one kind that overlap
        count once.
    within_m : float
        How far from the road is looked [m].

    Returns
    -------
    HabitatShares

    Raises
    ------
    CoordinateSystemError
        If the layer is not in the network's system.

    Notes
    -----
    200 m is a choice of ours (common practice is 100 m to 1 km). Ground outside the layer
    counts as none of its kinds.
    """
    if habitat.crs != network.crs:
        raise CoordinateSystemError(
            "the habitat layer is not in the coordinate system of the roads"
        )
    around = _around(network, lixels, pieces, within_m)
    ground = shapely.area(around)
    kinds = sorted(habitat["kind"].unique().tolist())
    values = np.zeros((len(pieces), len(kinds)))
    for k, kind in enumerate(kinds):
        shapes = habitat.geometry.to_numpy()[(habitat["kind"] == kind).to_numpy()]
        parts = shapely.get_parts(shapely.union_all(shapes))
        piece, part = shapely.STRtree(parts).query(around, predicate="intersects")
        area = shapely.area(shapely.intersection(around[piece], parts[part]))
        values[:, k] = np.bincount(piece, area, len(pieces)) / ground
    return HabitatShares(tuple(kinds), np.clip(values, 0.0, 1.0), within_m)


def _around(network: Network, lixels: Lixels, pieces: Pieces, within_m: float) -> np.ndarray:
    """Return the ground within reach of each piece, as polygons."""
    size = pieces.last - pieces.first + 1
    of = np.repeat(np.arange(len(pieces)), size)
    lixel = np.repeat(pieces.first - (np.cumsum(size) - size), size) + np.arange(size.sum())
    lines = lixel_geometry(network, lixels)[lixel]
    return np.asarray(shapely.buffer(shapely.multilinestrings(lines, indices=of), within_m))
