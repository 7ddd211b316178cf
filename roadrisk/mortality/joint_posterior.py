"""The unknowns of the model for given standard deviations: a normal shape fitted to them."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numba as nb
import numpy as np
from scipy import special

from roadrisk.mortality.joint_layout import KNOWN_CLUMPS, SMOOTH, Layout
from roadrisk.mortality.sparse_factor import Factor, factorise

if TYPE_CHECKING:
    from roadrisk.roads.network import Floats, Ints

_ROUNDS, _LARGEST_STEP, _SETTLED, _SETTLED_VARIANCE = 60, 2.0, 1e-2, 5e-2
_LARGEST_VARIANCE = 16.0  # on the way only: bounds are of the variances as they are


@dataclass(frozen=True, eq=False)
class Normal:
    """Normal approximation of all unknowns.

    Attributes
    ----------
    inner, border : ndarray
        Means of the unknowns with a standard deviation of their own, and of the rest.
    variance : ndarray, shape (rows,)
        Of each row's log rate.
    bound : float
        Lower bound of the log chance of the data, without terms that never change.
    slope : ndarray, shape (scales,)
        Derivative of `bound` by the log of each standard deviation.
    """

    inner: Floats
    border: Floats
    variance: Floats
    bound: float
    slope: Floats


class Fitter:
    """Fits the normal shape, and draws from it.

    Parameters
    ----------
    layout : Layout

    Notes
    -----
    The normal distribution that is nearest to the posterior in the sense of Kullback and
    Leibler (Gaussian variational approximation of a Poisson log-normal model; Challis & Barber
    2013, JMLR 14:2239, from memory). At its optimum the mean of the expected counts equals the
    counts, which a Laplace approximation about the mode misses by exp(variance / 2) a piece.
    """

    def __init__(self, layout: Layout) -> None:
        self.layout = layout
        self._offset = layout.offset
        self._lay_entries()

    def _lay_entries(self) -> None:
        layout, pattern = self.layout, self.layout.pattern
        every = np.arange(layout.size)
        self._own = pattern.entry(every, every)
        self._row, a, b = layout.pairs
        self._pair, self._below = pattern.entry(a, b), pattern.factor_entry(a, b)
        self._held = layout.nodes >= 0
        self._node = np.where(self._held, layout.nodes, 0)
        field = layout.field
        self._links: dict[int, tuple[Ints, Ints]] = {}
        for name, first, _ in layout.blocks:
            if name in SMOOTH:
                a, b = first + field.a, first + field.b
                self._links[first] = (pattern.entry(a, b), pattern.factor_entry(a, b))

    def fit(self, scales: Floats, start: Normal | None = None) -> Normal:
        """Fit for given standard deviations.

        Parameters
        ----------
        scales : ndarray, shape (scales,)
            In the order of `Layout.scales`.
        start : Normal, optional
            Of nearby standard deviations.

        Returns
        -------
        Normal
        """
        layout = self.layout
        prior = self._prior(scales)
        self._lower(scales)
        inner = np.zeros(layout.size) if start is None else start.inner.copy()
        border = self._first_border() if start is None else start.border.copy()
        variance = np.zeros(len(layout.y)) if start is None else start.variance
        for turn in range(_ROUNDS):
            log_rate = self._log_rate(inner, border)
            expected = np.exp(np.minimum(log_rate + variance / 2, 50.0))
            factor, across, schur = self._factor(prior, expected)
            miss = layout.y - expected
            pull = self._to_inner(miss) - self._times_prior(scales, inner)
            pull_b = layout.border.T @ miss - border / layout.border_sd**2
            step = factor.solve(pull[:, None])[:, 0]
            step_b = np.asarray(np.linalg.solve(schur, pull_b - across.T @ pull), dtype=np.float64)
            step -= across @ step_b
            move = self._log_rate(step, step_b) - self._offset
            short = min(1.0, _LARGEST_STEP / max(np.abs(move).max(), 1e-12))
            inner, border = inner + short * step, border + short * step_b
            settled = np.abs(move).max() < _SETTLED
            if turn > 1 or start is not None or settled:
                fresh = self._variances(factor, across, schur)[0]
                gap = np.abs(fresh - variance) / np.maximum(variance, 1.0)
                settled &= bool(gap.max() < _SETTLED_VARIANCE)
                aim = consistent(fresh, expected, self._log_rate(inner, border))
                # Half of the way (of the logarithm), since rows beside each other that all go the
                # whole way swing for ever where variances are large.
                variance = np.sqrt(variance * aim) if variance.any() else aim
                if settled:
                    break
        return self._finish(scales, prior, inner, border, variance)

    def draws(
        self, scales: Floats, fitted: Normal, count: int, rng: np.random.Generator
    ) -> tuple[Floats, Floats]:
        """Draw from a fitted normal shape.

        Parameters
        ----------
        scales : ndarray, shape (scales,)
        fitted : Normal
        count : int
        rng : numpy.random.Generator

        Returns
        -------
        inner : ndarray, shape (unknowns, count)
        border : ndarray, shape (columns, count)
        """
        self._lower(scales)
        expected = np.exp(self._log_rate(fitted.inner, fitted.border) + fitted.variance / 2)
        factor, across, schur = self._factor(self._prior(scales), expected)
        root = np.linalg.cholesky(np.linalg.inv(schur))
        border = root @ rng.standard_normal((len(fitted.border), count))
        inner = factor.draws(rng.standard_normal((self.layout.size, count))) - across @ border
        return fitted.inner[:, None] + inner, fitted.border[:, None] + border

    def _finish(
        self, scales: Floats, prior: Floats, inner: Floats, border: Floats, variance: Floats
    ) -> Normal:
        layout = self.layout
        log_rate = self._log_rate(inner, border)
        expected = np.exp(np.minimum(log_rate + variance / 2, 50.0))
        factor, across, schur = self._factor(prior, expected)
        variance, diagonal, below, spread = self._variances(factor, across, schur)
        # A true bound for any shape, so one that has not settled is never preferred.
        mean = np.exp(np.minimum(log_rate + variance / 2, 50.0))
        bound = float(layout.y @ log_rate - mean.sum() + expected @ variance / 2)
        bound -= float(inner @ self._times_prior(scales, inner)) / 2
        bound -= float(np.sum((border / layout.border_sd) ** 2)) / 2
        bound -= (factor.log_determinant + np.linalg.slogdet(schur)[1]) / 2
        slope = np.zeros(len(scales))
        for name, first, count in layout.blocks:
            at = layout.scales.index(name)
            part = slice(first, first + count)
            square = self._square(name, first, part, inner, across, spread, diagonal, below)
            slope[at] += square / scales[at] ** 2 - count
            bound -= count * float(np.log(scales[at]))
        if KNOWN_CLUMPS in layout.scales:
            at = layout.scales.index(KNOWN_CLUMPS)
            slope[at] -= scales[at] ** 2 * float((layout.y - mean)[layout.clumped].sum())
        bound -= float(special.gammaln(layout.y + 1.0).sum())
        return Normal(inner, border, variance, bound, slope)

    def _square(
        self,
        name: str,
        first: int,
        part: slice,
        inner: Floats,
        across: Floats,
        spread: Floats,
        diagonal: Floats,
        below: Floats,
    ) -> float:
        """Return the expected square of a block, weighed by its precision at scale 1."""
        x, c = inner[part], across[part]
        if name not in SMOOTH:
            return float(x @ x + diagonal[part].sum() + np.sum((c @ spread) * c))
        field = self.layout.field
        trace = field.diagonal @ diagonal[part] - 2 * field.link @ below[self._links[first][1]]
        return float(x @ field.times(x) + trace + np.sum(field.times(c @ spread) * c))

    def _lower(self, scales: Floats) -> None:
        """Lower the rows of clumped known sources, so that their clumps have mean 1."""
        self._offset = self.layout.offset
        if KNOWN_CLUMPS in self.layout.scales:
            half = scales[self.layout.scales.index(KNOWN_CLUMPS)] ** 2 / 2
            self._offset = self._offset - np.where(self.layout.clumped, half, 0.0)

    def _first_border(self) -> Floats:
        layout = self.layout
        border = np.zeros(len(layout.border_sd))
        seen = np.array([layout.y[layout.source == k].sum() for k in np.unique(layout.source)])
        could = np.array(
            [np.exp(layout.offset[layout.source == k]).sum() for k in np.unique(layout.source)]
        )
        level = np.log((seen + 0.5) / could)
        known = np.array([k in layout.chances.of for k in range(len(seen))])
        basis = known if known.any() else np.ones(len(seen), dtype=bool)
        border[0] = np.log((seen[basis].sum() + 0.5) / could[basis].sum())
        for number in np.flatnonzero(~known):
            at = layout.border_name.index(f"level of {number}")
            border[at] = level[number] - border[0]
        return border

    def _log_rate(self, inner: Floats, border: Floats) -> Floats:
        parts = np.where(self._held, inner[self._node], 0.0).sum(axis=1)
        return np.asarray(self._offset + parts + self.layout.border @ border)

    def _to_inner(self, per_row: Floats) -> Floats:
        weights = np.where(self._held, per_row[:, None], 0.0).ravel()
        return np.bincount(self._node.ravel(), weights, self.layout.size).astype(np.float64)

    def _prior(self, scales: Floats) -> Floats:
        layout = self.layout
        numbers = np.zeros(len(layout.pattern.row))
        for name, first, count in layout.blocks:
            precision = 1.0 / scales[layout.scales.index(name)] ** 2
            own = self._own[first : first + count]
            if name in SMOOTH:
                numbers[own] = precision * layout.field.diagonal
                np.add.at(numbers, self._links[first][0], -precision * layout.field.link)
            else:
                numbers[own] = precision
        return numbers

    def _times_prior(self, scales: Floats, inner: Floats) -> Floats:
        out = np.empty_like(inner)
        for name, first, count in self.layout.blocks:
            part = slice(first, first + count)
            precision = 1.0 / scales[self.layout.scales.index(name)] ** 2
            x = inner[part]
            out[part] = precision * (self.layout.field.times(x) if name in SMOOTH else x)
        return out

    def _factor(self, prior: Floats, expected: Floats) -> tuple[Factor, Floats, Floats]:
        """Factor of the inner precision, inner's answer to the border, and the border's rest."""
        layout = self.layout
        numbers = prior.copy()
        numbers[self._own] += self._to_inner(expected)
        numbers += np.bincount(self._pair, expected[self._row], len(numbers))
        factor = factorise(layout.pattern, numbers)
        weighed = layout.border * expected[:, None]
        right = np.column_stack([self._to_inner(column) for column in weighed.T])
        across = factor.solve(np.ascontiguousarray(right))
        schur = layout.border.T @ weighed - right.T @ across
        schur[np.diag_indices_from(schur)] += 1.0 / layout.border_sd**2
        return factor, across, schur

    def _variances(
        self, factor: Factor, across: Floats, schur: Floats
    ) -> tuple[Floats, Floats, Floats, Floats]:
        """Variance of each row's log rate; and of what it was made."""
        layout = self.layout
        diagonal, below = factor.inverse()
        spread = np.asarray(np.linalg.inv(schur), dtype=np.float64)
        own = np.where(self._held, diagonal[self._node], 0.0).sum(axis=1)
        own += 2 * np.bincount(self._row, below[self._below], len(layout.y))
        reach = layout.border - np.where(self._held[..., None], across[self._node], 0.0).sum(axis=1)
        own += np.sum((reach @ spread) * reach, axis=1)
        return np.asarray(own), diagonal, below, spread


@nb.njit(cache=True, nogil=True)
def consistent(variance: Floats, expected: Floats, log_rate: Floats) -> Floats:
    """Find variances that agree with the expected counts they make, all else of a row held.

    Solves v = 1 / (p + exp(log_rate + v / 2)) for every row, where p is the precision that the
    row has from elsewhere; plain repetition would swing where variances are large.
    """
    found = np.empty_like(variance)
    for k in range(len(variance)):
        elsewhere = max(1.0 / variance[k] - expected[k], 1e-3)
        low, high = 0.0, min(1.0 / elsewhere, _LARGEST_VARIANCE)
        v = min(variance[k], high)
        for _ in range(60):
            rate = np.exp(min(log_rate[k] + v / 2, 50.0))
            miss = v * (elsewhere + rate) - 1.0
            if abs(miss) < 1e-8:
                break
            if miss > 0:
                high = v
            else:
                low = v
            v -= miss / (elsewhere + rate * (1.0 + v / 2))
            if not low < v < high:
                v = (low + high) / 2
        found[k] = v
    return found
