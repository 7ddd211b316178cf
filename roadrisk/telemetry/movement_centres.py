"""Animals with more than one centre of activity: which centre pulls, and when it changes.

The centre that pulls changes as a chain in active time: after a change the next centre is
drawn by the centres' shares, so over a time t the chain keeps its centre for sure with chance
exp(-t / stay) and is drawn anew otherwise. It may change where nodes of the track lie (each
active day's beginning and each fix). Where another centre is drawn the animal walks over: at the
next node it is somewhere in the new centre's home, wherever it was before, as animals that know
both places go straight from one to the other. (With the pull of the new centre alone it drifted
between the two for days, and simulated commuters that walk over in an hour or two came out
with too many crossing-days.)

With several centres the exact density of the fixes is a sum over all sequences of centres.
The filter keeps one normal distribution a centre and node and replaces the mixture that
reaches a node by the normal with the same mean and covariance (interacting multiple models,
Blom & Bar-Shalom 1988, from memory). With one centre nothing is replaced and all is exact.
States are drawn backwards from the same filter (Kim & Nelson 1999, from memory).
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from numba import njit

from roadrisk.telemetry.movement_filter import LOG_2PI, seen, spread
from roadrisk.telemetry.movement_process import home_shape, transition, unshape, within_reason
from roadrisk.telemetry.movement_random import normal, uniform

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from roadrisk.roads.network import Floats, Ints

    Words = NDArray[np.uint64]

# Nodes closer than this are one moment [h].
MOMENT_H = 1e-9


@njit(cache=True)
def filter_centres(
    a: float,
    b: float,
    stay_h: float,
    share: Floats,
    centre: Floats,
    hours: Floats,
    fix: Ints,
    y: Floats,
    r: Floats,
    keep_chance: Floats,
    keep_mean: Floats,
    keep_cov: Floats,
) -> float:
    """Filter standard fixes along the nodes of a track; return their log density.

    Parameters
    ----------
    a, b : float
        1 / tau and 1 / tau_v [1/h].
    stay_h : float
        Mean active time until the centre is drawn anew [h].
    share : ndarray, shape (centres,)
    centre : ndarray, shape (centres, 2)
        Standard places.
    hours : ndarray, shape (nodes,)
        Active hours, ascending.
    fix : ndarray of int64, shape (nodes,)
        Row of `y`, -1 for a node without a fix.
    y, r : ndarray, shape (n, 2) and (n, 3)
        Standard fixes and error covariances (`movement_process.unshape`).
    keep_chance, keep_mean, keep_cov : ndarray
        Filled with what is known at each node, shape (nodes, centres), (nodes, centres, 4)
        and (nodes, centres, 4, 4), if they have a row for each node.
    """
    many, nodes = len(share), len(hours)
    keep = len(keep_chance) == nodes
    chance = share.copy()
    mean, cov = np.zeros((many, 4)), np.zeros((many, 4, 4))
    gain, log_l = np.empty((4, 2)), np.empty(many)
    for k in range(many):
        mean[k, 0], mean[k, 1] = centre[k, 0], centre[k, 1]
        cov[k, 0, 0] = cov[k, 1, 1] = 1.0
        cov[k, 2, 2] = cov[k, 3, 3] = a * b
    total = 0.0
    # Most ways are a whole day's: what happens over the longest so far is kept.
    longest = 0.0
    moved = far = transition(0.0, a, b)
    for i in range(nodes):
        t = hours[i] - hours[i - 1] if i > 0 else 0.0
        if t > MOMENT_H:
            if t == longest:
                moved = far
            else:
                moved = transition(t, a, b)
                if t > longest:
                    longest, far = t, moved
            f11, f12, f21, f22, q11, q12, q22 = moved
            for k in range(many):
                spread(cov[k], f11, f12, f21, f22, q11, q12, q22)
                for j in range(2):
                    away, speed = mean[k, j] - centre[k, j], mean[k, j + 2]
                    mean[k, j] = centre[k, j] + f11 * away + f12 * speed
                    mean[k, j + 2] = f21 * away + f22 * speed
            if many > 1:
                change_centre(np.exp(-t / stay_h), share, centre, a * b, chance, mean, cov)
        if fix[i] >= 0:
            total += _see(y[fix[i]], r[fix[i]], chance, mean, cov, gain, log_l)
        if keep:
            keep_chance[i], keep_mean[i], keep_cov[i] = chance, mean, cov
    return total


@njit(cache=True)
def _see(
    y: Floats, r: Floats, chance: Floats, mean: Floats, cov: Floats, gain: Floats, log_l: Floats
) -> float:
    many, best = len(chance), -np.inf
    for k in range(many):
        e0, e1 = y[0] - mean[k, 0], y[1] - mean[k, 1]
        i00, i01, i11, det = seen(cov[k], r, gain)
        for j in range(4):
            mean[k, j] += gain[j, 0] * e0 + gain[j, 1] * e1
        square = i00 * e0 * e0 + 2.0 * i01 * e0 * e1 + i11 * e1 * e1
        log_l[k] = -LOG_2PI - 0.5 * (np.log(det) + square)
        best = max(best, log_l[k])
    whole = 0.0
    for k in range(many):
        # A floor keeps a centre from being ruled out for ever by rounding.
        chance[k] = max(chance[k] * np.exp(log_l[k] - best), 1e-300)
        whole += chance[k]
    for k in range(many):
        chance[k] /= whole
    return best + np.log(whole)


@njit(cache=True)
def change_centre(
    kept: float,
    share: Floats,
    centre: Floats,
    speed_variance: float,
    chance: Floats,
    mean: Floats,
    cov: Floats,
) -> None:
    """Let the centre change: those who stayed and those who came, as one normal each.

    `chance`, `mean` and `cov` hold what is foreseen for animals that keep their centre, and
    are changed in place. Those who came lie in the new home as at any time.
    """
    for j in range(len(share)):
        stayed = chance[j] * (kept + (1.0 - kept) * share[j])
        came = (1.0 - chance[j]) * (1.0 - kept) * share[j]
        chance[j] = max(stayed + came, 1e-300)
        w = came / chance[j]
        for m in range(4):
            for n in range(4):
                dm = mean[j, m] - (centre[j, m] if m < 2 else 0.0)
                dn = mean[j, n] - (centre[j, n] if n < 2 else 0.0)
                # Two normals with the same mean and covariance as their mixture.
                cov[j, m, n] = (1.0 - w) * cov[j, m, n] + w * (1.0 - w) * dm * dn
            cov[j, m, m] += w * (1.0 if m < 2 else speed_variance)
        for m in range(4):
            mean[j, m] = (1.0 - w) * mean[j, m] + w * (centre[j, m] if m < 2 else 0.0)


@njit(cache=True)
def draw_states(
    a: float,
    b: float,
    stay_h: float,
    share: Floats,
    centre: Floats,
    hours: Floats,
    chance: Floats,
    mean: Floats,
    cov: Floats,
    words: Words,
    state: Floats,
    pulled_by: Ints,
) -> None:
    """Draw the states at all nodes, last first, from what `filter_centres` kept.

    Fills `state`, shape (nodes, 4): standard x, y, vx, vy; and `pulled_by`, shape (nodes,):
    the centre that pulls on the way from the node before to this one.
    """
    nodes, many = len(hours), len(share)
    weight, target = np.empty(many), np.empty((many, 4))
    s, factor = np.empty((many, 4, 4)), np.empty((4, 4))
    across, shift = np.empty((4, 4)), np.empty(4)
    here_mean, here_cov = np.empty(4), np.empty((4, 4))
    last = nodes - 1
    z = pick(chance[last], words)
    _normal_4(mean[last, z], cov[last, z], factor, words, state[last])
    pulled_by[last] = z
    for i in range(nodes - 2, -1, -1):
        t = hours[i + 1] - hours[i]
        z = pulled_by[i + 1]
        if t <= MOMENT_H:
            state[i] = state[i + 1]
            pulled_by[i] = z
            continue
        f11, f12, f21, f22, q11, q12, q22 = transition(t, a, b)
        kept = np.exp(-t / stay_h)
        best = -np.inf
        for k in range(many):
            s[k] = cov[i, k]
            spread(s[k], f11, f12, f21, f22, q11, q12, q22)
            for j in range(2):
                away, speed = mean[i, k, j] - centre[z, j], mean[i, k, j + 2]
                target[k, j] = state[i + 1, j] - (centre[z, j] + f11 * away + f12 * speed)
                target[k, j + 2] = state[i + 1, j + 2] - (f21 * away + f22 * speed)
            if many > 1 and k == z:
                stayed = np.log(chance[i, k] * (kept + (1.0 - kept) * share[z]))
                weight[k] = stayed + _log_normal_4(s[k], target[k], factor)
            elif many > 1:
                came = np.log(chance[i, k] * (1.0 - kept) * share[z])
                weight[k] = came + _log_at_home(state[i + 1], centre[z], a * b)
            best = max(best, weight[k]) if many > 1 else best
        k = 0
        if many > 1:
            for m in range(many):
                weight[m] = np.exp(weight[m] - best)
            k = pick(weight, words)
        pulled_by[i] = k
        if k != z:
            # Where it came from tells nothing of where it is now.
            _normal_4(mean[i, k], cov[i, k], factor, words, state[i])
            continue
        # Covariance of the state here with the state there: P F'.
        for m in range(4):
            for j in range(2):
                across[m, j] = f11 * cov[i, k, m, j] + f12 * cov[i, k, m, j + 2]
                across[m, j + 2] = f21 * cov[i, k, m, j] + f22 * cov[i, k, m, j + 2]
        _given(mean[i, k], cov[i, k], across, s[k], target[k], factor, shift, here_mean, here_cov)
        _normal_4(here_mean, here_cov, factor, words, state[i])


@njit(cache=True)
def _log_at_home(state: Floats, centre: Floats, speed_variance: float) -> float:
    square = (state[0] - centre[0]) ** 2 + (state[1] - centre[1]) ** 2
    square += (state[2] * state[2] + state[3] * state[3]) / speed_variance
    return -0.5 * square - np.log(speed_variance)


@njit(cache=True)
def _given(
    mean: Floats,
    cov: Floats,
    across: Floats,
    s: Floats,
    target: Floats,
    factor: Floats,
    half: Floats,
    out_mean: Floats,
    out_cov: Floats,
) -> None:
    """Condition a normal on another state: mean + C S^-1 e, cov - C S^-1 C'."""
    cholesky_4(s, factor)
    rows = np.empty((5, 4))
    for m in range(5):
        for j in range(4):
            v = across[m, j] if m < 4 else target[j]
            for n in range(j):
                v -= factor[j, n] * rows[m, n]
            rows[m, j] = v / factor[j, j]
    for m in range(4):
        out_mean[m] = mean[m]
        for j in range(4):
            out_mean[m] += rows[m, j] * rows[4, j]
        for n in range(4):
            out_cov[m, n] = cov[m, n]
            for j in range(4):
                out_cov[m, n] -= rows[m, j] * rows[n, j]


@njit(cache=True)
def cholesky_4(s: Floats, out: Floats) -> float:
    """Write the lower Cholesky factor of a 4 x 4 matrix; return the log determinant.

    A pivot that rounding has made 0 or negative counts as 0 would: tiny.
    """
    log_det = 0.0
    for i in range(4):
        for j in range(i + 1):
            v = s[i, j]
            for k in range(j):
                v -= out[i, k] * out[j, k]
            if i == j:
                out[i, i] = np.sqrt(max(v, 1e-14 * s[i, i] + 1e-300))
                log_det += 2.0 * np.log(out[i, i])
            else:
                out[i, j] = v / out[j, j]
    return log_det


@njit(cache=True)
def _log_normal_4(s: Floats, e: Floats, factor: Floats) -> float:
    log_det = cholesky_4(s, factor)
    total = 0.0
    z = np.empty(4)
    for j in range(4):
        v = e[j]
        for n in range(j):
            v -= factor[j, n] * z[n]
        z[j] = v / factor[j, j]
        total += z[j] * z[j]
    return -0.5 * (log_det + total)


@njit(cache=True)
def _normal_4(mean: Floats, cov: Floats, factor: Floats, words: Words, out: Floats) -> None:
    cholesky_4(cov, factor)
    z0, z1 = normal(words), normal(words)
    z2, z3 = normal(words), normal(words)
    out[0] = mean[0] + factor[0, 0] * z0
    out[1] = mean[1] + factor[1, 0] * z0 + factor[1, 1] * z1
    out[2] = mean[2] + factor[2, 0] * z0 + factor[2, 1] * z1 + factor[2, 2] * z2
    out[3] = mean[3] + factor[3, 0] * z0 + factor[3, 1] * z1 + factor[3, 2] * z2 + factor[3, 3] * z3


@njit(cache=True)
def pick(weight: Floats, words: Words) -> int:
    """Return a place drawn by weights, which need not sum to 1."""
    at = uniform(words) * weight.sum()
    for k in range(len(weight) - 1):
        at -= weight[k]
        if at < 0.0:
            return k
    return len(weight) - 1


@njit(cache=True)
def several_centres_log_likelihood(
    par: Floats, many: int, hours: Floats, fix: Ints, xy: Floats, error: Floats
) -> float:
    """Log density of fixes with `many` centres (`movement_fit` tells the order of `par`)."""
    if not within_reason(par):
        return -np.inf
    n = len(xy)
    sxx, sxy, syy = home_shape(np.exp(par[2]), par[3], par[4])
    det = sxx * syy - sxy * sxy
    y, r = np.empty((n, 2)), np.empty((n, 3))
    log_det = unshape(sxx, sxy, syy, xy, error, y, r)
    share, centre = shares(par, many), np.empty((many, 2))
    for k in range(many):
        cx, cy = par[5 + many + 2 * k], par[6 + many + 2 * k]
        centre[k, 0] = (syy * cx - sxy * cy) / det
        centre[k, 1] = (sxx * cy - sxy * cx) / det
    none_1, none_2, none_3 = np.empty((0, 1)), np.empty((0, 1, 1)), np.empty((0, 1, 1, 1))
    return n * log_det + filter_centres(
        np.exp(-par[0]), np.exp(-par[1]), np.exp(par[5]), share, centre, hours, fix, y, r,
        none_1, none_2, none_3,
    )  # fmt: skip


@njit(cache=True)
def shares(par: Floats, many: int) -> Floats:
    """Return the centres' shares: a softmax of 0 and ``par[6:5 + many]``."""
    out = np.ones(many)
    for k in range(1, many):
        out[k] = np.exp(par[5 + k])
    return out / out.sum()


@njit(cache=True, nogil=True)
def several_centres_log_likelihoods(
    pars: Floats, many: int, hours: Floats, fix: Ints, xy: Floats, error: Floats
) -> Floats:
    """`several_centres_log_likelihood` of every row of `pars`."""
    out = np.empty(len(pars))
    for k in range(len(pars)):
        out[k] = several_centres_log_likelihood(pars[k], many, hours, fix, xy, error)
    return out
