"""How well reports go together as one animal at a time: the weight of a group of reports."""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

import numba as nb
import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from roadrisk.roads.network import Floats, Ints

    Bools = NDArray[np.bool_]

ALIVE, DEAD, EITHER = 0, 1, 2
PLACES = 4  # an animal's first, second, third and later reports
LEFT, MARKED, REMOVED, ALREADY_MARKED = 0, 1, 2, 3

# Hours that stand for a day whose time was not given: people report by day.
_HOURS = (7.0, 10.0, 13.0, 16.0, 19.0)
_SAME_MARK = 9.2  # log 10,000: the same tag or photo within the time that the state allows
_HEAD_ALREADY_MARKED = -3.0  # an earlier report of a marked carcass is rarely missing
_AFTER_MARK, _AFTER_NO_MARK = 1.5, -1.0
_FLOOR = -60.0  # by-hand joins may be as unlikely as they like, and stay possible


class Marks(NamedTuple):
    """Reports in order of time, as numbers; all arrays have one entry a report.

    x, y, variance: nearest place on a road and variance of its error along it [m, m²]. time,
    day: of the report and the beginning of its local day [days]; day_only: no time of day was
    given. state: ALIVE, DEAD, EITHER. observer, organism, photo, unit: codes, -1 for none; unit is
    shared by reports that were joined by hand. share: the observer's share of reports nearby;
    habit: how much likelier than other people this one reports an animal again.
    kinds, shape (n, 3): codes of sex, stage and species, -1 for unknown. size: log length, NaN for
    unknown. action: LEFT, MARKED, ...; -1 for none. survey: made by a carcass survey.
    """

    x: Floats
    y: Floats
    variance: Floats
    time: Floats
    day: Floats
    day_only: Bools
    state: Ints
    observer: Ints
    share: Floats
    habit: Floats
    kinds: Ints
    size: Floats
    action: Ints
    survey: Bools
    organism: Ints
    photo: Ints
    unit: Ints


class Rates(NamedTuple):
    """What is estimated once for a study.

    follow, shape (2, 4): chance that another report of the animal follows its first, second, third
    and later ones, alive and dead. lag_scale, lag_weight, shape (2, parts): the time to the next report is a mixture of
    exponentials [days]. last, shape (2,): longest time between them [days]. near_factor,
    near_weight: multiples of the stated standard deviation. floor_variance: of the distance,
    however exact the reports [m²]. repeat, shape (3,): how much likelier than by its share the
    same observer reports the animal again, within 6 hours, 36 hours and later. kind_error, shape (3,), and
    kind_share, shape (3, words): how often sex, stage, species are wrong, and how common.
    size_mean, size_sd, size_error: of log length. remark_ratio: by bin of likeness.
    """

    follow: Floats
    lag_scale: Floats
    lag_weight: Floats
    last: Floats
    near_factor: Floats
    near_weight: Floats
    floor_variance: float
    repeat: Floats
    kind_error: Floats
    kind_share: Floats
    size_mean: float
    size_sd: float
    size_error: float
    remark_ratio: Floats


@nb.njit(cache=True, nogil=True)
def exclude_each_other(m: Marks, i: int, j: int, rates: Rates) -> bool:
    """Whether two reports can't be of one animal at a time.

    Parameters
    ----------
    m : Marks
    i, j : int
        i before j.
    rates : Rates

    Returns
    -------
    bool
    """
    a, b = m.state[i], m.state[j]
    if (a == ALIVE and b == DEAD) or (a == DEAD and b == ALIVE):
        return True
    if m.organism[i] >= 0 and m.organism[j] >= 0 and m.organism[i] != m.organism[j]:
        return True
    alive = ALIVE in (a, b)
    same_day = m.day[i] == m.day[j]
    unknown_order = same_day and (m.day_only[i] or m.day_only[j])
    if unknown_order:
        return False
    if alive and (m.day_only[i] or m.day_only[j] or m.time[j] - m.time[i] > rates.last[ALIVE]):
        return True
    if m.action[i] == REMOVED:
        return True
    return m.action[i] == MARKED and m.survey[j] and m.action[j] != ALREADY_MARKED


@nb.njit(cache=True, nogil=True)
def lag_density(m: Marks, i: int, j: int, kind: int, part: int, rates: Rates) -> float:
    """Density of the time between two reports, under one part of the mixture.

    Parameters
    ----------
    m : Marks
    i, j : int
    kind : int
        ALIVE or DEAD.
    part : int
        Which of `rates.lag_scale[kind]`.
    rates : Rates

    Returns
    -------
    float
        [1/day]; the mean over the hours of a day whose time of day is unknown.
    """
    scale, total, times = rates.lag_scale[kind, part], 0.0, 0
    for a in range(len(_HOURS) if m.day_only[i] else 1):
        begin = m.day[i] + _HOURS[a] / 24.0 if m.day_only[i] else m.time[i]
        for b in range(len(_HOURS) if m.day_only[j] else 1):
            end = m.day[j] + _HOURS[b] / 24.0 if m.day_only[j] else m.time[j]
            lag = abs(end - begin)
            times += 1
            if lag <= rates.last[kind]:
                total += np.exp(-lag / scale) / scale
    return total / times


@nb.njit(cache=True, nogil=True)
def lag_table(m: Marks, rows: Ints, rates: Rates) -> Floats:
    """Log density of the time between any two reports, if the later is the next after the earlier.

    Parameters
    ----------
    m : Marks
    rows : ndarray of int64, shape (n,)
        In order of time.
    rates : Rates

    Returns
    -------
    ndarray, shape (2, n, n)
        Alive and dead [log of 1/day].
    """
    out = np.zeros((2, len(rows), len(rows)))
    for kind in range(2):
        for k in range(len(rows)):
            for o in range(k + 1, len(rows)):
                total = 0.0
                for part in range(rates.lag_scale.shape[1]):
                    total += rates.lag_weight[kind, part] * lag_density(
                        m, rows[k], rows[o], kind, part, rates
                    )
                out[kind, k, o] = max(np.log(total + 1e-300), _FLOOR)
    return out


@nb.njit(cache=True, nogil=True)
def near_density(d2: float, variance: float, part: int, rates: Rates) -> float:
    """Density of a distance along the road, under one multiple of the stated error.

    Parameters
    ----------
    d2 : float
        Distance squared [m²].
    variance : float
        By the stated uncertainties [m²].
    part : int
        Which of `rates.near_factor`.
    rates : Rates

    Returns
    -------
    float
        [1/m].
    """
    v = variance * rates.near_factor[part] ** 2 + rates.floor_variance
    return np.exp(-0.5 * d2 / v) / np.sqrt(2.0 * np.pi * v)


@nb.njit(cache=True, nogil=True)
def _places(m: Marks, members: Ints, n: int, rates: Rates) -> float:
    """Log density of all places but the first, each given those before it."""
    i = members[0]
    x, y, v = m.x[i], m.y[i], m.variance[i]
    total = 0.0
    for k in range(1, n):
        j = members[k]
        d2 = (m.x[j] - x) ** 2 + (m.y[j] - y) ** 2
        density = 0.0
        for part in range(len(rates.near_factor)):
            density += rates.near_weight[part] * near_density(d2, v + m.variance[j], part, rates)
        total += max(np.log(density + 1e-300), _FLOOR)
        gain = v / (v + m.variance[j])
        x, y, v = x + gain * (m.x[j] - x), y + gain * (m.y[j] - y), v * (1.0 - gain)
    return total


@nb.njit(cache=True, nogil=True)
def how_soon(lag: float) -> int:
    """Which of `Rates.repeat` is for a time between reports.

    Parameters
    ----------
    lag : float
        [days].

    Returns
    -------
    int
    """
    if lag < 0.25:
        return 0
    return 1 if lag < 1.5 else 2


@nb.njit(cache=True, nogil=True)
def _observers(m: Marks, members: Ints, n: int, rates: Rates) -> float:
    """Log ratio of who reports again, against the observers' shares of reports nearby."""
    total = 0.0
    for k in range(1, n):
        j = members[k]
        if m.observer[j] < 0:
            continue
        shares, weighted, mine = 0.0, 0.0, 1.0
        for a in range(k - 1, -1, -1):
            i = members[a]
            if m.observer[i] < 0:
                continue
            seen = False
            for b in range(a + 1, k):
                seen = seen or m.observer[members[b]] == m.observer[i]
            if seen:
                continue
            factor = rates.repeat[how_soon(m.time[j] - m.time[i])] * m.habit[i]
            shares += m.share[i]
            weighted += m.share[i] * factor
            if m.observer[i] == m.observer[j]:
                mine = factor
        total += np.log(mine) - np.log(max(1.0 - shares, 0.01) + weighted)
    return total


@nb.njit(cache=True, nogil=True)
def _kinds(m: Marks, members: Ints, n: int, which: int, rates: Rates) -> float:
    """Log ratio of the words for sex, stage or species, if all are of one animal."""
    known = 0
    for k in range(n):
        known += m.kinds[members[k], which] >= 0
    if known < 2:
        return 0.0
    share, error = rates.kind_share[which], rates.kind_error[which]
    total = 0.0
    for truth in range(len(share)):
        if share[truth] <= 0.0:
            continue
        part = share[truth]
        for k in range(n):
            said = m.kinds[members[k], which]
            if said >= 0:
                other = error / max(1.0 - share[truth], 1e-9)
                part *= (1.0 - error) / share[said] if said == truth else other
        total += part
    return np.log(total + 1e-300)


@nb.njit(cache=True, nogil=True)
def _sizes(m: Marks, members: Ints, n: int, rates: Rates) -> float:
    """Log ratio of the lengths, if all are of one animal: normal on the log scale."""
    between, within = rates.size_sd**2, rates.size_error**2
    total, mean, var = 0.0, rates.size_mean, between
    for k in range(n):
        z = m.size[members[k]]
        if np.isnan(z):
            continue
        own, alone = var + within, between + within
        total += 0.5 * (
            np.log(alone / own) + (z - rates.size_mean) ** 2 / alone - (z - mean) ** 2 / own
        )
        gain = var / own
        mean, var = mean + gain * (z - mean), var * (1.0 - gain)
    return total


@nb.njit(cache=True, nogil=True)
def _marked(m: Marks, members: Ints, at: Ints, n: int, like: Ints, rates: Rates) -> float:
    """Log ratio of tags, photos, remarks and what was done with a carcass."""
    total = 0.0
    marked = False
    for k in range(n):
        j = members[k]
        if m.action[j] == ALREADY_MARKED:
            if k == 0:
                total += _HEAD_ALREADY_MARKED
            else:
                total += _AFTER_MARK if marked else _AFTER_NO_MARK
        marked = marked or m.action[j] == MARKED
        same, ratio, count = False, 0.0, 0
        for a in range(k):
            i = members[a]
            same = same or (m.organism[i] >= 0 and m.organism[i] == m.organism[j])
            same = same or (m.photo[i] >= 0 and m.photo[i] == m.photo[j])
            likeness = like[at[a], at[k]]
            if likeness >= 0:
                ratio += rates.remark_ratio[likeness]
                count += 1
        if same:
            total += _SAME_MARK
        if count > 0:
            total += np.log(ratio / count)
    return total


@nb.njit(cache=True, nogil=True)
def log_weights(
    m: Marks,
    intensity: Floats,
    members: Ints,
    at: Ints,
    n: int,
    like: Ints,
    lag: Floats,
    rates: Rates,
) -> tuple[float, float]:
    """Log weight of some reports as one animal alive, and as one carcass.

    Parameters
    ----------
    m : Marks
    intensity : ndarray, shape (reports, 2)
        Expected first reports of an animal, alive and dead, per metre of road and day.
    members : ndarray of int64
        Rows of the reports in order of time; the first `n` entries count.
    at : ndarray of int64
        Where each of them stands in `like` and `lag`.
    n : int
    like : ndarray of int64
        Bin of the likeness of two remarks; -1 for unknown.
    lag : ndarray
        Of `lag_table`.
    rates : Rates

    Returns
    -------
    alive, dead : float
        Of a group and of its reports one by one, the differences are log likelihood ratios.
    """
    shared = _places(m, members, n, rates) + _observers(m, members, n, rates)
    for which in range(3):
        shared += _kinds(m, members, n, which, rates)
    shared += _sizes(m, members, n, rates) + _marked(m, members, at, n, like, rates)
    out = np.empty(2)
    # Joined by hand, an animal may be alive first and dead later: then the last state counts.
    last = EITHER
    for k in range(n):
        if m.state[members[k]] != EITHER:
            last = m.state[members[k]]
    for kind in range(2):
        if last not in (EITHER, kind):
            out[kind] = -np.inf
            continue
        last_one = min(n, rates.follow.shape[1]) - 1
        total = shared + np.log(intensity[members[0], kind])
        total += np.log(1.0 - rates.follow[kind, last_one])
        for k in range(1, n):
            follow = rates.follow[kind, min(k, rates.follow.shape[1]) - 1]
            total += np.log(follow) + lag[kind, at[k - 1], at[k]]
        out[kind] = total
    return out[0], out[1]


@nb.njit(cache=True, nogil=True)
def log_sum(a: float, b: float) -> float:
    """Logarithm of the sum of two numbers given by their logarithms.

    Parameters
    ----------
    a, b : float

    Returns
    -------
    float
    """
    top = max(a, b)
    if top == -np.inf:
        return top
    return top + np.log(np.exp(a - top) + np.exp(b - top))
