"""What is smooth along the roads: a random walk on the graph of pieces, on a known scale."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING, Any

import numpy as np
from scipy import sparse
from scipy.sparse.csgraph import connected_components

from roadrisk.mortality.sparse_factor import factorise, lay_pattern

if TYPE_CHECKING:
    from roadrisk.roads.network import Floats, Ints
    from roadrisk.roads.pieces import Pieces


@dataclass(frozen=True, eq=False)
class RoadField:
    """Precision of a random walk along the roads, of unit standard deviation.

    Attributes
    ----------
    a, b : ndarray of int64, shape (pairs,)
        Pieces that touch.
    link : ndarray, shape (pairs,)
        Weight of each pair, scaled: the matrix holds minus this off its diagonal.
    diagonal : ndarray, shape (pieces,)
    component : ndarray of int64, shape (pieces,)
        Which connected part of the network each piece belongs to.
    """

    a: Ints
    b: Ints
    link: Floats
    diagonal: Floats
    component: Ints

    def times(self, x: Floats) -> Floats:
        """Multiply by the precision matrix.

        Parameters
        ----------
        x : ndarray, shape (pieces,) or (pieces, columns)

        Returns
        -------
        ndarray
            Shape of `x`.
        """
        return np.asarray(self._matrix @ x)

    @cached_property
    def _matrix(self) -> sparse.csr_array[Any, tuple[int, int]]:
        size = len(self.diagonal)
        off = sparse.coo_array((-self.link, (self.a, self.b)), (size, size))
        return sparse.csr_array(off + off.T + sparse.diags_array(self.diagonal))


def road_field(pieces: Pieces) -> RoadField:
    """Lay a random walk on the pieces.

    Parameters
    ----------
    pieces : Pieces

    Returns
    -------
    RoadField

    Notes
    -----
    Neighbours' difference has a variance in proportion to the distance between their middles
    (within a factor of 4). Each connected part is scaled so that the geometric mean of its
    marginal variances, with its own mean taken out, is 1: Sørbye & Rue (2014), Scaling
    intrinsic Gaussian Markov random field priors in spatial modelling, Spatial Statistics
    8:39-51. A diagonal of 1 / pieces holds each part's own level within about one such
    standard deviation of the common one, so a part that nobody watched is not free; a piece
    without neighbours has variance 1.
    """
    a, b = pieces.neighbours[:, 0], pieces.neighbours[:, 1]
    apart = (pieces.length_m[a] + pieces.length_m[b]) / 2
    usual = float(np.median(apart)) if len(apart) else 1.0
    return walk_of(len(pieces), a, b, apart, usual)


def walk_of(size: int, a: Ints, b: Ints, apart: Floats, usual: float) -> RoadField:
    """Lay a random walk on pieces that touch.

    Parameters
    ----------
    size : int
        Pieces.
    a, b : ndarray of int64, shape (pairs,)
        Pieces that touch.
    apart : ndarray, shape (pairs,)
        Distance between their middles [m].
    usual : float
        Distance that has a weight of 1 [m].

    Returns
    -------
    RoadField
        As in `road_field`.
    """
    link = np.clip(usual / np.maximum(apart, 1e-9), 0.25, 4.0)
    graph = sparse.coo_array((link, (a, b)), (size, size))
    count, found = connected_components(graph, directed=False)
    label = np.asarray(found, dtype=np.int64)
    members = np.bincount(label, minlength=count).astype(np.float64)
    degree = np.asarray(np.bincount(a, link, size) + np.bincount(b, link, size), dtype=np.float64)
    variance = _variances(a, b, link, degree, label)
    alone = members[label] == 1
    log_variance = np.log(np.where(alone, 1.0, variance))
    scale = np.exp(np.bincount(label, log_variance, count) / members)[label]
    scaled = degree * scale + 1.0 / members[label]
    return RoadField(a, b, link * scale[a], scaled, label)


def _variances(a: Ints, b: Ints, link: Floats, degree: Floats, label: Ints) -> Floats:
    """Marginal variances of the unscaled walk with every part's mean held at 0."""
    size = len(degree)
    pattern = lay_pattern(size, a, b)
    numbers = np.zeros(len(pattern.row))
    every = np.arange(size)
    # One piece of each part is tied down, which the centring below takes out again.
    tied = np.zeros(size)
    tied[np.unique(label, return_index=True)[1]] = 1.0
    numbers[pattern.entry(every, every)] = degree + tied
    np.add.at(numbers, pattern.entry(a, b), -link)
    factor = factorise(pattern, numbers)
    diagonal, _ = factor.inverse()
    members = np.bincount(label)
    mean = factor.solve((1.0 / members[label])[:, None])[:, 0]
    centre = np.bincount(label, mean) / members
    return np.maximum(diagonal - 2 * mean + centre[label], 1e-9)
