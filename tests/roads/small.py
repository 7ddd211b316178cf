"""Small networks for tests, made by the project's own constructor."""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING

import geopandas as gpd
from shapely import LineString

from roadrisk.roads.edges import network_from_segments

if TYPE_CHECKING:
    from roadrisk.roads.network import Network

Line = Sequence[tuple[float, float]]


def make_network(
    lines: Sequence[Line], names: Sequence[str] | None = None, **columns: object
) -> Network:
    """Return the network of `lines`, which meet at shared end points only.

    Parameters
    ----------
    lines : sequence of coordinate lists
        [m], in EPSG:32633.
    names : sequence of str, optional
        One a line. All lines are called "Road" otherwise.
    **columns
        Further columns of the segment table, one value a line.

    Returns
    -------
    Network
    """
    table: dict[str, object] = {"name": list(names) if names is not None else ["Road"] * len(lines)}
    table.update(columns)
    geometry = [LineString(line) for line in lines]
    return network_from_segments(gpd.GeoDataFrame(table, geometry=geometry, crs="EPSG:32633"))
