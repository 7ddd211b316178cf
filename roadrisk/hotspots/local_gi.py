"""Getis-Ord Gi*: is a piece of road among neighbours with more than the average of all."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
from scipy import sparse

from roadrisk.hotspots.reach import pairs_within

if TYPE_CHECKING:
    from roadrisk.roads.network import Floats, Ints, Network


def gi_star(values: Floats, near: sparse.csr_array[Any, tuple[int, int]]) -> Floats:
    """Gi* of every piece of road, as a z-score.

    For those who expect it: a picture, no test. The z-score takes the values for drawn without
    regard to each other, and one animal's or observer's events are not; neighbouring pieces
    share most of their neighbours besides. What stands out by more than chance is said by
    `chance.compare_with_chance` and `scan.scan`, which move such events together.

    Parameters
    ----------
    values : ndarray, shape (pieces,)
        One number a lixel or window. Give densities (events per metre), or pieces of one length:
        a longer piece holds more events.
    near : scipy.sparse.csr_array, shape (pieces, pieces)
        Stored where two pieces are neighbours, whatever the value stored; a piece is its own
        neighbour whether stored or not. `neighbours_within` makes it.

    Returns
    -------
    ndarray, shape (pieces,)
        Positive where the neighbourhood holds more than the average; NaN where all values are
        the same, and where every piece is a neighbour.

    Notes
    -----
    z = (sum_j w_ij x_j - mean W_i) / (s sqrt((n W_i - W_i^2) / (n - 1))), binary w with the
    piece itself, W_i the number of neighbours, s with divisor n (Getis & Ord 1992; Ord & Getis
    1995, Geogr. Anal. 27:286-306, from memory).
    """
    x = np.asarray(values, np.float64)
    n = len(x)
    marks = sparse.csr_array((np.ones(len(near.indices)), near.indices, near.indptr), near.shape)
    binary = (marks + sparse.eye_array(n)).tocsr()
    binary.data[:] = 1.0
    count = np.diff(binary.indptr).astype(np.float64)
    above = binary @ x - x.mean() * count
    scale = x.std() * np.sqrt(np.maximum(n * count - count**2, 0.0) / max(n - 1, 1))
    flat = scale <= 1e-12 * max(float(np.abs(x).max(initial=0.0)), 1e-300)
    return np.divide(above, scale, out=np.full(n, np.nan), where=~flat)


def neighbours_within(
    network: Network, edge: Ints, middle_m: Floats, distance_m: float
) -> sparse.csr_array[Any, tuple[int, int]]:
    """Pieces whose middles lie within a distance of each other along the network.

    Parameters
    ----------
    network : Network
    edge : ndarray of int64, shape (pieces,)
    middle_m : ndarray, shape (pieces,)
        Offset of the piece's middle along its edge [m].
    distance_m : float
        [m].

    Returns
    -------
    scipy.sparse.csr_array, shape (pieces, pieces)
        Distances [m], the zeros stored; a piece itself among them.
    """
    return pairs_within(network, edge, middle_m, distance_m)
