"""Animals that walk by the movement process beside a straight road, with their true crossings."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np
from numba import njit

from roadrisk.telemetry.movement_prior import log_prior
from roadrisk.telemetry.movement_process import home_shape, transition

if TYPE_CHECKING:
    from collections.abc import Sequence

    from roadrisk.roads.network import Floats, Ints
    from roadrisk.telemetry.movement_fit import TrackFit
    from roadrisk.telemetry.movement_prior import MovementPrior
    from roadrisk.telemetry.movement_tracks import ActiveClock

# Step of the walked paths [active h]: half a minute.
STEP_H = 1 / 120
_CANDIDATES = 4000


@dataclass(frozen=True, eq=False)
class Walked:
    """The walked path of one animal; the road is the line y = 0.

    Attributes
    ----------
    xy : ndarray, shape (steps + 1, 2)
        Every `STEP_H` of active time [m].
    crossed_step : ndarray of int64, shape (crossings,)
        Step at which it came clear of the far edge.
    """

    xy: Floats
    crossed_step: Ints


@dataclass(frozen=True, eq=False)
class ActiveDays:
    """Active days in a row, and when each begins in active time.

    Attributes
    ----------
    day : ndarray of int64, shape (days,)
        Since 1970-01-01.
    hours : ndarray, shape (days,)
        Active hours.
    begin_step : ndarray of int64, shape (days + 1,)
        Step of a walked path at which the day begins; the last one ends the last day.
    """

    day: Ints
    hours: Floats
    begin_step: Ints


def active_days(clock: ActiveClock, days: int) -> ActiveDays:
    """Return the first active days of a season.

    Parameters
    ----------
    clock : ActiveClock
    days : int
        So many, or as many as one season has.

    Returns
    -------
    ActiveDays
    """
    year = np.arange(365 * 2)
    active = clock.hours_on(year) > 0
    begins = np.flatnonzero(active & ~np.roll(active, 1))
    first = int(begins[0]) if len(begins) else 0
    season = int(np.argmin(np.append(active[first:], False))) if len(begins) else 365
    day = np.arange(first, first + min(days, season))
    hours = clock.hours_on(day)
    steps = np.concatenate([[0], np.cumsum(np.round(hours / STEP_H))]).astype(np.int64)
    return ActiveDays(day, hours, steps)


def draw_animals(
    animals: int,
    prior: MovementPrior,
    rng: np.random.Generator,
    fitted: Sequence[TrackFit] = (),
) -> Floats:
    """Draw the parameters of animals of one species.

    Parameters
    ----------
    animals : int
    prior : MovementPrior
        The common values are drawn from it, and the animals' own about them
        (`MovementPrior.alike`).
    rng : numpy.random.Generator
    fitted : sequence of TrackFit, optional
        Each animal then walks by the parameters of one of these, drawn with its weights, about
        one centre.

    Returns
    -------
    ndarray, shape (animals, 5)
        As `movement_fit` orders them.
    """
    if fitted:
        rows = []
        for which in rng.integers(len(fitted), size=animals):
            fit = fitted[which]
            rows.append(fit.pars[rng.choice(len(fit.pars), p=fit.weight), :5])
        return np.array(rows)
    mean, sd = prior.scales()
    # What `movement_pooling` leaves for the common value of the species.
    common_sd = np.sqrt(np.maximum(sd**2 - prior.alike**2, (0.3 * sd) ** 2))
    pars = np.zeros((_CANDIDATES, 5))
    pars[:, :3] = rng.normal(mean, common_sd, (_CANDIDATES, 3))
    weight = np.ones(_CANDIDATES)
    if prior.speed_m_per_h is not None:
        with_speed = log_prior(pars, prior) - log_prior(pars, replace(prior, speed_m_per_h=None))
        weight = np.exp(with_speed - with_speed.max())
    common = pars[rng.choice(_CANDIDATES, p=weight / weight.sum())]
    out = np.tile(common, (animals, 1))
    out[:, :3] += rng.normal(0, np.minimum(prior.alike, sd), (animals, 3))
    out[:, 3:] = rng.normal(0, prior.longish, (animals, 2))
    return out


def walk(
    pars: Floats, steps: int, distance_m: float, width_m: float, rng: np.random.Generator
) -> Walked:
    """Let one animal walk about a centre beside the road.

    Parameters
    ----------
    pars : ndarray, shape (5,)
        ln tau, ln tau_v [h], ln sigma [m], two shape numbers of the home.
    steps : int
        Of `STEP_H`.
    distance_m : float
        From the centre to the road's middle [m].
    width_m : float
        Carriageway, edge to edge [m].
    rng : numpy.random.Generator

    Returns
    -------
    Walked
        A crossing goes from clear of one edge to clear of the other. One that takes less than
        a step there and back is missed.
    """
    place = _walk(pars, rng.standard_normal((steps + 1, 4)))
    sxx, sxy, syy = home_shape(np.exp(pars[2]), pars[3], pars[4])
    xy = place @ np.array([[sxx, sxy], [sxy, syy]]) + np.array([0.0, distance_m])
    return Walked(xy, _crossings(xy[:, 1], width_m / 2))


@njit(cache=True, nogil=True)
def _walk(pars: Floats, noise: Floats) -> Floats:
    """Return standard places, by the exact transition of one step."""
    a, b = np.exp(-pars[0]), np.exp(-pars[1])
    f11, f12, f21, f22, q11, q12, q22 = transition(STEP_H, a, b)
    r1 = np.sqrt(max(q11, 0.0))
    r2 = q12 / r1 if r1 > 0 else 0.0
    r3 = np.sqrt(max(q22 - r2 * r2, 0.0))
    out = np.empty((len(noise), 2))
    for j in range(2):
        x, v = noise[0, j], np.sqrt(a * b) * noise[0, j + 2]
        out[0, j] = x
        for i in range(1, len(noise)):
            n1, n2 = noise[i, j], noise[i, j + 2]
            x, v = f11 * x + f12 * v + r1 * n1, f21 * x + f22 * v + r2 * n1 + r3 * n2
            out[i, j] = x
    return out


def _crossings(y: Floats, half_m: float) -> Ints:
    """Return the steps at which the animal came clear of another edge than before."""
    clear = np.flatnonzero(np.abs(y) > half_m)
    side = np.sign(y[clear])
    return np.asarray(clear[1:][side[1:] != side[:-1]], dtype=np.int64)
