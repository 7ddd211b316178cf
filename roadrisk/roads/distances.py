"""Shortest distances along the network between places."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from scipy.sparse import csr_array
from scipy.sparse.csgraph import dijkstra

if TYPE_CHECKING:
    from roadrisk.roads.network import Floats, Ints, Network


def distances_between(network: Network, edge: Ints, offset_m: Floats) -> Floats:
    """Return the shortest distances along the network between places.

    Parameters
    ----------
    network : Network
    edge : ndarray of int64, shape (n,)
    offset_m : ndarray, shape (n,)
        Along the edge [m].

    Returns
    -------
    ndarray, shape (n, n)
        [m], symmetric; infinite where no road connects two places.
    """
    edge = np.asarray(edge, dtype=np.int64)
    ahead = np.asarray(offset_m, dtype=np.float64)
    behind = network.edge_length_m[edge] - ahead
    ends = np.stack([network.edge_u[edge], network.edge_v[edge]])
    to_end = np.stack([ahead, behind])
    nodes, row = np.unique(ends, return_inverse=True)
    row = row.reshape(ends.shape)
    between = dijkstra(node_graph(network), directed=False, indices=nodes)[:, nodes]
    found = np.full((len(edge), len(edge)), np.inf)
    for i in range(2):
        for j in range(2):
            way = to_end[i][:, None] + between[row[i][:, None], row[j][None, :]] + to_end[j]
            np.minimum(found, way, out=found)
    same = edge[:, None] == edge[None, :]
    direct = np.abs(ahead[:, None] - ahead[None, :])
    return np.where(same, np.minimum(found, direct), found)


def node_graph(network: Network, edges: Ints | None = None, nodes: Ints | None = None) -> csr_array:
    """Return the nodes as a sparse matrix of the shortest edge between each two [m].

    Parameters
    ----------
    network : Network
    edges : ndarray of int64, optional
        Only these edges; all otherwise.
    nodes : ndarray of int64, optional
        Only these nodes, sorted, among them all ends of the edges; all otherwise.

    Returns
    -------
    scipy.sparse.csr_array, shape (nodes, nodes)
        Each edge once, from the lower node to the higher; edges from a node to itself are
        no way to anywhere and left out.
    """
    own = np.arange(network.edges) if edges is None else edges
    ends = np.stack([network.edge_u[own], network.edge_v[own]])
    count = len(network.node_xy)
    if nodes is not None:
        ends, count = np.searchsorted(nodes, ends), len(nodes)
    low, high = ends.min(axis=0), ends.max(axis=0)
    length = network.edge_length_m[own]
    order = np.lexsort((length, high, low))
    order = order[low[order] != high[order]]
    low, high, length = low[order], high[order], length[order]
    shortest = np.ones(len(low), dtype=bool)
    shortest[1:] = (np.diff(low) != 0) | (np.diff(high) != 0)
    return csr_array((length[shortest], (low[shortest], high[shortest])), shape=(count, count))
