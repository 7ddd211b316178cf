"""Lines of lixels, drawn only where they are asked for."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from roadrisk.roads.lixels import lixel_geometry
from roadrisk.roads.tiles import part_of_network

if TYPE_CHECKING:
    from roadrisk.roads.network import Ints, Lixels, Network


@dataclass(frozen=True, eq=False)
class LixelLines:
    """What `lixels.lixel_geometry` returns, made anew for the lixels that are picked.

    Attributes
    ----------
    network : Network
    lixels : Lixels
    """

    network: Network
    lixels: Lixels

    def __getitem__(self, which: Ints | slice) -> np.ndarray:
        """Return the lines of some lixels.

        Parameters
        ----------
        which : ndarray of int64, or slice

        Returns
        -------
        ndarray of shapely LineStrings
        """
        rows = np.arange(len(self.lixels))[which] if isinstance(which, slice) else which
        edge = np.unique(self.lixels.edge[rows])
        if not len(edge):
            return np.zeros(0, dtype=object)
        part = part_of_network(self.network, self.lixels, edge)
        first = self.network.edge_first
        size = first[edge + 1] - first[edge]
        begin = np.repeat(first[edge] - (np.cumsum(size) - size), size)
        vertex = np.arange(size.sum()) + begin
        drawn = replace(
            part.network, edge_xy=self.network.edge_xy[vertex],
            edge_first=np.concatenate([[0], np.cumsum(size)]).astype(np.int64),
        )  # fmt: skip
        lines = lixel_geometry(drawn, part.lixels)
        return np.asarray(lines[np.searchsorted(part.lixel, rows)], dtype=object)
