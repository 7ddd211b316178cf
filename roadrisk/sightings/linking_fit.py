"""What is learned from the reports themselves about repeats: how soon, how near, by whom."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numba as nb
import numpy as np
from scipy.optimize import brentq

from roadrisk.sightings.linking_background import busy_places, intensity_of
from roadrisk.sightings.linking_marks import ALIVE, DEAD, EITHER, Marks, Rates
from roadrisk.sightings.linking_partitions import Posterior, weigh
from roadrisk.sightings.linking_remarks import LIKENESS_BINS
from roadrisk.sightings.linking_shares import Neighbourhoods
from roadrisk.sightings.linking_squares import Squares
from roadrisk.sightings.linking_weight import SOON_DAYS, near_density

if TYPE_CHECKING:
    from roadrisk.roads.network import Floats, Ints
    from roadrisk.sightings.linking_pairs import Candidates
    from roadrisk.table_settings import SightingsSection

_MINUTES_A_DAY = 1440.0
_NEAR_FACTOR = np.array([0.5, 1.0, 2.0, 4.0])
# Beliefs before the data, as numbers of repeats; project choices.
_SEEN = np.array([0.03, 0.1, 0.3, 1.0, 3.0, 10.0])  # reports in a mean time
_SEEN_SHARE = np.array([0.1, 0.2, 0.3, 0.27, 0.1, 0.03])
_STAY = np.array([0.125, 0.4, 1.0, 2.5, 6.0])  # mean times
_STAY_SHARE = np.array([0.12, 0.25, 0.38, 0.2, 0.05])
_LIFE = np.stack([np.outer(_SEEN_SHARE, _STAY_SHARE)] * 2)
_LIFE_PRIOR = 6.0
_NEAR_PRIOR = np.array([3.0, 6.0, 2.0, 1.0])
_KIND_PRIOR = np.array([[1.0, 20.0], [2.0, 20.0], [1.0, 20.0]])  # errors, words
_REPEAT_PRIOR, _HABIT_PRIOR = 4.0, 3.0
_SIZE_ERROR, _SIZE_PRIOR = 0.15, 10.0
_REMARK_TILT = np.array([1.0, 1.5, 2.5, 5.0, 10.0, 20.0])
_COMMON_PRIOR = np.array([6.0, 2.0, 1.0, 0.5, 0.3, 0.2])
_REMARK_PRIOR = 10.0
_LONGEST = 8.0  # mean times, after which no next report is looked for
ROUNDS, FEW_ROUNDS, EM_UNITS = 8, 2, 7
# Divisions drawn in a round and at the end: of many reports fewer, whose rates are means of more.
_SWEEPS, _LEAST_SWEEPS, _WORK = (30, 200), (8, 60), (300_000, 3_000_000)


@dataclass(frozen=True, eq=False)
class Fitted:
    """What was learned, and the chances that it gives.

    Attributes
    ----------
    m : Marks
        With shares and habits of observers.
    rates : Rates
    posterior : Posterior
    """

    m: Marks
    rates: Rates
    posterior: Posterior


def first_rates(m: Marks, settings: SightingsSection, unrelated: Ints) -> Rates:
    """Return what is believed before the reports are compared.

    Parameters
    ----------
    m : Marks
    settings : SightingsSection
    unrelated : ndarray of int64
        Bins of the likeness of remarks of reports taken at random.

    Returns
    -------
    Rates
    """
    mean = np.array([settings.live_minutes / _MINUTES_A_DAY, settings.carcass_days])
    size = m.size[np.isfinite(m.size)]
    common = _commonness(unrelated)
    alike = common * _REMARK_TILT
    return Rates(
        life=_LIFE,
        seen=_SEEN / mean[:, None],
        stay=_STAY * mean[:, None],
        last=mean * _LONGEST,
        near_factor=_NEAR_FACTOR,
        near_weight=np.stack([_NEAR_PRIOR / _NEAR_PRIOR.sum()] * 2),
        floor_variance=(settings.same_place_m / 25.0) ** 2,
        repeat=np.ones(3),
        kind_error=_KIND_PRIOR[:, 0] / _KIND_PRIOR[:, 1],
        kind_share=_kind_shares(m),
        size_mean=float(size.mean()) if len(size) else 0.0,
        size_sd=float(size.std()) + 0.05 if len(size) else 1.0,
        size_error=_SIZE_ERROR,
        remark_ratio=alike / alike.sum() / common,
    )


def _commonness(unrelated: Ints) -> Floats:
    count = np.bincount(unrelated[unrelated >= 0], minlength=LIKENESS_BINS) + _COMMON_PRIOR
    return count / count.sum()


def _kind_shares(m: Marks) -> Floats:
    """Share of each word for sex, stage and species; 0 for words that don't occur."""
    out = np.zeros((3, max(int(m.kinds.max(initial=0)) + 1, 1)))
    for which in range(3):
        said = m.kinds[:, which][m.kinds[:, which] >= 0]
        if len(said):
            out[which] = np.bincount(said, minlength=out.shape[1]) / len(said)
    return out


def alive_or_dead(m: Marks) -> Floats:
    """Return the chance that each animal was alive, and dead; by the others where it isn't said."""
    dead = (np.sum(m.state == DEAD) + 1.0) / (np.sum(m.state != EITHER) + 2.0)
    out = np.zeros((len(m.x), 2))
    out[m.state == ALIVE, ALIVE] = 1.0
    out[m.state == DEAD, DEAD] = 1.0
    out[m.state == EITHER] = 1.0 - dead, dead
    return out


def fit(
    m: Marks,
    candidates: Candidates,
    rates: Rates,
    unrelated: Ints,
    road_m: float,
    first_day: float,
    days: int,
    start: Fitted | None = None,
) -> Fitted:
    """Learn shares, intensities and rates from the reports.

    Parameters
    ----------
    m : Marks
        In order of time.
    candidates : Candidates
    rates : Rates
        To begin with.
    unrelated : ndarray of int64
        As for `first_rates`.
    road_m : float
        Length of all roads [m].
    first_day : float
        Of the study [days on the clock of `m.time`].
    days : int
        Its length.
    start : Fitted, optional
        Under another choice of mean times; what doesn't depend on it is taken over, and fewer
        rounds are gone through.

    Returns
    -------
    Fitted

    Notes
    -----
    Expectation and maximisation in turn, with priors: chances that reports are of one animal under
    the rates, then the rates under these chances, as for the agreement of fields in Fellegi &
    Sunter 1969, JASA 64:1183-1210, doi 10.2307/2286061.
    """
    chance = alive_or_dead(m)
    none = np.zeros(0, np.int64)
    posterior = Posterior(
        none,
        none,
        np.zeros(0),
        np.zeros(0),
        np.full(len(m.x), 0.8),
        rates.life,
    )
    if start is not None:
        m, posterior = start.m, start.posterior
        rates = rates._replace(
            near_weight=start.rates.near_weight,
            repeat=start.rates.repeat,
            kind_error=start.rates.kind_error,
            size_error=start.rates.size_error,
            remark_ratio=start.rates.remark_ratio,
        )
    few, many = (
        int(np.clip(work // max(len(m.x), 1), least, most))
        for work, least, most in zip(_WORK, _LEAST_SWEEPS, _SWEEPS, strict=True)
    )
    rounds = int(np.clip(_WORK[0] // max(len(m.x), 1), 5, ROUNDS)) if start is None else FEW_ROUNDS
    squares, near = Squares.holding(m.x, m.y), Neighbourhoods(m)
    for _ in range(rounds):
        m = m._replace(share=near.shares(posterior.first), busy=busy_places(squares, posterior))
        intensity = intensity_of(m, squares, posterior, chance, road_m, first_day, days)
        posterior = weigh(m, candidates, intensity, rates, most=EM_UNITS, sweeps=few)
        rates = _improved(m, candidates, posterior, rates, unrelated)
        m = m._replace(habit=_habits(m, posterior.i, posterior.j, posterior.next, rates.repeat))
    m = m._replace(share=near.shares(posterior.first), busy=busy_places(squares, posterior))
    intensity = intensity_of(m, squares, posterior, chance, road_m, first_day, days)
    sweeps = many if start is None else few
    return Fitted(m, rates, weigh(m, candidates, intensity, rates, sweeps=sweeps, learn=False))


def _improved(
    m: Marks, candidates: Candidates, posterior: Posterior, rates: Rates,
    unrelated: Ints,
) -> Rates:  # fmt: skip
    """Rates that suit the chances of who follows whom."""
    keep = posterior.next > 1e-4
    i, j, p = posterior.i[keep], posterior.j[keep], posterior.next[keep]
    life = posterior.lives + _LIFE_PRIOR * _LIFE
    rates = rates._replace(
        life=life / life.sum(axis=(1, 2), keepdims=True),
        near_weight=_near_weights(m, i, j, p, rates),
        repeat=_repeats(m, i, j, p),
        kind_error=_kind_errors(m, i, j, p),
        size_error=_size_error(m, i, j, p, rates),
    )
    return rates._replace(remark_ratio=_remark_ratios(candidates, posterior, unrelated))


def _near_weights(m: Marks, i: Ints, j: Ints, p: Floats, rates: Rates) -> Floats:
    out = _NEAR_PRIOR + _near_beliefs(m, i, j, p, rates)
    return out / out.sum(axis=1, keepdims=True)


@nb.njit(cache=True, nogil=True)
def _near_beliefs(m: Marks, i: Ints, j: Ints, p: Floats, rates: Rates) -> Floats:
    """Count the repeats expected under each multiple of the error, stated or not."""
    out = np.zeros_like(rates.near_weight)
    part = np.empty(out.shape[1])
    for k in range(len(i)):
        d2 = (m.x[i[k]] - m.x[j[k]]) ** 2 + (m.y[i[k]] - m.y[j[k]]) ** 2
        v = m.variance[i[k]] + m.variance[j[k]]
        vague = 1 if m.vague[i[k]] or m.vague[j[k]] else 0
        for b in range(len(part)):
            part[b] = rates.near_weight[vague, b] * near_density(d2, v, b, rates)
        out[vague] += p[k] * part / max(part.sum(), 1e-300)
    return out


def _repeats(m: Marks, i: Ints, j: Ints, p: Floats) -> Floats:
    """How much likelier than by the share the same observer reports again, soon and later."""
    out = np.ones(3)
    named = (m.observer[i] >= 0) & (m.observer[j] >= 0)
    soon = np.searchsorted(SOON_DAYS, m.time[j] - m.time[i], "right")
    for which in range(3):
        mask = named & (soon == which)
        same = (m.observer[i] == m.observer[j])[mask]
        share = np.append(m.share[i][mask], 0.5)
        habit = np.append(m.habit[i][mask], 1.0)
        weight = np.append(p[mask], _REPEAT_PRIOR)
        seen = float(p[mask] @ same) + 0.5 * _REPEAT_PRIOR

        def excess(
            log: float,
            share: Floats = share,
            habit: Floats = habit,
            w: Floats = weight,
            seen: float = seen,
        ) -> float:
            return float(w @ _again(share, np.exp(log) * habit)) - seen

        out[which] = np.exp(brentq(excess, -20.0, 20.0))
    return np.clip(out, 0.02, 200.0)


def _again(share: Floats, factor: Floats) -> Floats:
    """Chance that the same observer reports again, by its share and how much likelier it is."""
    return share * factor / (1.0 - share + share * factor)


def _habits(m: Marks, i: Ints, j: Ints, p: Floats, repeat: Floats) -> Floats:
    """How much likelier than others each observer reports an animal again, drawn to 1."""
    named = (m.observer[i] >= 0) & (m.observer[j] >= 0)
    if not named.any():
        return m.habit
    i, j, p = i[named], j[named], p[named]
    soon = np.searchsorted(SOON_DAYS, m.time[j] - m.time[i], "right")
    people = int(m.observer.max()) + 1
    chance = _again(m.share[i], repeat[soon] * m.habit[i])
    expected = np.bincount(m.observer[i], p * chance, people) + _HABIT_PRIOR
    seen = np.bincount(m.observer[i], p * (m.observer[i] == m.observer[j]), people) + _HABIT_PRIOR
    factor = np.clip(seen / expected, 0.2, 5.0)
    return np.where(m.observer >= 0, np.clip(m.habit * factor[m.observer], 0.1, 20.0), 1.0)


def _kind_errors(m: Marks, i: Ints, j: Ints, p: Floats) -> Floats:
    """Share of wrong words from pairs that differ: 2e(1 - e) of them do."""
    out = np.empty(3)
    for which in range(3):
        a, b = m.kinds[i, which], m.kinds[j, which]
        both = (a >= 0) & (b >= 0)
        errors, words = _KIND_PRIOR[which]
        differ = (p[both] @ (a != b)[both] + 2 * errors) / (p[both].sum() + words)
        out[which] = 0.5 * (1.0 - np.sqrt(max(1.0 - 2.0 * differ, 0.01)))
    return np.clip(out, 0.005, 0.4)


def _size_error(m: Marks, i: Ints, j: Ints, p: Floats, rates: Rates) -> float:
    apart = m.size[i] - m.size[j]
    both = np.isfinite(apart)
    square = p[both] @ (apart[both] ** 2) / 2.0 + _SIZE_PRIOR * _SIZE_ERROR**2
    return float(np.clip(np.sqrt(square / (p[both].sum() + _SIZE_PRIOR)), 0.02, rates.size_sd))


def _remark_ratios(candidates: Candidates, posterior: Posterior, unrelated: Ints) -> Floats:
    """How much commoner each likeness is between reports of one animal than of any two."""
    common = _commonness(unrelated)
    prior = common * _REMARK_TILT
    count = _REMARK_PRIOR * prior / prior.sum()
    n = len(posterior.first)
    known = candidates.like >= 0
    key = candidates.i[known] * n + candidates.j[known]
    wanted = posterior.i * n + posterior.j
    order = np.argsort(key)
    if len(key):
        where = order[np.minimum(np.searchsorted(key, wanted, sorter=order), len(key) - 1)]
        found = key[where] == wanted
        like = candidates.like[known][where][found]
        count += np.bincount(like, posterior.together[found], LIKENESS_BINS)
    return count / count.sum() / common
