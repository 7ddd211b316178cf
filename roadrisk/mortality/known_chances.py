"""Known chances that a death is counted: what all pieces share, and what differs."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from scipy import stats

if TYPE_CHECKING:
    from collections.abc import Sequence

    from roadrisk.mortality.sources import Source
    from roadrisk.roads.network import Floats, Ints

_MOST_SHAPES, _SHAPES_HOLD, _SLIGHT_SD = 4, 0.95, 0.02
_LARGEST_REST = 3.0


@dataclass(frozen=True, eq=False)
class KnownChance:
    """A known chance of being counted as a middle, a common factor and a few shapes.

    Attributes
    ----------
    rows : ndarray of int64, shape (watched,)
        Pieces that the source watched.
    middle : ndarray, shape (watched,)
        Median of the log chance.
    common : ndarray, shape (draws,)
        Sorted deviations of the log chance that all pieces share.
    shapes : ndarray, shape (watched, shapes)
        Deviations that differ between pieces, one standard deviation each.
    """

    rows: Ints
    middle: Floats
    common: Floats
    shapes: Floats

    @property
    def spread(self) -> float:
        """Half of the middle 68 % of the common factor, its standard deviation if it is normal."""
        low, high = np.quantile(self.common, [0.1587, 0.8413])
        return float(high - low) / 2

    def log_chance(self, common: Floats, shapes: Floats, part: slice = slice(None)) -> Floats:
        """Return log chances for draws of the standardised unknowns.

        Parameters
        ----------
        common : ndarray, shape (draws,)
            Standard normal where the data say nothing more; read as a quantile, so that a
            skewed chance stays skewed.
        shapes : ndarray, shape (shapes, draws)
        part : slice
            Of the watched pieces.

        Returns
        -------
        ndarray, shape (watched, draws)
        """
        share = stats.norm.cdf(common) * (len(self.common) - 1)
        factor = np.interp(share, np.arange(len(self.common)), self.common)
        return np.asarray(self.middle[part, None] + factor + self.shapes[part] @ shapes)


@dataclass(frozen=True, eq=False)
class KnownChances:
    """Known chances of several sources, which may share part of what is uncertain.

    Attributes
    ----------
    of : dict of int to KnownChance
        By number of the source.
    loading : ndarray, shape (known sources, factors)
        Standardised common factors of the sources are this times independent ones.
    """

    of: dict[int, KnownChance]
    loading: Floats


def known_chances(sources: Sequence[Source]) -> KnownChances:
    """Describe the chances of those sources that have one.

    Parameters
    ----------
    sources : sequence of Source

    Returns
    -------
    KnownChances

    Notes
    -----
    Shapes are the leading principal components that hold 95 % of what isn't common to all
    pieces, four at most; they are taken as normal, the common factor is kept as it was drawn.
    Where sources have equally many draws, draw d of one goes with draw d of the other (two
    protocols of one study share its trials of persistence): their common factors then have the
    correlation of the draws, where that is more than chance makes (3 / sqrt(draws)).
    """
    of, factors = {}, []
    for number, source in enumerate(sources):
        if source.known:
            of[number], common = _known_chance(source)
            factors.append(common)
    correlation = np.eye(len(factors))
    for i in range(len(factors)):
        for j in range(i):
            a, b = factors[i], factors[j]
            if len(a) == len(b) and a.std() > 0 and b.std() > 0:
                r = np.corrcoef(a, b)[0, 1]
                correlation[i, j] = correlation[j, i] = r if abs(r) * len(a) ** 0.5 > 3 else 0.0
    values, vectors = np.linalg.eigh(correlation)
    loading = vectors * np.sqrt(np.maximum(values, 0.0))
    return KnownChances(of, np.asarray(loading[:, values > 1e-6], dtype=np.float64))


def _known_chance(source: Source) -> tuple[KnownChance, Floats]:
    """Split draws of a log chance into middle, common factor and shapes."""
    rows = np.flatnonzero(source.exposure > 0)
    log_q = np.asarray(source.log_q, dtype=np.float64)
    if log_q.ndim == 1:
        middle = float(np.median(log_q))
        common = log_q - middle
        every = np.full(len(rows), middle)
        return KnownChance(rows, every, np.sort(common), np.zeros((len(rows), 0))), common
    log_q = log_q[rows]
    every = np.median(log_q, axis=1)
    around = log_q - every[:, None]
    weight = source.exposure[rows] * np.exp(every - every.max())
    weight = weight / weight.sum()
    # Of the whole expected count, so that one piece whose chance may be nil doesn't rule it.
    common = np.log(weight @ np.exp(around))
    rest = np.clip(around - common, -_LARGEST_REST, _LARGEST_REST)
    shapes = rest @ _leading(rest * np.sqrt(weight)[:, None]) / np.sqrt(log_q.shape[1])
    return KnownChance(rows, every, np.sort(common), shapes), common


def _leading(rest: Floats) -> Floats:
    """Directions among the draws, shape (draws, shapes), along which most of the rest varies."""
    tall = rest.shape[0] > rest.shape[1]
    # The smaller of the two products has the same eigenvalues.
    product = rest.T @ rest if tall else rest @ rest.T
    values, vectors = np.linalg.eigh(product / rest.shape[1])
    values, vectors = np.maximum(values[::-1], 0.0), vectors[:, ::-1]
    total = values.sum()
    if total <= _SLIGHT_SD**2:
        return np.zeros((rest.shape[1], 0))
    keep = int(np.searchsorted(np.cumsum(values), _SHAPES_HOLD * total)) + 1
    vectors = vectors[:, : min(keep, _MOST_SHAPES, len(values))]
    if not tall:
        vectors = rest.T @ vectors
        vectors = vectors / np.linalg.norm(vectors, axis=0)
    return np.asarray(vectors, dtype=np.float64)
