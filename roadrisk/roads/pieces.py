"""Pieces of road: lixels taken together, about 100 m long, the unit of a death rate."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from roadrisk.roads.bands import partner_lixels

if TYPE_CHECKING:
    from roadrisk.roads.network import Floats, Ints, Lixels, Network


@dataclass(frozen=True, eq=False)
class Pieces:
    """Runs of lixels, each on one edge.

    Attributes
    ----------
    first, last : ndarray of int64, shape (pieces,)
        First and last lixel of the run, both in it.
    edge : ndarray of int64, shape (pieces,)
        Edge of the run; sorted.
    length_m : ndarray, shape (pieces,)
        [m]. The two carriageways of a dual road are one piece, as long as the leading one.
    neighbours : ndarray of int64, shape (pairs, 2)
        Pieces that touch along an edge or at a node, each pair once, the lower one first.
    of_lixel : ndarray of int64, shape (lixels,)
        Piece of every lixel; lixels of a following carriageway belong to the piece opposite.
    """

    first: Ints
    last: Ints
    edge: Ints
    length_m: Floats
    neighbours: Ints
    of_lixel: Ints

    def __len__(self) -> int:
        return len(self.first)

    @property
    def middle(self) -> Ints:
        """The lixel in the middle of each piece, shape (pieces,): for its road, class, traffic."""
        return (self.first + self.last) // 2

    @property
    def length_km(self) -> Floats:
        """Length of each piece [km]."""
        return self.length_m / 1000.0

    def sums(self, per_lixel: Floats) -> Floats:
        """Add up amounts of lixels.

        Parameters
        ----------
        per_lixel : ndarray, shape (lixels,)
            Amounts (counts, metres, hours), not rates.

        Returns
        -------
        ndarray, shape (pieces,)
        """
        return np.bincount(self.of_lixel, per_lixel, len(self)).astype(np.float64)


def lay_pieces(network: Network, lixels: Lixels, length_m: float = 100.0) -> Pieces:
    """Cut the roads into pieces.

    Parameters
    ----------
    network : Network
        With `band_of` filled where it has dual carriageways.
    lixels : Lixels
    length_m : float
        Length aimed at [m]. An edge gets the whole number of pieces that comes nearest, at
        least one; short edges so give short pieces.

    Returns
    -------
    Pieces
    """
    partner = partner_lixels(network, lixels)
    leads = partner == np.arange(len(lixels))
    starts = np.zeros(len(lixels), dtype=bool)
    starts[lixels.first[:-1]] = True
    starts[1:] |= leads[1:] != leads[:-1]
    run_first = np.flatnonzero(starts)
    run_last = np.append(run_first[1:], len(lixels)) - 1
    kept = leads[run_first]
    run_first, run_last = run_first[kept], run_last[kept]
    first, last = _cut(run_first, run_last, lixels, length_m)
    of_lixel = np.full(len(lixels), -1, dtype=np.int64)
    size = last - first + 1
    every = np.repeat(first - (np.cumsum(size) - size), size) + np.arange(size.sum())
    of_lixel[every] = np.repeat(np.arange(len(first)), size)
    of_lixel = of_lixel[partner]
    length = lixels.end_m[last] - lixels.start_m[first]
    touching = _touching(network, lixels, of_lixel)
    return Pieces(first, last, lixels.edge[first], length, touching, of_lixel)


def _cut(run_first: Ints, run_last: Ints, lixels: Lixels, length_m: float) -> tuple[Ints, Ints]:
    """Cut every run of lixels into parts as equal as whole lixels allow."""
    lixel_count = run_last - run_first + 1
    length = lixels.end_m[run_last] - lixels.start_m[run_first]
    # The millionth keeps a length of exactly one half from being decided by its last digit.
    parts = np.floor(length / length_m + 0.5 + 1e-6).astype(np.int64)
    parts = np.clip(parts, 1, lixel_count)
    run = np.repeat(np.arange(len(parts)), parts)
    within = np.arange(len(run)) - (np.cumsum(parts) - parts)[run]
    first = run_first[run] + within * lixel_count[run] // parts[run]
    last = run_first[run] + (within + 1) * lixel_count[run] // parts[run] - 1
    return first, last


def _touching(network: Network, lixels: Lixels, of_lixel: Ints) -> Ints:
    along = lixels.edge[1:] == lixels.edge[:-1]
    pairs = [np.column_stack([of_lixel[:-1][along], of_lixel[1:][along]])]
    node = np.concatenate([network.edge_u, network.edge_v])
    piece = of_lixel[np.concatenate([lixels.first[:-1], lixels.first[1:] - 1])]
    # Pairs of ends at one node: each end with the next, the one after that, and so on.
    order = np.argsort(node, kind="stable")
    node, piece = node[order], piece[order]
    step = 1
    while step < len(node):
        same = node[step:] == node[:-step]
        if not same.any():
            break
        pairs.append(np.column_stack([piece[:-step][same], piece[step:][same]]))
        step += 1
    both = np.sort(np.concatenate(pairs), axis=1)
    return np.unique(both[both[:, 0] != both[:, 1]], axis=0)
