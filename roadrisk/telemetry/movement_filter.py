"""How likely fixes are under the movement process with one centre: a Kalman filter.

The centre is not estimated and plugged in but integrated out, with a normal prior.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from numba import njit

from roadrisk.telemetry.movement_process import home_shape, transition, unshape, within_reason

if TYPE_CHECKING:
    from roadrisk.roads.network import Floats

LOG_2PI = float(np.log(2.0 * np.pi))


@njit(cache=True)
def one_centre_log_likelihood(
    log_par: Floats, hours: Floats, xy: Floats, error: Floats, centre_sd: float
) -> float:
    """Log density of fixes, the centre integrated out.

    Parameters
    ----------
    log_par : ndarray, shape (5,)
        ln tau [h], ln tau_v [h], ln sigma [m], and the home's two shape numbers
        (`movement_process.home_shape`).
    hours : ndarray, shape (n,)
        Active hours of the fixes, ascending; equal times are allowed.
    xy : ndarray, shape (n, 2)
        [m], counted from the middle of the centre's prior.
    error : ndarray, shape (n, 3)
        Covariance of each fix's error: xx, xy, yy [m²].
    centre_sd : float
        Standard deviation of the centre's normal prior on each axis [m].

    Returns
    -------
    float
        -inf where tau is not above tau_v, or a parameter is out of all reason.
    """
    if not within_reason(log_par):
        return -np.inf
    a, b = np.exp(-log_par[0]), np.exp(-log_par[1])
    n = len(hours)
    sxx, sxy, syy = home_shape(np.exp(log_par[2]), log_par[3], log_par[4])
    y, r = np.empty((n, 2)), np.empty((n, 3))
    log_det = unshape(sxx, sxy, syy, xy, error, y, r)
    # Column 0 carries the fixes, columns 1 and 2 a centre moved by 1 along x and along y.
    mean = np.zeros((4, 3))
    cov = np.zeros((4, 4))
    cov[0, 0] = cov[1, 1] = 1.0
    cov[2, 2] = cov[3, 3] = a * b
    gain, e = np.empty((4, 2)), np.empty((2, 3))
    total = n * log_det - n * LOG_2PI
    # The centre's prior precision in standard places: (shape squared) / centre_sd squared.
    p0 = 1.0 / (centre_sd * centre_sd)
    g00, g01, g11 = (
        p0 * (sxx * sxx + sxy * sxy),
        p0 * (sxx * sxy + sxy * syy),
        p0 * (sxy * sxy + syy * syy),
    )
    total += 0.5 * np.log(g00 * g11 - g01 * g01)
    h0 = h1 = 0.0
    for i in range(n):
        if i > 0 and hours[i] > hours[i - 1]:
            f11, f12, f21, f22, q11, q12, q22 = transition(hours[i] - hours[i - 1], a, b)
            spread(cov, f11, f12, f21, f22, q11, q12, q22)
            for k in range(3):
                for j in range(2):
                    place, speed = mean[j, k], mean[j + 2, k]
                    mean[j, k] = f11 * place + f12 * speed
                    mean[j + 2, k] = f21 * place + f22 * speed
        for j in range(2):
            e[j, 0] = y[i, j] - mean[j, 0]
            e[j, 1] = (1.0 if j == 0 else 0.0) - mean[j, 1]
            e[j, 2] = (1.0 if j == 1 else 0.0) - mean[j, 2]
        i00, i01, i11, det = seen(cov, r[i], gain)
        total -= 0.5 * np.log(det)
        w0, w1 = i00 * e[0, 0] + i01 * e[1, 0], i01 * e[0, 0] + i11 * e[1, 0]
        total -= 0.5 * (e[0, 0] * w0 + e[1, 0] * w1)
        h0 += e[0, 1] * w0 + e[1, 1] * w1
        h1 += e[0, 2] * w0 + e[1, 2] * w1
        u0, u1 = i00 * e[0, 1] + i01 * e[1, 1], i01 * e[0, 1] + i11 * e[1, 1]
        g00 += e[0, 1] * u0 + e[1, 1] * u1
        g01 += e[0, 2] * u0 + e[1, 2] * u1
        g11 += e[0, 2] * (i00 * e[0, 2] + i01 * e[1, 2]) + e[1, 2] * (i01 * e[0, 2] + i11 * e[1, 2])
        for j in range(4):
            for k in range(3):
                mean[j, k] += gain[j, 0] * e[0, k] + gain[j, 1] * e[1, k]
    det = g00 * g11 - g01 * g01
    total += 0.5 * (g11 * h0 * h0 - 2.0 * g01 * h0 * h1 + g00 * h1 * h1) / det
    return total - 0.5 * np.log(det)


@njit(cache=True)
def centre_given_fixes(
    log_par: Floats, hours: Floats, xy: Floats, error: Floats, centre_sd: float
) -> tuple[float, float, float, float, float]:
    """Return mean (x, y) and covariance (xx, xy, yy) of the centre given the fixes [m, m²].

    Arguments as for `one_centre_log_likelihood`.
    """
    # The log density of the fixes is a quadratic in the centre, so three filters with the
    # centre at chosen places would do; running the filter once for the three columns is the
    # same, and is repeated here since only the last numbers are wanted.
    a, b = np.exp(-log_par[0]), np.exp(-log_par[1])
    n = len(hours)
    sxx, sxy, syy = home_shape(np.exp(log_par[2]), log_par[3], log_par[4])
    y, r = np.empty((n, 2)), np.empty((n, 3))
    unshape(sxx, sxy, syy, xy, error, y, r)
    mean, cov = np.zeros((4, 3)), np.zeros((4, 4))
    cov[0, 0] = cov[1, 1] = 1.0
    cov[2, 2] = cov[3, 3] = a * b
    gain, e = np.empty((4, 2)), np.empty((2, 3))
    p0 = 1.0 / (centre_sd * centre_sd)
    g = np.empty((2, 2))
    g[0, 0] = p0 * (sxx * sxx + sxy * sxy)
    g[0, 1] = g[1, 0] = p0 * (sxx * sxy + sxy * syy)
    g[1, 1] = p0 * (sxy * sxy + syy * syy)
    h = np.zeros(2)
    for i in range(n):
        if i > 0 and hours[i] > hours[i - 1]:
            f11, f12, f21, f22, q11, q12, q22 = transition(hours[i] - hours[i - 1], a, b)
            spread(cov, f11, f12, f21, f22, q11, q12, q22)
            for k in range(3):
                for j in range(2):
                    place, speed = mean[j, k], mean[j + 2, k]
                    mean[j, k] = f11 * place + f12 * speed
                    mean[j + 2, k] = f21 * place + f22 * speed
        for j in range(2):
            e[j, 0] = y[i, j] - mean[j, 0]
            e[j, 1] = (1.0 if j == 0 else 0.0) - mean[j, 1]
            e[j, 2] = (1.0 if j == 1 else 0.0) - mean[j, 2]
        i00, i01, i11, _ = seen(cov, r[i], gain)
        for k in range(2):
            u0 = i00 * e[0, k + 1] + i01 * e[1, k + 1]
            u1 = i01 * e[0, k + 1] + i11 * e[1, k + 1]
            h[k] += u0 * e[0, 0] + u1 * e[1, 0]
            for m in range(2):
                g[k, m] += u0 * e[0, m + 1] + u1 * e[1, m + 1]
        for j in range(4):
            for k in range(3):
                mean[j, k] += gain[j, 0] * e[0, k] + gain[j, 1] * e[1, k]
    det = g[0, 0] * g[1, 1] - g[0, 1] * g[1, 0]
    v00, v01, v11 = g[1, 1] / det, -g[0, 1] / det, g[0, 0] / det
    m0, m1 = v00 * h[0] + v01 * h[1], v01 * h[0] + v11 * h[1]
    # Back from standard places to places: shape times mean, shape times covariance times shape.
    c00, c01 = sxx * v00 + sxy * v01, sxx * v01 + sxy * v11
    c10, c11 = sxy * v00 + syy * v01, sxy * v01 + syy * v11
    return (
        sxx * m0 + sxy * m1,
        sxy * m0 + syy * m1,
        c00 * sxx + c01 * sxy,
        c00 * sxy + c01 * syy,
        c10 * sxy + c11 * syy,
    )


@njit(cache=True, nogil=True)
def one_centre_log_likelihoods(
    log_pars: Floats, hours: Floats, xy: Floats, error: Floats, centre_sd: float
) -> Floats:
    """`one_centre_log_likelihood` of every row of `log_pars`, shape (m, 5)."""
    out = np.empty(len(log_pars))
    for k in range(len(log_pars)):
        out[k] = one_centre_log_likelihood(log_pars[k], hours, xy, error, centre_sd)
    return out


@njit(cache=True)
def spread(
    cov: Floats,
    f11: float,
    f12: float,
    f21: float,
    f22: float,
    q11: float,
    q12: float,
    q22: float,
) -> None:
    """Carry the covariance of (x, y, vx, vy) on over a time, in place."""
    for i in range(2):
        for j in range(i, 2):
            pp, pv, vp, vv = cov[i, j], cov[i, j + 2], cov[j, i + 2], cov[i + 2, j + 2]
            new = 1.0 if i == j else 0.0
            cov[i, j] = f11 * f11 * pp + f11 * f12 * (pv + vp) + f12 * f12 * vv + q11 * new
            cov[j, i] = cov[i, j]
            one = f11 * f21 * pp + f11 * f22 * pv + f12 * f21 * vp + f12 * f22 * vv + q12 * new
            two = f11 * f21 * pp + f11 * f22 * vp + f12 * f21 * pv + f12 * f22 * vv + q12 * new
            cov[i, j + 2] = cov[j + 2, i] = one
            cov[j, i + 2] = cov[i + 2, j] = two
            cov[i + 2, j + 2] = f21 * f21 * pp + f21 * f22 * (pv + vp) + f22 * f22 * vv + q22 * new
            cov[j + 2, i + 2] = cov[i + 2, j + 2]


@njit(cache=True)
def seen(cov: Floats, error: Floats, gain: Floats) -> tuple[float, float, float, float]:
    """Take a fix into the covariance, in place; write the gain, shape (4, 2).

    Returns the inverse covariance (xx, xy, yy) of the fix as it was expected, and the
    determinant of that covariance.
    """
    s00, s01, s11 = cov[0, 0] + error[0], cov[0, 1] + error[1], cov[1, 1] + error[2]
    det = s00 * s11 - s01 * s01
    i00, i01, i11 = s11 / det, -s01 / det, s00 / det
    for j in range(4):
        gain[j, 0] = cov[j, 0] * i00 + cov[j, 1] * i01
        gain[j, 1] = cov[j, 0] * i01 + cov[j, 1] * i11
    # The first two rows as they were, held as numbers: a copy of them would cost more than this.
    for k in range(4):
        one, two = cov[0, k], cov[1, k]
        for j in range(4):
            cov[j, k] -= gain[j, 0] * one + gain[j, 1] * two
    return i00, i01, i11, det
