"""The movement process: bound to a home, with a finite speed.

On each axis the place x of an animal is pulled home and its velocity forgets itself:

    x'' + (1/tau + 1/tau_v) x' + x / (tau tau_v) = white noise,

an Ornstein-Uhlenbeck process with position and velocity. Its stationary covariance is
sigma^2 (tau exp(-t/tau) - tau_v exp(-t/tau_v)) / (tau - tau_v). `tau` is the time after which
the animal has forgotten where in its home it was, `tau_v` the time after which it has
forgotten in which direction it walked; sigma is the standard deviation of its places on an
axis. All times are active hours.

The functions below are for sigma = 1 and are exact (the linear equation's own solution).
Both axes share tau and tau_v, and a home may be longer one way than the other: places are
then the standard ones multiplied by a matrix, `home_shape`.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from numba import njit

if TYPE_CHECKING:
    from roadrisk.roads.network import Floats

# Below this value of (1/tau + 1/tau_v) t the variance of the place loses digits: use its series.
_SHORT = 0.01


def autocovariance(lag_h: Floats, tau_h: float, tau_v_h: float) -> Floats:
    """Stationary covariance of the place at two times, for sigma = 1.

    Parameters
    ----------
    lag_h : ndarray
        Time between the two [h], any sign.
    tau_h, tau_v_h : float
        [h], tau_h > tau_v_h > 0.

    Returns
    -------
    ndarray
        1 at lag 0.
    """
    t = np.abs(np.asarray(lag_h, dtype=np.float64))
    out = tau_h * np.exp(-t / tau_h) - tau_v_h * np.exp(-t / tau_v_h)
    return np.asarray(out / (tau_h - tau_v_h))


@njit(cache=True)
def transition(
    t: float, a: float, b: float
) -> tuple[float, float, float, float, float, float, float]:
    """Return how place and velocity go on over a time t, and the covariance of what is new.

    Parameters
    ----------
    t : float
        [h], 0 or more.
    a, b : float
        1 / tau and 1 / tau_v [1/h]; may be equal.

    Returns
    -------
    f11, f12, f21, f22 : float
        (place, velocity) after t is this matrix times (place, velocity) before, plus noise.
    q11, q12, q22 : float
        Covariance of the noise, for sigma = 1.
    """
    p, c, d = a * b, a + b, b - a
    ea = np.exp(-a * t)
    u = d * t
    g = ea * t if abs(u) < 1e-8 else ea * t * (-np.expm1(-u) / u)
    f11, f22 = ea + a * g, ea - b * g
    if c * t < _SHORT:
        h3, h4 = c * c - p, -(c * c * c - 2.0 * c * p)
        q11 = (
            (2.0 * p * c)
            * t
            * t
            * t
            * (
                1.0 / 3.0
                - c * t / 4.0
                + (c * c / 4.0 + h3 / 3.0) * t * t / 5.0
                + (h4 / 12.0 - c * h3 / 6.0) * t * t * t / 6.0
            )
        )
    else:
        q11 = 1.0 - f11 * f11 - p * g * g
    q12 = p * c * g * g
    q22 = p * (1.0 - p * g * g - f22 * f22)
    return f11, g, -p * g, f22, q11, q12, q22


@njit(cache=True)
def half_way(h: float, a: float, b: float, out: Floats) -> None:
    """Write how the state half-way between two known states is drawn.

    Parameters
    ----------
    h : float
        Time from each end to the middle [h].
    a, b : float
        1 / tau and 1 / tau_v [1/h]. With ``b = inf`` the process is Brownian motion of unit
        variance an hour, without home and velocity.
    out : ndarray, shape (11,)
        The middle's mean is the first four numbers (a 2 x 2 matrix) times the state before
        plus the next four times the state after; the last three are the lower triangle of
        the Cholesky factor of its covariance.
    """
    out[:] = 0.0
    if b == np.inf:
        out[0] = out[4] = 0.5
        out[8] = np.sqrt(h / 2.0)
        return
    f11, f12, f21, f22, q11, q12, q22 = transition(h, a, b)
    # Covariance of the middle with the end, Q F', and of the end, F Q F' + Q.
    c11, c12 = q11 * f11 + q12 * f12, q11 * f21 + q12 * f22
    c21, c22 = q12 * f11 + q22 * f12, q12 * f21 + q22 * f22
    m11 = f11 * c11 + f12 * c21 + q11
    m12 = f11 * c12 + f12 * c22 + q12
    m22 = f21 * c12 + f22 * c22 + q22
    det = m11 * m22 - m12 * m12
    g11, g12 = (c11 * m22 - c12 * m12) / det, (c12 * m11 - c11 * m12) / det
    g21, g22 = (c21 * m22 - c22 * m12) / det, (c22 * m11 - c21 * m12) / det
    k11, k12 = 1.0 - (g11 * f11 + g12 * f21), -(g11 * f12 + g12 * f22)
    k21, k22 = -(g21 * f11 + g22 * f21), 1.0 - (g21 * f12 + g22 * f22)
    out[0], out[1] = k11 * f11 + k12 * f21, k11 * f12 + k12 * f22
    out[2], out[3] = k21 * f11 + k22 * f21, k21 * f12 + k22 * f22
    out[4], out[5], out[6], out[7] = g11, g12, g21, g22
    v11 = k11 * q11 + k12 * q12
    v12 = 0.5 * (k11 * q12 + k12 * q22 + k21 * q11 + k22 * q12)
    v22 = k21 * q12 + k22 * q22
    out[8] = np.sqrt(max(v11, 0.0))
    out[9] = v12 / out[8] if out[8] > 0.0 else 0.0
    out[10] = np.sqrt(max(v22 - out[9] * out[9], 0.0))


@njit(cache=True)
def within_reason(par: Floats) -> bool:
    """Tell whether logs of parameters lie where the filter keeps its digits.

    `par` begins with ln tau, ln tau_v, ln sigma and the two shape numbers, and ln stay follows
    where there are several centres: memory of seconds to decades, a home of millimetres to
    20 km, hundreds of times as long as wide. Searches and proposals stray beyond.
    """
    return (
        par[1] < par[0] < 12.0
        and par[1] > -10.0
        and -5.0 < par[2] < 10.0
        and max(abs(par[3]), abs(par[4])) < 8.0
        and (len(par) < 6 or abs(par[5]) < 25.0)
    )


@njit(cache=True)
def home_shape(sigma: float, along: float, across: float) -> tuple[float, float, float]:
    """Return the symmetric matrix (xx, xy, yy) that turns standard places into places [m].

    It is sigma times the exponential of half of [[along, across], [across, -along]], so its
    determinant is sigma squared, turning the map turns (along, across) by twice the angle,
    and (0, 0) is a round home.
    """
    r = 0.5 * np.hypot(along, across)
    s = np.sinh(r) / r if r > 1e-12 else 1.0
    ch = np.cosh(r)
    return (
        sigma * (ch + 0.5 * s * along),
        sigma * 0.5 * s * across,
        sigma * (ch - 0.5 * s * along),
    )


@njit(cache=True)
def unshape(
    xx: float, xy: float, yy: float, y: Floats, r: Floats, out_y: Floats, out_r: Floats
) -> float:
    """Turn fixes and their error covariances into standard ones; return the log determinant.

    `y` has shape (n, 2), `r` shape (n, 3) with xx, xy, yy.
    """
    det = xx * yy - xy * xy
    ixx, ixy, iyy = yy / det, -xy / det, xx / det
    for i in range(len(y)):
        out_y[i, 0] = ixx * y[i, 0] + ixy * y[i, 1]
        out_y[i, 1] = ixy * y[i, 0] + iyy * y[i, 1]
        c00, c01 = ixx * r[i, 0] + ixy * r[i, 1], ixx * r[i, 1] + ixy * r[i, 2]
        c10, c11 = ixy * r[i, 0] + iyy * r[i, 1], ixy * r[i, 1] + iyy * r[i, 2]
        out_r[i, 0] = c00 * ixx + c01 * ixy
        out_r[i, 1] = c00 * ixy + c01 * iyy
        out_r[i, 2] = c10 * ixy + c11 * iyy
    return -np.log(det)
