"""Networks cut into parts with a margin, so that what is local can be worked out part by part."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numba as nb
import numpy as np
from numpy.typing import NDArray

from roadrisk.roads.network import Lixels, Network

if TYPE_CHECKING:
    from roadrisk.roads.network import Floats, Ints

Bools = NDArray[np.bool_]


@dataclass(frozen=True, eq=False)
class Part:
    """Some edges of a network, numbered anew in the same order.

    Attributes
    ----------
    network : Network
        Without shapes and segments: nodes, edges and lengths alone.
    lixels : Lixels
        All lixels of these edges.
    edge : ndarray of int64, shape (edges of the part,)
        Their numbers in the whole network, rising.
    lixel : ndarray of int64, shape (lixels of the part,)
        Likewise.
    """

    network: Network
    lixels: Lixels
    edge: Ints
    lixel: Ints


def part_of_network(network: Network, lixels: Lixels, edge: Ints) -> Part:
    """Take some edges out of a network.

    Parameters
    ----------
    network : Network
    lixels : Lixels
    edge : ndarray of int64, shape (n,)
        Rising, each once.

    Returns
    -------
    Part
        At each node the edges follow one another as in the whole network, so that whatever
        reaches only over nodes all of whose edges were taken is computed in the same way.
    """
    ends = np.concatenate([network.edge_u[edge], network.edge_v[edge]])
    nodes, number = np.unique(ends, return_inverse=True)
    size = lixels.first[edge + 1] - lixels.first[edge]
    first = np.concatenate([[0], np.cumsum(size)]).astype(np.int64)
    own = np.repeat(np.arange(len(edge), dtype=np.int64), size)
    lixel = np.arange(first[-1]) - first[own] + lixels.first[edge][own]
    part = Network(
        network.crs, network.node_xy[nodes], number[: len(edge)].astype(np.int64),
        number[len(edge) :].astype(np.int64), network.edge_length_m[edge], np.zeros((0, 2)),
        np.zeros(len(edge) + 1, np.int64), network.segments.iloc[:0],
    )  # fmt: skip
    laid = Lixels(own, lixels.start_m[lixel], lixels.end_m[lixel], first, lixels.segment[lixel])
    return Part(part, laid, np.asarray(edge, np.int64), lixel)


def without_shapes(network: Network) -> Network:
    """Return the network's nodes, edges and lengths alone, which is all that tiles are made of.

    Parameters
    ----------
    network : Network

    Returns
    -------
    Network
        Light enough to be handed to other processes.
    """
    return Network(
        network.crs, network.node_xy, network.edge_u, network.edge_v, network.edge_length_m,
        np.zeros((0, 2)), np.zeros(network.edges + 1, np.int64), network.segments.iloc[:0],
    )  # fmt: skip


class Surroundings:
    """Finds what lies around some edges, along the roads.

    Parameters
    ----------
    network : Network
    """

    def __init__(self, network: Network) -> None:
        ends = np.column_stack([network.edge_u, network.edge_v]).ravel()
        self._arms = np.argsort(ends, kind="stable").astype(np.int64)
        self._first = np.searchsorted(ends[self._arms], np.arange(len(network.node_xy) + 1)).astype(
            np.int64
        )
        self._network = network

    def around(self, edge: Ints, reach_m: float) -> Ints:
        """Return these edges and all that begin within reach of one of their ends.

        Parameters
        ----------
        edge : ndarray of int64
        reach_m : float
            Along the roads [m].

        Returns
        -------
        ndarray of int64
            Rising. Every place within `reach_m` of these edges lies on one of them, and nodes
            within `reach_m` have all their edges among them.
        """
        net = self._network
        found = _around(
            np.asarray(edge, np.int64), float(reach_m), net.edge_u, net.edge_v,
            net.edge_length_m, self._first, self._arms,
        )  # fmt: skip
        return np.asarray(np.unique(found), np.int64)


def squares(network: Network, edges_each: int) -> list[Ints]:
    """Cut the edges into groups that lie together on the ground.

    Parameters
    ----------
    network : Network
    edges_each : int
        About so many edges in each group.

    Returns
    -------
    list of ndarray of int64
        Each edge in one of them, by its first node; rising.
    """
    return grouped(network.node_xy[network.edge_u], edges_each)


def grouped(xy: Floats, each: int) -> list[Ints]:
    """Put places into groups of neighbours: halved along the longer side until few enough.

    Parameters
    ----------
    xy : ndarray, shape (n, 2)
        [m].
    each : int
        At most so many in a group.

    Returns
    -------
    list of ndarray of int64
        Rows, rising within each group.
    """
    groups: list[Ints] = []
    waiting = [np.arange(len(xy), dtype=np.int64)]
    while waiting:
        rows = waiting.pop()
        if len(rows) <= each:
            if len(rows):
                groups.append(np.sort(rows))
            continue
        extent = xy[rows].max(axis=0) - xy[rows].min(axis=0)
        half = len(rows) // 2
        order = np.argpartition(xy[rows, int(extent.argmax())], half)
        waiting += [rows[order[half:]], rows[order[:half]]]
    return groups


@nb.njit(cache=True, nogil=True)
def _around(
    edge: Ints, reach: float, eu: Ints, ev: Ints, length: Floats, first: Ints, arms: Ints
) -> Ints:
    far = {np.int64(-1): 0.0}
    todo = [np.int64(-1) for _ in range(0)]
    met = [np.int64(e) for e in edge]
    for e in edge:
        for node in (eu[e], ev[e]):
            if node not in far:
                far[node] = 0.0
                todo.append(node)
    # In rounds, until no node is reached by a shorter way any more.
    while len(todo) > 0:
        onward = [np.int64(-1) for _ in range(0)]
        for node in todo:
            for k in range(first[node], first[node + 1]):
                f = arms[k] // 2
                met.append(f)
                other = ev[f] if arms[k] % 2 == 0 else eu[f]
                on = far[node] + length[f]
                if on < reach and (other not in far or on < far[other]):
                    far[other] = on
                    onward.append(other)
        todo = onward
    return np.array(met)
