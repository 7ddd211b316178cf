"""Utilisation of ground by a bivariate normal kernel, and the smallest area that holds a share."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise
from typing import Literal

import numpy as np
import shapely
from contourpy import FillType, contour_generator
from numpy.typing import NDArray
from scipy import optimize
from scipy.spatial.distance import pdist
from scipy.special import ndtr

from roadrisk.errors import RoadriskError

Floats = NDArray[np.float64]
Rule = Literal["reference", "least squares"]

_FINEST_PER_SD = 10.0  # cells a bandwidth: areas are then right to a thousandth
_MOST_CELLS = 600  # on an axis
_ROUGH_CELLS = 60  # on an axis, for the many areas of a bootstrap
_PAD_SD = 4.5  # the grid reaches this many bandwidths past the outermost fixes


class TooFewFixesError(RoadriskError):
    """There are too few fixes, or too few different places, for a bandwidth."""


@dataclass(frozen=True, eq=False)
class Utilisation:
    """How an animal's fixes say it uses the ground.

    Attributes
    ----------
    xy : ndarray, shape (fixes, 2)
        [m].
    sd_m : float
        Standard deviation of the kernel on each axis [m].
    rule : str
        How it was chosen, by name.
    x_m, y_m : ndarray
        Middles of the grid's columns and rows [m].
    mass : ndarray, shape (rows, columns)
        Share of the use in each cell, exactly; their sum is 1.
    """

    xy: Floats
    sd_m: float
    rule: str
    x_m: Floats
    y_m: Floats
    mass: Floats

    def density_at(self, places_xy: Floats) -> Floats:
        """Return the density of use at places.

        Parameters
        ----------
        places_xy : ndarray, shape (n, 2)
            [m].

        Returns
        -------
        ndarray, shape (n,)
            [1/m²].
        """
        apart = ((places_xy[:, None, :] - self.xy[None, :, :]) ** 2).sum(axis=2)
        kernels = np.exp(-apart / (2 * self.sd_m**2)) / (2 * np.pi * self.sd_m**2)
        return np.asarray(kernels.mean(axis=1), dtype=np.float64)

    def area_m2(self, percent: float) -> float:
        """Return the smallest area that holds `percent` of the use [m²], counted in cells."""
        return _smallest_areas(self.mass, (percent,))[0][0] * self._cell_m2

    def outline(self, percent: float) -> shapely.MultiPolygon:
        """Return the smallest area that holds `percent` of the use, as polygons.

        Parameters
        ----------
        percent : float
            Above 0 and below 100.

        Returns
        -------
        shapely.MultiPolygon
            Bounded by a line of equal density; patches and holes as they come [m].
        """
        level = _smallest_areas(self.mass, (percent,))[0][1]
        traced = contour_generator(
            self.x_m, self.y_m, self.mass, fill_type=FillType.OuterOffset
        ).filled(level, np.inf)
        patches = []
        for points, offsets in zip(*traced, strict=True):
            rings = [points[a:b] for a, b in pairwise(offsets)]
            patches.append(shapely.Polygon(rings[0], rings[1:]))
        whole = shapely.make_valid(shapely.MultiPolygon(patches))
        parts = [p for p in shapely.get_parts(whole) if isinstance(p, shapely.Polygon)]
        return shapely.MultiPolygon(parts)

    @property
    def _cell_m2(self) -> float:
        return float((self.x_m[1] - self.x_m[0]) * (self.y_m[1] - self.y_m[0]))


@dataclass(frozen=True)
class LeastSquares:
    """A bandwidth by least-squares cross-validation.

    Attributes
    ----------
    sd_m : float
        Where the score is least; NaN if there is no minimum.
    found : bool
    """

    sd_m: float
    found: bool


def kernel_utilisation(
    xy: Floats, sd_m: float | None = None, *, rule: Rule = "reference"
) -> Utilisation:
    """Spread fixes over the ground by a bivariate normal kernel.

    Parameters
    ----------
    xy : ndarray, shape (fixes, 2)
        [m].
    sd_m : float, optional
        Standard deviation of the kernel on each axis [m]; by `rule` if left out.
    rule : {"reference", "least squares"}
        `reference_sd` or `least_squares_sd`. Where the latter has no minimum, the reference
        bandwidth is taken and `Utilisation.rule` says so.

    Returns
    -------
    Utilisation
        On a grid with cells of a tenth of the bandwidth, coarser where that would be more than
        600 cells on an axis.

    Raises
    ------
    TooFewFixesError
        If a bandwidth has to be found and all fixes lie at one place.
    """
    if sd_m is None:
        sd_m, words = _by_rule(xy, rule)
    else:
        words = f"set to {sd_m:g} m"
    edges = [_edges(axis, sd_m, _FINEST_PER_SD, _MOST_CELLS) for axis in xy.T]
    mass = _mass(xy, sd_m, edges[0], edges[1])
    middles = [(e[:-1] + e[1:]) / 2 for e in edges]
    return Utilisation(xy, sd_m, words, middles[0], middles[1], mass)


def reference_sd(xy: Floats) -> float:
    """Return the reference bandwidth, best for one round normal hump and else too wide.

    Parameters
    ----------
    xy : ndarray, shape (fixes, 2)
        [m].

    Returns
    -------
    float
        h_ref = sqrt((s_x² + s_y²) / 2) · n^(-1/6) [m], variances with divisor n - 1
        (Worton 1995, from memory).

    Raises
    ------
    TooFewFixesError
        If all fixes lie at one place, or there is only one.
    """
    if len(xy) == 0 or (xy == xy[0]).all():
        raise TooFewFixesError("all fixes lie at one place: there is no bandwidth")
    return float(np.sqrt(xy.var(axis=0, ddof=1).mean()) * len(xy) ** (-1 / 6))


def least_squares_score(xy: Floats, sd_m: float) -> float:
    """Score of a bandwidth in least-squares cross-validation; the less, the better.

    Parameters
    ----------
    xy : ndarray, shape (fixes, 2)
        [m].
    sd_m : float
        [m].

    Returns
    -------
    float
        Integral of the squared density less twice the mean of the densities at each fix that
        the others give [1/m²].

    Notes
    -----
    Silverman (1986, section 3.4.3, from memory). With the sum over pairs of different fixes
    the first term is 1/(4·pi·h²·n); the 1/(pi·h²·n) that is often printed goes with the sum
    over all pairs, each fix with itself included.
    """
    return _score(pdist(xy, "sqeuclidean"), len(xy), sd_m)


def least_squares_sd(xy: Floats) -> LeastSquares:
    """Bandwidth by least-squares cross-validation.

    Parameters
    ----------
    xy : ndarray, shape (fixes, 2)
        [m].

    Returns
    -------
    LeastSquares
        The lowest score between 0.05 and 2 times the reference bandwidth. If it lies at an
        end of that span there is no minimum; fixes at the very same places do that.

    Raises
    ------
    TooFewFixesError
        If all fixes lie at one place.
    """
    squares, n = pdist(xy, "sqeuclidean"), len(xy)
    tried = reference_sd(xy) * np.geomspace(0.05, 2.0, 48)
    scores = np.array([_score(squares, n, h) for h in tried])
    best = int(scores.argmin())
    if best in {0, len(tried) - 1}:
        return LeastSquares(np.nan, found=False)
    fine = optimize.minimize_scalar(
        lambda h: _score(squares, n, h) / abs(scores[best]),
        bounds=(tried[best - 1], tried[best + 1]),
        method="bounded",
    )
    return LeastSquares(float(fine.x), found=True)


def area_factors(
    use: Utilisation,
    percents: tuple[float, ...],
    rng: np.random.Generator,
    *,
    level: float = 0.90,
    draws: int = 200,
) -> Floats:
    """Return how far areas vary with the fixes, as factors around the area found.

    Parameters
    ----------
    use : Utilisation
    percents : tuple of float
    rng : numpy.random.Generator
    level : float
        Coverage, two-sided.
    draws : int

    Returns
    -------
    ndarray, shape (len(percents), 2)
        Low and high, to multiply an area with.

    Notes
    -----
    Smoothed bootstrap: fixes are drawn with replacement and each is moved by half the
    kernel's standard deviation, then all are drawn together so that the variances stay
    (Silverman & Young 1987, from memory); quantiles are taken relative to their median. Plain
    resampling repeats fixes, which makes areas smaller and steadier than they are. A reference
    bandwidth is found anew for each draw, any other stays.
    """
    n, half = len(use.xy), use.sd_m / 2
    centre, spread = use.xy.mean(axis=0), use.xy.std(axis=0, ddof=1)
    shrink = spread / np.hypot(spread, half)
    areas = np.empty((draws, len(percents)))
    for i in range(draws):
        moved = use.xy[rng.integers(0, n, n)] + rng.normal(0, half, (n, 2))
        xy = centre + (moved - centre) * shrink
        sd = reference_sd(xy) if use.rule.startswith("reference") else use.sd_m
        areas[i] = _rough_areas(xy, sd, percents)
    tails = [(1 - level) / 2, (1 + level) / 2]
    return np.asarray((np.quantile(areas, tails, axis=0) / np.median(areas, axis=0)).T)


def _by_rule(xy: Floats, rule: Rule) -> tuple[float, str]:
    if rule == "least squares":
        found = least_squares_sd(xy)
        if found.found:
            return found.sd_m, "least-squares cross-validation"
        return reference_sd(xy), "reference, since least-squares cross-validation has no minimum"
    return reference_sd(xy), "reference"


def _rough_areas(xy: Floats, sd: float, percents: tuple[float, ...]) -> list[float]:
    edges = [_edges(axis, sd, _FINEST_PER_SD, _ROUGH_CELLS) for axis in xy.T]
    mass = _mass(xy, sd, edges[0], edges[1])
    cell = float(np.diff(edges[0][:2])[0] * np.diff(edges[1][:2])[0])
    return [area * cell for area, _ in _smallest_areas(mass, percents)]


def _score(squares: Floats, n: int, h: float) -> float:
    spread = 1 / (4 * np.pi * h**2 * n) * (1 + 2 / n * np.exp(-squares / (4 * h**2)).sum())
    others = 2 / (np.pi * h**2 * n * (n - 1)) * np.exp(-squares / (2 * h**2)).sum()
    return float(spread - others)


def _edges(axis: Floats, sd: float, per_sd: float, most: int) -> Floats:
    low, high = axis.min() - _PAD_SD * sd, axis.max() + _PAD_SD * sd
    cells = int(np.clip(np.ceil((high - low) / sd * per_sd), 2, most))
    return np.linspace(low, high, cells + 1)


def _mass(xy: Floats, sd: float, x_edges: Floats, y_edges: Floats) -> Floats:
    """Share of the use in each cell; the little that lies past the grid is shared out."""
    by_column = np.diff(ndtr((x_edges[None, :] - xy[:, :1]) / sd), axis=1)
    by_row = np.diff(ndtr((y_edges[None, :] - xy[:, 1:]) / sd), axis=1)
    mass = by_row.T @ by_column
    return np.asarray(mass / mass.sum(), dtype=np.float64)


def _smallest_areas(mass: Floats, percents: tuple[float, ...]) -> list[tuple[float, float]]:
    """Cells that hold each share of the use, and the mass of the cell where that is reached."""
    order = np.sort(mass, axis=None)[::-1]
    held = np.cumsum(order)
    found = []
    for percent in percents:
        share = percent / 100
        last = min(int(np.searchsorted(held, share)), len(order) - 1)
        before = held[last - 1] if last else 0.0
        part = (share - before) / order[last] if order[last] > 0 else 0.0
        found.append((last + part, float(order[last])))
    return found
