"""Fitting the movement process to one animal: weighted draws of all parameters.

For one, two and three centres the posterior's top is found, a Student t distribution is laid
over it, candidates are drawn from it and weighted by posterior over proposal, and the
proposal is laid anew over the weighted candidates a few times (population Monte Carlo,
Cappé et al. 2004, from memory). The mean weight is the marginal likelihood of that many
centres, so models are averaged and never chosen. Parameters are never plugged in.

No animal walks by a Gaussian process. The likelihood is exact for the process, but taken to
the power 0.65, as if it were from fewer fixes (coarsened posterior, Miller & Dunson 2019, from
memory): with power 1 the intervals of simulated walkers that are no such process were too
narrow. States between fixes are drawn with the fixes' full errors.

Order of parameters: ln tau [h], ln tau_v [h], ln sigma [m], two shape numbers of the home; with
two or three centres then ln stay [h], logits of the shares of all centres but the first, and
x, y of each centre [m] from the middle of the fixes.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from scipy import optimize
from scipy.cluster.vq import kmeans2
from scipy.special import gammaln

from roadrisk.telemetry.movement_centres import several_centres_log_likelihoods
from roadrisk.telemetry.movement_filter import one_centre_log_likelihoods
from roadrisk.telemetry.movement_prior import MovementPrior, log_prior, log_range

if TYPE_CHECKING:
    from collections.abc import Callable

    from roadrisk.roads.network import Floats, Ints
    from roadrisk.telemetry.movement_tracks import MovementTrack, Nodes

MOST_CENTRES = 3
WIDTH = 5 + 3 * MOST_CENTRES
_DF = 5.0
# Power of the likelihood: see the module's text.
_TRUST = 0.65
# Candidates a round; rounds go on until enough of them count.
_ROUNDS = (300, 400, 600, 600, 600, 600)
_ENOUGH = 250.0
# With fewer effective candidates than this a model's marginal likelihood is not believed.
_TOO_FEW = 30.0


@dataclass(frozen=True, eq=False)
class TrackFit:
    """Weighted candidates for the parameters of one animal.

    Attributes
    ----------
    pars : ndarray, shape (candidates, WIDTH)
        In this module's order; unused places are 0.
    centres : ndarray of int64, shape (candidates,)
        Number of centres.
    weight : ndarray, shape (candidates,)
        Sums to 1.
    middle : ndarray, shape (2,)
        Middle of the fixes [m]; centres count from here.
    centre_sd : float
        Deviation of the centre's prior [m].
    chance : ndarray, shape (MOST_CENTRES,)
        Posterior chance of one, two, three centres.
    effective : float
        Effective number of candidates, 1 / sum of squared weights.
    """

    pars: Floats
    centres: Ints
    weight: Floats
    middle: Floats
    centre_sd: float
    chance: Floats
    effective: float


def fit_track(
    track: MovementTrack,
    nodes: Nodes,
    prior: MovementPrior,
    hours_a_day: float,
    rng: np.random.Generator,
    *,
    most_centres: int = MOST_CENTRES,
) -> TrackFit:
    """Fit the process to one track.

    Parameters
    ----------
    track : MovementTrack
        Two fixes or more.
    nodes : Nodes
        Of this track.
    prior : MovementPrior
    hours_a_day : float
        Active hours a day: stays at centres are given in days.
    rng : numpy.random.Generator
    most_centres : int
        1 to 3. Fewer than eight fixes are fitted with one centre.

    Returns
    -------
    TrackFit
    """
    middle = track.xy.mean(axis=0)
    local = track.xy - middle
    rms = float(np.sqrt((local**2).sum(axis=1).mean() / 2))
    centre_sd = 2.0 * max(rms, 5.0)
    parts: list[tuple[int, Floats, Floats, float]] = []
    for many in range(1, most_centres + 1):
        if many > 1 and len(track) < 8:
            break
        target = _target(track, nodes, local, prior, hours_a_day, centre_sd, many)
        starts = _starts(local, track.hours, prior, rms, hours_a_day, many, rng)
        pars, log_weight = _population(target, starts, rng)
        top = log_weight.max()
        effective = np.exp(log_weight - top).sum() ** 2 / np.exp(2 * (log_weight - top)).sum()
        if many > 1 and effective < _TOO_FEW:
            break
        # Centres have no order: as many tops as orders, of which one was visited.
        evidence = top + np.log(np.exp(log_weight - top).mean()) + np.log((1, 1, 2, 6)[many])
        parts.append((many, pars, np.exp(log_weight - top), float(evidence)))
        # A third centre is looked for only where the fixes show a second.
        if many > 1 and evidence < parts[0][3]:
            break
    evidences = np.array([e for _, _, _, e in parts])
    shares = np.exp(evidences - evidences.max())
    shares /= shares.sum()
    chance = np.zeros(MOST_CENTRES)
    chance[: len(shares)] = shares
    rows = [np.pad(p, ((0, 0), (0, WIDTH - p.shape[1]))) for _, p, _, _ in parts]
    centres = [np.full(len(p), many) for many, p, _, _ in parts]
    weight = np.concatenate(
        [s * w / w.sum() for s, (_, _, w, _) in zip(shares, parts, strict=True)]
    )
    return TrackFit(
        np.concatenate(rows), np.concatenate(centres).astype(np.int64), weight, middle,
        centre_sd, chance, float(1 / (weight**2).sum()),
    )  # fmt: skip


def _target(
    track: MovementTrack,
    nodes: Nodes,
    local: Floats,
    prior: MovementPrior,
    hours_a_day: float,
    centre_sd: float,
    many: int,
) -> Callable[[Floats], Floats]:
    """Return the log posterior, up to a constant that all numbers of centres share."""
    stay, stay_sd = log_range(prior.stay_days)
    stay += np.log(hours_a_day)

    def one(pars: Floats) -> Floats:
        ahead = log_prior(pars, prior)
        seen = one_centre_log_likelihoods(pars, nodes.fix_hours, local, track.error, centre_sd)
        return np.asarray(ahead + _TRUST * seen)

    def several(pars: Floats) -> Floats:
        z = [
            (pars[:, 5:6] - stay) / stay_sd,
            pars[:, 6 : 5 + many],
            pars[:, 5 + many :] / centre_sd,
        ]
        ahead = -0.5 * (np.hstack(z) ** 2).sum(axis=1) - np.log(stay_sd)
        ahead -= 2 * many * np.log(centre_sd) + 0.5 * (3 * many) * np.log(2 * np.pi)
        seen = several_centres_log_likelihoods(
            pars, many, nodes.hours, nodes.fix, local, track.error
        )
        return np.asarray(ahead + log_prior(pars, prior) + _TRUST * seen)

    return one if many == 1 else several


def _starts(
    local: Floats,
    hours: Floats,
    prior: MovementPrior,
    rms: float,
    hours_a_day: float,
    many: int,
    rng: np.random.Generator,
) -> list[Floats]:
    mean, _ = prior.scales()
    if many == 1:
        return [
            np.array([t, mean[1], np.log(max(rms, 3.0)), 0.0, 0.0])
            for t in (mean[0] - 0.7, mean[0] + 0.7)
        ]
    found = []
    for attempt in range(4):
        # Places alone, and places with time, so that a home that moved once is seen too.
        stretch = 0.0 if attempt < 2 else 1.5
        time = (hours - hours.mean()) / max(float(np.ptp(hours)), 1.0) * rms * stretch * 2
        rows = np.column_stack([local, time])
        _, label = kmeans2(rows, many, minit="++", seed=rng)
        if len(np.unique(label)) < many:
            continue
        centre = np.array([local[label == k].mean(axis=0) for k in range(many)])
        within = float(np.sqrt(((local - centre[label]) ** 2).sum(axis=1).mean() / 2))
        turns = max(int((np.diff(label) != 0).sum()), 1)
        stay = np.log(max(float(np.ptp(hours)) / 24 * hours_a_day / turns, hours_a_day))
        share = np.log(np.bincount(label, minlength=many) + 1.0)
        process = np.array([mean[0] - 0.7, mean[1], np.log(max(within, 3.0)), 0.0, 0.0, stay])
        found.append(np.concatenate([process, share[1:] - share[0], centre.ravel()]))
    if not found:
        process = np.array([mean[0], mean[1], np.log(max(rms, 3.0)), 0, 0, mean[0] + 2.0])
        centre = rng.normal(0, max(rms, 3.0), 2 * many)
        found.append(np.concatenate([process, np.zeros(many - 1), centre]))
    return found


def _population(
    target: Callable[[Floats], Floats], starts: list[Floats], rng: np.random.Generator
) -> tuple[Floats, Floats]:
    """Return candidates and the logs of their weights."""
    starts = sorted(starts, key=lambda start: -float(target(start[None])[0]))
    tops = [_top(target, start) for start in starts[:2]]
    best = max(tops, key=lambda top: float(target(top[None])[0]))
    centre, spread = best, _covariance(target, best)
    pars: list[Floats] = []
    log_target: list[Floats] = []
    proposals: list[tuple[int, Floats, Floats]] = []
    weight = np.empty(0)
    for count in _ROUNDS:
        factor = np.linalg.cholesky(spread)
        proposals.append((count, centre, np.asarray(factor, np.float64)))
        z = rng.standard_normal((count, len(centre))) @ factor.T
        pars.append(centre + z * np.sqrt(_DF / rng.chisquare(_DF, count))[:, None])
        log_target.append(target(pars[-1]))
        # All rounds count, each weighed against the mixture of all proposals so far.
        so_far = np.concatenate(pars)
        log_weight = np.concatenate(log_target) - _log_mixture(so_far, proposals)
        weight = np.exp(log_weight - log_weight.max())
        weight /= weight.sum()
        # A few weights that are far too large would shrink the next proposal to nothing.
        # The floor counts where all but a few weights are 0.
        even = np.minimum(weight, max(np.quantile(weight, 1 - 10 / len(weight)), 1e-12))
        even /= even.sum()
        if len(pars) > 2 and 1 / (weight**2).sum() > _ENOUGH:
            break
        if 1 / (even**2).sum() > 3 * len(centre):
            centre = even @ so_far
            away = so_far - centre
            spread = 1.1 * (even * away.T) @ away * (_DF - 2) / _DF
            spread += 1e-8 * np.eye(len(centre))
    return so_far, log_weight


def _log_mixture(x: Floats, proposals: list[tuple[int, Floats, Floats]]) -> Floats:
    total = sum(count for count, _, _ in proposals)
    parts = []
    for count, centre, factor in proposals:
        z = np.linalg.solve(factor, (x - centre).T)
        d = len(centre)
        log_t = -0.5 * (_DF + d) * np.log1p((z**2).sum(axis=0) / _DF)
        log_t -= np.log(np.diag(factor)).sum() - _log_t_constant(d)
        parts.append(np.log(count / total) + log_t)
    return np.asarray(np.logaddexp.reduce(parts, axis=0))


def _log_t_constant(d: int) -> float:
    return float(gammaln((_DF + d) / 2) - gammaln(_DF / 2) - 0.5 * d * np.log(_DF * np.pi))


_STEP = 1e-4


def _scales(start: Floats) -> Floats:
    """Step for differences: places are metres, all else is a log."""
    out = np.full(len(start), 1.0)
    if len(start) > 5:
        many = (len(start) - 5) // 3
        out[5 + many :] = 20.0
    return out


def _top(target: Callable[[Floats], Floats], start: Floats) -> Floats:
    scale = _scales(start)
    steps = np.vstack([np.zeros(len(start)), np.eye(len(start)), -np.eye(len(start))]) * _STEP
    d = len(start)

    def slope(z: Floats) -> tuple[float, Floats]:
        value = target((z + steps) * scale)
        if not np.isfinite(value).all():
            return 1e10, np.zeros(d)
        return -float(value[0]), -(value[1 : d + 1] - value[d + 1 :]) / (2 * _STEP)

    found = optimize.minimize(
        slope, start / scale, jac=True, method="L-BFGS-B", options={"maxiter": 40, "ftol": 1e-6}
    )
    return np.asarray(found.x * scale)


def _covariance(target: Callable[[Floats], Floats], top: Floats) -> Floats:
    """Inverse of the curvature at the top, kept positive and within reason."""
    d, scale = len(top), _scales(top)
    h = 0.02
    pairs = [(i, j) for i in range(d) for j in range(i + 1)]
    unit = np.eye(d) * h
    rows = np.concatenate([
        [s * unit[i] + t * unit[j] for s, t in ((1, 1), (1, -1), (-1, 1), (-1, -1))]
        for i, j in pairs
    ])  # fmt: skip
    value = np.asarray(target(top + rows * scale)).reshape(-1, 4)
    curve = np.zeros((d, d))
    for (i, j), v in zip(pairs, value, strict=True):
        curve[i, j] = curve[j, i] = -(v[0] - v[1] - v[2] + v[3]) / (4 * h * h)
    if not np.isfinite(curve).all():
        curve = np.eye(d)
    values, vectors = np.linalg.eigh(curve)
    spread = (vectors / np.clip(values, 0.3, None)) @ vectors.T
    return np.asarray(1.2 * spread * np.outer(scale, scale))
