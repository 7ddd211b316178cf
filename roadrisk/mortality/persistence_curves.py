"""Curves of how many carcasses are left after some days: four families, one way to write them.

The logarithm of the time that a carcass stays is location + sigma · W, W of a standard
distribution: S(t) = G((ln t − location) / sigma). W has the smallest-extreme-value law for the
exponential (sigma 1) and the Weibull (shape 1 / sigma, scale exp(location)), the normal for the
log-normal and the logistic law for the log-logistic (shape 1 / sigma).
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING, Any

import numpy as np
from scipy import special

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]
    Ints = NDArray[np.int64]

FAMILIES = ("exponential", "weibull", "lognormal", "loglogistic")
# Places of the table that integrals are read from [days].
_FIRST, _LAST, _PLACES = 1e-3, 1e4, 240


def log_remaining(family: int, location: Any, sigma: Any, days: Any) -> Floats:
    """Return ln S(t) of one family.

    Parameters
    ----------
    family : int
        Place in `FAMILIES`.
    location, sigma : array_like
    days : array_like
        0 or more, may be infinite; broadcasts against the others.

    Returns
    -------
    ndarray
    """
    with np.errstate(divide="ignore"):
        z = (np.log(days) - location) / sigma
    if family <= 1:
        with np.errstate(over="ignore"):
            return np.asarray(-np.exp(z))
    if family == 2:
        return np.asarray(special.log_ndtr(-z))
    return np.asarray(-np.logaddexp(0.0, z))


@dataclass(frozen=True, eq=False)
class Curves:
    """Draws of a curve.

    Attributes
    ----------
    family : ndarray of int64, shape (draws,)
        Place in `FAMILIES`.
    location, sigma : ndarray, shape (draws,)
    """

    family: Ints
    location: Floats
    sigma: Floats

    def __len__(self) -> int:
        return len(self.family)

    def remaining(self, days: Floats) -> Floats:
        """Return the share of carcasses still there.

        Parameters
        ----------
        days : ndarray, shape (n,)

        Returns
        -------
        ndarray, shape (n, draws)
        """
        out = np.empty((len(days), len(self)))
        for k in np.unique(self.family):
            mine = self.family == k
            out[:, mine] = np.exp(
                log_remaining(int(k), self.location[mine], self.sigma[mine], days[:, None])
            )
        return out

    def quantile(self, gone: float) -> Floats:
        """Return the days after which a share of the carcasses is gone, shape (draws,)."""
        z = np.empty(len(self))
        for k in np.unique(self.family):
            z[self.family == k] = (
                np.log(-np.log1p(-gone)) if k <= 1
                else special.ndtri(gone) if k == 2 else special.logit(gone)
            )  # fmt: skip
        return np.asarray(np.exp(np.clip(self.location + self.sigma * z, -700.0, 700.0)))

    def days_there(self, days: Floats) -> Floats:
        """Return the mean number of days that a carcass lies there within its first `days`.

        Parameters
        ----------
        days : ndarray, shape (n,) or (n, draws)
            0 or more.

        Returns
        -------
        ndarray, shape (n, draws)
            The integral of S from 0 to `days`, by cubic interpolation over log time with the
            exact derivative t · S(t); from 2 minutes to 27 years it errs by less than 1e-5 of
            itself (held in the tests). The first 2 minutes count evenly.
        """
        _, value, slope = self._table
        x = np.broadcast_to(np.asarray(days).reshape(len(days), -1), (len(days), len(self)))
        inside = np.clip(x, _FIRST, _LAST)
        step = np.log(_LAST / _FIRST) / (_PLACES - 1)
        along = np.log(inside / _FIRST) / step
        left = np.minimum(along.astype(np.int64), _PLACES - 2)
        u = along - left
        col = np.arange(len(self))
        y0, y1 = value[left, col], value[left + 1, col]
        d0, d1 = slope[left, col] * step, slope[left + 1, col] * step
        found = (
            y0 * (1 + 2 * u) * (1 - u) ** 2 + d0 * u * (1 - u) ** 2
            + y1 * u * u * (3 - 2 * u) + d1 * u * u * (u - 1)
        )  # fmt: skip
        return np.where(x < _FIRST, value[0] * x / _FIRST, found)

    @cached_property
    def _table(self) -> tuple[Floats, Floats, Floats]:
        places = np.geomspace(_FIRST, _LAST, _PLACES)
        value = np.empty((_PLACES, len(self)))
        for k in np.unique(self.family):
            mine = self.family == k
            value[:, mine] = _integral(
                int(k), self.location[mine], self.sigma[mine], places[:, None]
            )
        return places, value, places[:, None] * self.remaining(places)


def _integral(family: int, location: Floats, sigma: Floats, days: Floats) -> Floats:
    """Integral of S from 0 to `days`, in closed form."""
    scale, z = np.exp(location), (np.log(days) - location) / sigma
    if family <= 1:
        # Substitution s = (t / scale)^(1 / sigma) gives a lower incomplete gamma function.
        with np.errstate(over="ignore"):
            return np.asarray(scale * special.gamma(1 + sigma) * special.gammainc(sigma, np.exp(z)))
    if family == 2:
        # By parts: t S(t) and the mean of the times below t.
        part = np.exp(location + sigma**2 / 2) * special.ndtr(z - sigma)
        return np.asarray(days * special.ndtr(-z) + part)
    # Textbook: t · 2F1(1, sigma; 1 + sigma; −(t / scale)^(1 / sigma)); Pfaff's transformation
    # brings its argument between 0 and 1, Euler's keeps it finite at 1 where sigma is below 1.
    below, low = special.expit(z), np.minimum(sigma, 0.999)
    steep = days * np.exp(low * special.log_expit(-z)) * special.hyp2f1(low, low, 1 + low, below)
    flat = np.maximum(sigma, 0.999)
    with np.errstate(invalid="ignore"):
        wide = days * special.expit(-z) * special.hyp2f1(1.0, 1.0, 1.0 + flat, below)
    return np.asarray(np.where(sigma < 0.999, steep, wide))
