"""Roads of an OpenStreetMap extract in columns: nodes, ways and what their tags say."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Mapping

    from numpy.typing import NDArray

# Tags that the network is made from, one column each; the one-way rule is in `travel`.
TAGS = ("highway", "name", "ref", "bridge", "tunnel", "layer", "lanes", "maxspeed")


@dataclass(frozen=True, eq=False)
class OsmGraph:
    """Nodes and ways; pieces of road run between neighbouring nodes of a way.

    A way that leaves the extract and comes back is several rows of one id.

    Attributes
    ----------
    node_id : ndarray of int64, shape (nodes,)
        Sorted, each once.
    lon, lat : ndarray, shape (nodes,)
        WGS 84 [degrees].
    way_id : ndarray of int64, shape (ways,)
    way_first : ndarray of int64, shape (ways + 1,)
    way_node : ndarray of int64
        Way w runs through the nodes (rows) ``way_node[way_first[w]:way_first[w + 1]]``.
    travel : ndarray of int8, shape (ways,)
        1 one-way as drawn, -1 one-way against it, 0 both ways.
    tags : mapping of str to ndarray of str objects, shape (ways,)
        A column for each of `TAGS`; "" where a way has no such tag.
    """

    node_id: NDArray[np.int64]
    lon: NDArray[np.float64]
    lat: NDArray[np.float64]
    way_id: NDArray[np.int64]
    way_first: NDArray[np.int64]
    way_node: NDArray[np.int64]
    travel: NDArray[np.int8]
    tags: Mapping[str, NDArray[np.object_]]

    @property
    def pieces(self) -> tuple[NDArray[np.int64], NDArray[np.int64], NDArray[np.int64]]:
        """Every piece as drawn: node (row) at its begin and its end, and way (row).

        Nodes that a way names twice in a row make no piece.
        """
        way = np.repeat(np.arange(len(self.way_id)), np.diff(self.way_first))
        begin, end = self.way_node[:-1], self.way_node[1:]
        real = (way[:-1] == way[1:]) & (begin != end)
        return begin[real], end[real], way[:-1][real]
