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

Floats = NDArray[np.float64]
Method = Literal["mle", "huber", "andrews"]
NoFixKind = Literal["few", "one place", "parallel", "no solution", "at observer", "behind"]

LEVEL = 0.95
CHI2_95 = float(stats.chi2.ppf(LEVEL, 2))
# Lenth's tuning constant for both robust versions (from memory).
TUNING = 1.5
_SAME_PLACE_M = 1.0
_SETTLED_M = 1e-7
_MOST_STEPS = 2000
# Solutions this many times further off than the observers lie apart are none.
_FARTHEST = 1000.0


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
        The 95 % region is where the quadratic form of `covariance` is at most this.
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
    weights: Floats
    residual_deg: Floats
    crossing_deg: float

    @property
    def identified(self) -> bool:
        """Whether the bearings, or what was known before, tell how large the error is."""
        return bool(np.isfinite(self.factor) and np.isfinite(self.covariance).all())

    @property
    def normal_covariance(self) -> Floats:
        """Covariance of the normal distribution with the same 95 % region [m²]."""
        return self.covariance * (self.factor / CHI2_95)

    @property
    def region(self) -> tuple[float, float, float]:
        """Semi-axes of the 95 % region [m], the longer first, and its azimuth [degrees]."""
        if not self.identified:
            return np.nan, np.nan, np.nan
        size, axes = np.linalg.eigh(self.covariance)
        short, long = np.sqrt(np.maximum(size, 0.0) * self.factor)
        azimuth = np.degrees(np.arctan2(axes[0, 1], axes[1, 1])) % 180
        return float(long), float(short), float(azimuth)

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
    Bearings are independent, von Mises around the true direction. The 95 % region is an ellipse
    from the covariance C of the estimate, (p - p̂)ᵀ C⁻¹ (p - p̂) ≤ f, with

    - f = 5.991, chi-square with 2 degrees of freedom, if the deviation is exact;
    - f = 2 F(2, m) if it was learnt from tests with m degrees of freedom, which tends to the
      former: with 25 tests chi-square covers only 90 to 93 %;
    - f = 2 F(2, n - 2) n/(n - 2) if the concentration is estimated from these n bearings,
      for the estimate divides by n; n counts the bearings that kept some weight.

    The ellipse supposes that directions change evenly over the region. It is good for
    3 and more bearings (tests/truth/bearing_coverage.py prints how good); with 2 bearings
    and tests it covers less, about 90 % where they may cross at 15 degrees. Errors of the
    observers' own positions are not in it.
    """
    at = np.asarray(observers, dtype=np.float64)
    theta = np.radians(90.0 - np.asarray(azimuth_deg, dtype=np.float64))
    crossing = _widest_crossing(at, theta)
    hopeless = _hopeless(len(at), crossing, least_crossing_deg)
    if hopeless is not None:
        return hopeless
    # Centred, so that products of coordinates in the millions lose no digits.
    middle = at.mean(axis=0)
    fit = _fit(at - middle, theta, spread, method)
    if fit is None:
        return NoFix("no solution", "the bearings drift apart: they point to no place in common")
    where, weights = fit
    across, along = _seen_from(at - middle, where)
    off = _turn(theta - across)
    wrong = _wrong_side(along, off, weights > 0)
    if wrong is not None:
        return wrong
    kappa, covariance, factor = _covariance(across, along, off, weights, spread)
    return Estimate(
        x=float(where[0] + middle[0]),
        y=float(where[1] + middle[1]),
        kappa=kappa,
        covariance=covariance,
        factor=factor,
        weights=weights,
        residual_deg=-np.degrees(off),
        crossing_deg=crossing,
    )


def kappa_of_sd(sd_deg: Floats | float) -> Floats:
    """Return the concentration of a von Mises distribution with a standard deviation.

    Parameters
    ----------
    sd_deg : array_like
        [degrees], above 0; the mean cosine is exp(-s²/2) (Lenth 1981).

    Returns
    -------
    ndarray
    """
    mean_cosine = np.exp(-0.5 * np.radians(np.asarray(sd_deg, dtype=np.float64)) ** 2)
    return np.asarray(1.0 / _inverse_kappa(mean_cosine))


def _inverse_kappa(mean_cosine: Floats | float) -> Floats:
    """1/κ from the mean cosine C, Lenth's approximation; 0 where C is 1 but for rounding."""
    c = np.asarray(mean_cosine, dtype=np.float64)
    short = 1.0 - c
    found = 2 * short + short**2 * (0.48794 - 0.82905 * c - 1.3915 * c**2) / c
    return np.where(short > 1e-14, found, 0.0)


def _widest_crossing(at: Floats, theta: Floats) -> float:
    """Widest angle between two bearings from different places, as lines; NaN for one place."""
    first, second = np.triu_indices(len(at), 1)
    apart = np.hypot(*(at[first] - at[second]).T) > _SAME_PLACE_M
    if not apart.any():
        return np.nan
    turned = np.abs(np.degrees(_turn(2 * (theta[first] - theta[second])))) / 2
    return float(turned[apart].max())


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


def _fit(
    at: Floats, theta: Floats, spread: Spread | None, method: Method
) -> tuple[Floats, Floats] | None:
    """Place and robust weights, or None if the steps don't settle."""
    known = None if spread is None else kappa_of_sd(spread.sd_deg)
    relative = np.ones(len(at)) if known is None else known / known.mean()
    weights = np.ones(len(at))
    where = _settle(at, theta, relative, None)
    # Andrews' weights can lock on to a wrong pair of bearings; Huber's solution is a safe start.
    for stage in {"mle": (), "huber": ("huber",), "andrews": ("huber", "andrews")}[method]:
        for _ in range(200):
            if where is None:
                return None
            across, _ = _seen_from(at, where)
            off = _turn(theta - across)
            kappa = known
            if kappa is None:
                mean_cosine = (weights * np.cos(off)).sum() / weights.sum()
                # Bearings that meet in one point: nothing stands out.
                kappa = 1.0 / np.maximum(_inverse_kappa(mean_cosine), 1e-12)
            weights = _robust_weights(off, kappa, stage)
            if np.count_nonzero(weights) < 2:
                return None
            before, where = where, _settle(at, theta, relative * weights, where)
            if where is not None and np.hypot(*(where - before)) < 1e-5:
                break
    return None if where is None else (where, weights)


def _robust_weights(off: Floats, kappa: Floats | float, version: str) -> Floats:
    """W = ψ(t)/t with t = sqrt(2κ(1 - cos r)) (Lenth 1981, from memory)."""
    t = np.sqrt(2 * kappa * (1 - np.cos(off)))
    if version == "huber":
        return np.asarray(TUNING / np.maximum(t, TUNING))
    inside = t < TUNING * np.pi
    return np.where(inside, np.sinc(np.where(inside, t, 0.0) / (TUNING * np.pi)), 0.0)


def _settle(at: Floats, theta: Floats, weights: Floats, start: Floats | None) -> Floats | None:
    """Repeat Lenth's linear system until the place stands still; None if it never does.

    Without a start the starred terms are the sines and cosines of the bearings themselves.
    """
    sine, cosine = np.sin(theta), np.cos(theta)
    z = sine * at[:, 0] - cosine * at[:, 1]
    limit = _FARTHEST * max(np.ptp(at, axis=0).max(), _SAME_PLACE_M)
    where = start
    for _ in range(_MOST_STEPS):
        if where is None:
            s_star, c_star = sine, cosine
        else:
            gap = where - at
            cube = np.maximum(np.hypot(gap[:, 0], gap[:, 1]), 1e-9) ** 3
            s_star, c_star = gap[:, 1] / cube, gap[:, 0] / cube
        ws, wc = weights * s_star, weights * c_star
        matrix = np.array([[ws @ sine, -(ws @ cosine)], [-(wc @ sine), wc @ cosine]])
        determinant = matrix[0, 0] * matrix[1, 1] - matrix[0, 1] * matrix[1, 0]
        if abs(determinant) <= 1e-14 * np.abs(matrix).max() ** 2:
            return None
        fresh = np.linalg.solve(matrix, np.array([ws @ z, -(wc @ z)]))
        if not np.isfinite(fresh).all() or np.abs(fresh).max() > limit:
            return None
        if where is not None and np.hypot(*(fresh - where)) < _SETTLED_M:
            return fresh
        where = fresh
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
    inverse = float(_inverse_kappa((weights * np.cos(off)).sum() / weights.sum()))
    kappa = np.inf if inverse == 0.0 else 1.0 / inverse
    covariance = np.linalg.inv(shape).astype(np.float64) * inverse
    return kappa, covariance, _factor(count - 2) * count / (count - 2)


def _factor(freedom: float) -> float:
    """χ²(2) for an exact deviation, 2 F(2, m) for one learnt with m degrees of freedom."""
    return float(2 * stats.f.ppf(LEVEL, 2, freedom)) if np.isfinite(freedom) else CHI2_95


def _seen_from(at: Floats, where: Floats) -> tuple[Floats, Floats]:
    """Direction [rad, from east] and distance [m] of a place from each observer."""
    gap = where - at
    return np.arctan2(gap[:, 1], gap[:, 0]), np.hypot(gap[:, 0], gap[:, 1])


def _turn(angle: Floats) -> Floats:
    """Bring angles into -π to π."""
    return np.asarray((angle + np.pi) % (2 * np.pi) - np.pi)
