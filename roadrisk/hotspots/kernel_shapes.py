"""Shapes of kernels: how much of an event lies how far from it, before any junction."""

from __future__ import annotations

import math
from typing import Literal

import numba as nb

Shape = Literal["quartic", "epanechnikov", "gaussian"]
SHAPES: dict[Shape, int] = {"quartic": 0, "epanechnikov": 1, "gaussian": 2}

# A Gaussian has no end, a search along roads needs one. At 4 standard deviations 6 in 100,000
# of its mass are cut off and its height is 3 in 10,000 of its peak.
GAUSSIAN_CUT = 4.0


def half_width_m(sd_m: float, shape: Shape, gaussian_cut: float = GAUSSIAN_CUT) -> float:
    """Half-width of a kernel with a given standard deviation.

    Parameters
    ----------
    sd_m : float
        Standard deviation on a straight road without end [m]; of the Gaussian before it is
        cut.
    shape : {"quartic", "epanechnikov", "gaussian"}
    gaussian_cut : float
        Where the Gaussian is cut [standard deviations].

    Returns
    -------
    float
        Distance from which on the kernel is 0 [m].
    """
    widths = {"quartic": math.sqrt(7.0), "epanechnikov": math.sqrt(5.0), "gaussian": gaussian_cut}
    return sd_m * widths[shape]


@nb.njit(cache=True, nogil=True)
def height(d: float, h: float, shape: int, cut: float) -> float:
    """Kernel at distance `d` on a straight road.

    Parameters
    ----------
    d, h : float
        Distance and half-width [m].
    shape : int
        Of `SHAPES`: the quartic (biweight) 15/16 (1 - t^2)^2, Epanechnikov's 3/4 (1 - t^2),
        t = d / h, or the Gaussian.
    cut : float
        Standard deviations in the Gaussian's half-width. It is 0 beyond and scaled up to a
        mass of 1 (divided by erf(cut / sqrt 2)).

    Returns
    -------
    float
        [1/m].
    """
    t = d / h
    if t >= 1.0:
        return 0.0
    if shape == 0:
        return 0.9375 / h * (1.0 - t * t) ** 2
    if shape == 1:
        return 0.75 / h * (1.0 - t * t)
    z = t * cut
    whole = math.sqrt(2.0 * math.pi) * math.erf(cut / math.sqrt(2.0))
    return cut / h * math.exp(-0.5 * z * z) / whole


@nb.njit(cache=True, nogil=True)
def mass_to(d: float, h: float, shape: int, cut: float) -> float:
    """Kernel integrated from 0 to `d` on a straight road: 1/2 from the half-width on.

    Parameters
    ----------
    d, h : float
        Distance and half-width [m].
    shape : int
    cut : float
        Both as in `height`.

    Returns
    -------
    float
    """
    t = min(d / h, 1.0)
    if shape == 0:
        return 0.9375 * (t - 2.0 * t**3 / 3.0 + t**5 / 5.0)
    if shape == 1:
        return 0.75 * (t - t**3 / 3.0)
    root = math.sqrt(2.0)
    return 0.5 * math.erf(t * cut / root) / math.erf(cut / root)


@nb.njit(cache=True, nogil=True)
def odd_powers(shape: int) -> tuple[float, float, float]:
    """Return the kernel's integral from 0 to t half-widths, t <= 1, as c1 t + c3 t^3 + c5 t^5.

    Parameters
    ----------
    shape : int
        Of `SHAPES`.

    Returns
    -------
    c1, c3, c5 : float
        All 0 for the Gaussian, whose integral is no polynomial.
    """
    if shape == 0:
        return 0.9375, -0.625, 0.1875
    if shape == 1:
        return 0.75, -0.25, 0.0
    return 0.0, 0.0, 0.0
