"""From bearings to the place of a transmitter: maximum likelihood, robust versions, region.

Angles go in as grid azimuths [degrees, clockwise from grid north]; inside they are turned
counter-clockwise from east. Lenth, R. V. 1981, On finding the source of a signal,
Technometrics 23:149-154; the robust weights and the covariance are from memory.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray
from scipy import stats

from roadrisk.telemetry.lenth import Method, inverse_kappa, kappa_of_sd, seen_from, solve, turned
from roadrisk.telemetry.likelihood_region import moment_ellipse

Floats = NDArray[np.float64]
NoFixKind = Literal["few", "one place", "parallel", "no solution", "at observer", "behind"]

LEVEL = 0.95
CHI2_95 = float(stats.chi2.ppf(LEVEL, 2))
_SAME_PLACE_M = 1.0


@dataclass(frozen=True, eq=False)
class Spread:
    """What is known of the bearings' deviation before they are looked at.

    Attributes
    ----------
    sd_deg : ndarray, shape (n,)
        Standard deviation of each bearing [degrees].
    freedom : float
        Degrees of freedom behind it; infinite if it is taken as exact.
    shared_sd_deg : float
        Standard error of a bias that was subtracted from all the bearings alike [degrees].
    """

    sd_deg: Floats
    freedom: float = np.inf
    shared_sd_deg: float = 0.0


@dataclass(frozen=True, eq=False)
class Estimate:
    """Where the transmitter was.

    Attributes
    ----------
    x, y : float
        [m]
    kappa : float
        Concentration: estimated from the bearings, or, if the deviation is known, the mean of
        theirs. Infinite if the bearings meet in one point; NaN if there is nothing to tell.
    covariance : ndarray, shape (2, 2)
        Of the estimate, the concentration taken as exact [m²]; NaN if not identified.
    factor : float
        The linear 95 % region is where the quadratic form of `covariance` is at most this.
    ellipse : ndarray, shape (2, 2)
        The 95 % region is (p - p̂)ᵀ ellipse⁻¹ (p - p̂) ≤ 1 [m²]; NaN if not identified.
    is_open : bool
        Whether the bearings also allow places far beyond the region.
    weights : ndarray, shape (n,)
        Robust weights; all 1 for maximum likelihood.
    residual_deg : ndarray, shape (n,)
        Bearing less the direction to the estimate [degrees, clockwise].
    crossing_deg : float
        Widest angle at which two of the bearings cross.
    """

    x: float
    y: float
    kappa: float
    covariance: Floats
    factor: float
    ellipse: Floats
    is_open: bool
    weights: Floats
    residual_deg: Floats
    crossing_deg: float

    @property
    def identified(self) -> bool:
        """Whether the bearings, or what was known before, tell how large the error is."""
        return bool(np.isfinite(self.ellipse).all())

    @property
    def normal_covariance(self) -> Floats:
        """Covariance of the normal distribution with the same 95 % region [m²]."""
        return self.ellipse / CHI2_95

    @property
    def linear_region(self) -> tuple[float, float, float]:
        """Semi-axes of the linear region [m], the longer first, and its azimuth [degrees]."""
        return _axes(self.covariance * self.factor)

    @property
    def region(self) -> tuple[float, float, float]:
        """Semi-axes of the 95 % region [m], the longer first, and its azimuth [degrees]."""
        return _axes(self.ellipse)

    @property
    def area_m2(self) -> float:
        """Area of the 95 % region [m²]."""
        long, short, _ = self.region
        return float(np.pi * long * short)


@dataclass(frozen=True)
class NoFix:
    """Why the bearings give no place.

    Attributes
    ----------
    kind : str
    reason : str
        In plain words.
    bearing : int
        The bearing at fault, or -1 for all of them.
    """

    kind: NoFixKind
    reason: str
    bearing: int = -1


def triangulate(
    observers: Floats,
    azimuth_deg: Floats,
    spread: Spread | None = None,
    *,
    method: Method = "mle",
    least_crossing_deg: float = 15.0,
) -> Estimate | NoFix:
    """Estimate where a transmitter was from bearings to it.

    Parameters
    ----------
    observers : ndarray, shape (n, 2)
        Where the bearings were taken [m, projected].
    azimuth_deg : ndarray, shape (n,)
        [degrees, clockwise from grid north]
    spread : Spread, optional
        Their deviation, if known. Without it the concentration is estimated from the bearings.
    method : {"mle", "huber", "andrews"}
        Maximum likelihood, or one of Lenth's robust versions, which give bearings far off the
        others less weight (Huber) or none (Andrews). A bearing without weight counts neither
        for the region nor as taken from behind.
    least_crossing_deg : float
        Bearings that cross at less than this everywhere give no place.

    Returns
    -------
    Estimate or NoFix

    Notes
    -----
    Bearings are independent, von Mises around the true direction. With the covariance C of the
    estimate p̂ the linear 95 % region is the ellipse (p - p̂)ᵀ C⁻¹ (p - p̂) ≤ f, where

    - f = 5.991, chi-square with 2 degrees of freedom, if the deviation is exact;
    - f = 2 F(2, m) if it was learnt from tests with m degrees of freedom, which tends to the
      former; with 25 tests chi-square would cover 90 to 93 %;
    - f = 2 F(2, n - 2) n/(n - 2) if the concentration is estimated from these n bearings,
      for the estimate divides by n; n counts the bearings that kept some weight.

    In the third case that is the region. In the first two it would cover 89 to 95 %, least with
    two or three bearings, since directions change unevenly over it; so the region is the ellipse
    of `likelihood_region.moment_ellipse`, which equals it where they change evenly. What either
    covers is printed by tests/truth/bearing_coverage.py. Errors of the observers' own positions
    are not in it.
    """
    at = np.asarray(observers, dtype=np.float64)
    theta = np.radians(90.0 - np.asarray(azimuth_deg, dtype=np.float64))
    crossing = _widest_crossing(at, theta)
    hopeless = _hopeless(len(at), crossing, least_crossing_deg)
    if hopeless is not None:
        return hopeless
    # Centred, so that products of coordinates in the millions lose no digits.
    middle = at.mean(axis=0)
    known = None if spread is None else kappa_of_sd(spread.sd_deg)
    fit = solve(at - middle, theta, known, method)
    if fit is None:
        return NoFix("no solution", "the bearings drift apart: they point to no place in common")
    where, weights = fit
    counted = weights > 0
    if not counted.all():
        crossing = _widest_crossing(at[counted], theta[counted])
        hopeless = _hopeless(int(counted.sum()), crossing, least_crossing_deg)
        if hopeless is not None:
            return hopeless
    across, along = seen_from(at - middle, where)
    off = turned(theta - across)
    wrong = _wrong_side(along, off, counted)
    if wrong is not None:
        return wrong
    kappa, covariance, factor = _covariance(across, along, off, weights, spread)
    ellipse, is_open = covariance * factor, False
    if spread is not None:
        ellipse, is_open = _region(at - middle, theta, where, weights, spread, covariance)
    return Estimate(
        x=float(where[0] + middle[0]),
        y=float(where[1] + middle[1]),
        kappa=kappa,
        covariance=covariance,
        factor=factor,
        ellipse=ellipse,
        is_open=is_open,
        weights=weights,
        residual_deg=-np.degrees(off),
        crossing_deg=crossing,
    )


def _widest_crossing(at: Floats, theta: Floats) -> float:
    """Widest angle between two bearings from different places, as lines; NaN for one place."""
    first, second = np.triu_indices(len(at), 1)
    apart = np.hypot(*(at[first] - at[second]).T) > _SAME_PLACE_M
    if not apart.any():
        return np.nan
    angle = np.abs(np.degrees(turned(2 * (theta[first] - theta[second])))) / 2
    return float(angle[apart].max())


def _hopeless(count: int, crossing: float, least: float) -> NoFix | None:
    if count < 2:
        return NoFix("few", "fewer than two usable bearings")
    if np.isnan(crossing):
        return NoFix("one place", "all bearings were taken from one place")
    if crossing < least:
        said = f"the bearings are near-parallel: they cross at {crossing:.0f} degrees at most"
        return NoFix("parallel", f"{said}, less than {least:g}")
    return None


def _wrong_side(along: Floats, off: Floats, counted: NDArray[np.bool_]) -> NoFix | None:
    if (along[counted] < _SAME_PLACE_M).any():
        said = "the bearings cross at an observer, where a bearing says nothing"
        return NoFix("at observer", said, int(np.argmin(np.where(counted, along, np.inf))))
    behind = counted & (np.cos(off) <= 0)
    if behind.any():
        said = "the solution lies behind an observer"
        return NoFix("behind", said, int(np.argmax(behind)))
    return None


def _covariance(
    across: Floats, along: Floats, off: Floats, weights: Floats, spread: Spread | None
) -> tuple[float, Floats, float]:
    """Concentration, covariance of the place and the region's factor."""
    slope = np.column_stack([-np.sin(across), np.cos(across)]) / along[:, None]
    shape = (slope * weights[:, None]).T @ slope
    none = np.full((2, 2), np.nan)
    if spread is not None:
        kappas = kappa_of_sd(spread.sd_deg)
        information = (slope * (kappas * weights)[:, None]).T @ slope
        covariance: Floats = np.linalg.inv(information).astype(np.float64)
        shared = covariance @ (slope.T @ (kappas * weights)) * np.radians(spread.shared_sd_deg)
        return float(kappas.mean()), covariance + np.outer(shared, shared), _factor(spread.freedom)
    count = int(np.count_nonzero(weights > 0))
    if count < 3:
        return np.nan, none, np.nan
    inverse = float(inverse_kappa((weights * np.cos(off)).sum() / weights.sum()))
    kappa = np.inf if inverse == 0.0 else 1.0 / inverse
    covariance = np.linalg.inv(shape).astype(np.float64) * inverse
    return kappa, covariance, _factor(count - 2) * count / (count - 2)


def _region(
    at: Floats, theta: Floats, where: Floats, weights: Floats, spread: Spread, covariance: Floats
) -> tuple[Floats, bool]:
    """Return the moment ellipse, stretched for a shared bias as the covariance is."""
    kappas, factor = kappa_of_sd(spread.sd_deg) * weights, _factor(spread.freedom)
    across, along = seen_from(at, where)
    slope = np.column_stack([-np.sin(across), np.cos(across)]) / along[:, None]
    alone: Floats = np.linalg.inv((slope * kappas[:, None]).T @ slope).astype(np.float64)
    found, is_open = moment_ellipse(at, theta, kappas, where, factor, alone * factor)
    stretch = np.linalg.cholesky(covariance) @ np.linalg.inv(np.linalg.cholesky(alone))
    return np.asarray(stretch @ found @ stretch.T, dtype=np.float64), is_open


def _axes(ellipse: Floats) -> tuple[float, float, float]:
    if not np.isfinite(ellipse).all():
        return np.nan, np.nan, np.nan
    size, axes = np.linalg.eigh(ellipse)
    short, long = np.sqrt(np.maximum(size, 0.0))
    return float(long), float(short), float(np.degrees(np.arctan2(axes[0, 1], axes[1, 1])) % 180)


def _factor(freedom: float) -> float:
    """χ²(2) for an exact deviation, 2 F(2, m) for one learnt with m degrees of freedom."""
    return float(2 * stats.f.ppf(LEVEL, 2, freedom)) if np.isfinite(freedom) else CHI2_95
