"""Chance that a death is counted at all, for the dates on which its place was really searched."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from roadrisk.mortality.active_season import active_spells

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from roadrisk.mortality.persistence_curves import Curves

    Floats = NDArray[np.float64]
    Ints = NDArray[np.int64]

# A look that could add less than this to a chance is not followed further.
_NEGLIGIBLE = 1e-6
EFFECTIVE_LEFT = 0.01


@dataclass(frozen=True, eq=False)
class CountedChance:
    """Chance that a death is counted.

    Attributes
    ----------
    days : float
        Length of the time in which deaths were sought, active months only.
    chance : ndarray, shape (draws,) or (variants, draws)
        With the drawn factor k for later looks.
    shoenfeld : ndarray, shape as `chance`
        One end, k = 1: a carcass that was missed may be found later as easily.
    huso : ndarray, shape as `chance`
        The other end, k = 0: a carcass that was missed once is never found; and what died longer
        before its first search than 99 % of the carcasses stay is not counted.
    """

    days: float
    chance: Floats
    shoenfeld: Floats
    huso: Floats


def chance_counted(
    look_day: Floats,
    detection: Floats,
    later: Floats,
    curves: Curves,
    *,
    months: Sequence[int],
    before_first_days: float = 30.0,
    within: tuple[float, float] | None = None,
) -> CountedChance:
    """Return the chance that a death is counted on one of a place's searches.

    Parameters
    ----------
    look_day : ndarray, shape (looks,)
        Times of the searches, in order [days since 1970-01-01, UTC].
    detection : ndarray, shape (looks, draws) or (variants, looks, draws)
        Chance that each search finds a carcass that lies there and was not missed before; several
        variants (sizes) are worked out at once.
    later : ndarray, shape (draws,)
        Factor k by which that chance falls with every search that missed it.
    curves : Curves
        How long carcasses stay; as many draws.
    months : sequence of int
        Active months, in which deaths come uniformly; 1–12.
    before_first_days : float
        Deaths are sought from so long before the first search, to the last.
    within : tuple of float, optional
        Only deaths between these two times count [days since 1970].

    Returns
    -------
    CountedChance
        `days` is 0 and the chances NaN where no active day lies between. Chances have the shape
        of `detection` without its looks.

    Notes
    -----
    A death at u is counted on its m-th search after it, at t_m, if the carcass stays till then and
    was missed before: S(t_m − u) · p_m k^(m−1) · Π_{l<m} (1 − p_l k^(l−1)); averaged over u and
    summed over m. For searches at equal intervals, an exponential curve and k = 1 this is the
    estimator of Erickson and others and Shoenfeld, for k = 0 that of Huso (2011); formulas from
    memory, their identities held in the tests.
    """
    spells, follow = _spells(look_day, months, before_first_days, within)
    whole = float((spells[:, 1] - spells[:, 0]).sum())
    shape = (*detection.shape[:-2], detection.shape[-1])
    if whole <= 0:
        nothing = np.full(shape, np.nan)
        return CountedChance(0.0, nothing, nothing, nothing)
    detection = detection.reshape(-1, *detection.shape[-2:])
    ones, zeros = np.ones_like(later), np.zeros_like(later)
    between = _summed(spells, follow, look_day, detection, [later, ones], curves)
    reach = curves.quantile(1 - EFFECTIVE_LEFT)
    never = _summed(spells, follow, look_day, detection, [zeros], curves, reach)
    chance, one_end, other = ((c / whole).reshape(shape) for c in (*between, *never))
    return CountedChance(whole, chance, one_end, other)


def days_watched(
    look_day: Floats,
    months: Sequence[int],
    before_first_days: float = 30.0,
    within: tuple[float, float] | None = None,
) -> float:
    """Return the length of the time in which deaths are sought; parameters of `chance_counted`.

    Parameters
    ----------
    look_day : ndarray, shape (looks,)
    months : sequence of int
    before_first_days : float
    within : tuple of float, optional

    Returns
    -------
    float
        Active days only.
    """
    spells, _ = _spells(look_day, months, before_first_days, within)
    return float((spells[:, 1] - spells[:, 0]).sum())


def shoenfeld_chance(interval_days: float, mean_days: float, detection: float) -> float:
    """Return the closed form for equal intervals and an exponential curve, k = 1.

    Parameters
    ----------
    interval_days : float
        Between searches.
    mean_days : float
        Mean time that a carcass stays.
    detection : float

    Returns
    -------
    float
        (τp/I)(e^{I/τ} − 1)/(e^{I/τ} − 1 + p); Erickson and others 2004 after Shoenfeld, formula
        from memory.
    """
    grown = np.expm1(interval_days / mean_days)
    return float(mean_days * detection / interval_days * grown / (grown + detection))


def huso_chance(interval_days: float, mean_days: float, detection: float) -> float:
    """Return the closed form for equal intervals and an exponential curve, k = 0.

    Parameters
    ----------
    interval_days : float
        Between searches.
    mean_days : float
        Mean time that a carcass stays.
    detection : float

    Returns
    -------
    float
        p·r·v: r the mean share left over the effective interval d = min(I, Ĩ), Ĩ = −ln(0.01)·τ,
        and v = min(1, Ĩ/I); Huso 2011, Environmetrics 22:318–329, formula from memory.
    """
    effective = -np.log(EFFECTIVE_LEFT) * mean_days
    d = min(interval_days, effective)
    left = mean_days * -np.expm1(-d / mean_days) / d
    return float(detection * left * min(1.0, effective / interval_days))


def _spells(
    look_day: Floats,
    months: Sequence[int],
    before: float,
    within: tuple[float, float] | None,
) -> tuple[Floats, Ints]:
    """Spells of active days, none of which holds a search, and the first search after each."""
    first, last = float(look_day[0]) - before, float(look_day[-1])
    if within is not None:
        first, last = max(first, within[0]), min(last, within[1])
    parts = []
    for a, b in active_spells(first, last, months).tolist():
        inside = np.unique(look_day[(look_day > a) & (look_day < b)])
        cuts = np.concatenate([[a], inside, [b]])
        parts.append(np.column_stack([cuts[:-1], cuts[1:]]))
    spells = np.concatenate(parts) if parts else np.empty((0, 2))
    return spells, np.searchsorted(look_day, spells[:, 1], side="left").astype(np.int64)


def _summed(
    spells: Floats,
    follow: Ints,
    look_day: Floats,
    detection: Floats,
    factors: list[Floats],
    curves: Curves,
    reach: Floats | None = None,
) -> list[Floats]:
    """Add up days × chance over all spells, for each factor of later looks [days].

    Detection has shape (variants, looks, draws), the sums (variants, draws).
    """
    variants, _, draws = detection.shape
    missed = [np.ones((variants, len(spells), draws)) for _ in factors]
    fallen = [np.ones(draws) for _ in factors]
    sums = [np.zeros((variants, draws)) for _ in factors]
    whole = float((spells[:, 1] - spells[:, 0]).sum())
    for lag in range(len(look_day)):
        keep = follow + lag < len(look_day)
        if not keep.any():
            break
        spells, follow = spells[keep], follow[keep]
        look = follow + lag
        since, until = (_there(curves, look_day[look] - spells[:, side], reach) for side in (1, 0))
        lying = until - since
        most = 0.0
        for n, k in enumerate(factors):
            missed[n] = missed[n][:, keep]
            hit = detection[:, look] * fallen[n]
            more = np.einsum("vsd,vsd,sd->vd", missed[n], hit, lying)
            sums[n] += more
            most = max(most, float(more.max(initial=0.0)))
            missed[n] *= 1 - hit
            fallen[n] = fallen[n] * k
        if most < _NEGLIGIBLE * whole:
            break
    return sums


def _there(curves: Curves, days: Floats, reach: Floats | None) -> Floats:
    x = np.maximum(days, 0.0)
    return curves.days_there(x if reach is None else np.minimum(x[:, None], reach))
