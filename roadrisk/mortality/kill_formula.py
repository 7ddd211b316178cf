"""The chance that an animal which crosses a lane is killed, as a formula."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import ArrayLike, NDArray

    Floats = NDArray[np.float64]


def chance_killed(
    vehicles_per_min: ArrayLike,
    width_m: ArrayLike,
    speed_m_min: ArrayLike,
    *,
    angle_deg: ArrayLike = 0.0,
) -> Floats:
    """Return the chance of being killed on one crossing of one lane, without stops.

    Parameters
    ----------
    vehicles_per_min : array_like
        Vehicles that pass on the lane, at random times (a Poisson process) [1/min].
    width_m : array_like
        Strip in which a passing vehicle kills, along a way square to the road [m].
    speed_m_min : array_like
        Walking speed, > 0 [m/min].
    angle_deg : array_like
        How far the way leans from square to the road, below 90 [degrees].

    Returns
    -------
    ndarray
        Of the shape that the parameters make together.

    Notes
    -----
    ``p = 1 − exp(−N a / (v cos α))``: the chance that one or more vehicles come while the
    animal is on the strip. Hels & Buchwald 2001, Biological Conservation 99:331–340 (the
    formula from memory; it is that of no arrival of a Poisson process).
    """
    return np.asarray(
        -np.expm1(-np.asarray(vehicles_per_min) * minutes_on_strip(width_m, speed_m_min, angle_deg))
    )


def minutes_on_strip(
    width_m: ArrayLike, speed_m_min: ArrayLike, angle_deg: ArrayLike = 0.0
) -> Floats:
    """Return the time on the strip of one lane in which a vehicle kills, stops left out [min].

    Parameters
    ----------
    width_m, speed_m_min, angle_deg : array_like
        As in `chance_killed`.

    Returns
    -------
    ndarray
    """
    slant = np.cos(np.radians(angle_deg))
    return np.asarray(np.asarray(width_m) / (np.asarray(speed_m_min) * slant), dtype=np.float64)


def chance_over_lanes(chances: ArrayLike) -> Floats:
    """Return the chance of being killed on any of several lanes, crossed one after another.

    Parameters
    ----------
    chances : array_like, shape (..., lanes)
        Of each lane.

    Returns
    -------
    ndarray, shape (...)
        ``1 − Π (1 − p)``. With one strip and speed for all lanes it doesn't matter how the
        vehicles are shared out among them.
    """
    return np.asarray(1.0 - np.prod(1.0 - np.asarray(chances, dtype=np.float64), axis=-1))


def hits_expected(
    own: ArrayLike,
    other: ArrayLike,
    minutes: ArrayLike,
    *,
    stop: ArrayLike = 0.0,
    stop_minutes: ArrayLike = 0.0,
    strip_share: ArrayLike = 1.0,
) -> Floats:
    """Return −log of the chance to survive one lane, where an animal may stop for vehicles.

    An animal on a lane stops for a share `stop` of the vehicles that pass without hitting it,
    and stays until `stop_minutes` have gone by without another that makes it stop. On other
    lanes every vehicle is such a one. On its own lane that depends on where wheels run: if all
    run in one track, they hit whatever is on the strip and nothing beside it (`strip_share` 1,
    and time beside the strip doesn't matter); if each has a track of its own, a vehicle hits
    with chance strip / lane wherever the animal is, and else may make it stop before the next.

    Parameters
    ----------
    own, other : array_like
        Vehicles on this lane, and on all others of the road [1/min].
    minutes : array_like
        Time on the strip while walking (`minutes_on_strip`).
    stop : array_like
        Share of vehicles for which it stops.
    stop_minutes : array_like
        How long [min].
    strip_share : array_like
        Above 0, at most 1.

    Returns
    -------
    ndarray
        The chance of being killed is ``1 − exp(−this)``; lanes add up.

    Notes
    -----
    Hits come at the rate θ = own · strip_share during minutes / strip_share of walking, stops
    at σ = stop · (other + (1 − strip_share) own). A stop lasts for a busy period B of a Poisson
    stream of rate σ with renewed spells of length D. From the first arrival of such a spell,
    ``E exp(−θB) = (σ+θ) e / (θ + σ e)`` with ``e = exp(−(σ+θ) D)``, and survival is
    ``exp(−minutes / strip_share · (θ + σ (1 − E exp(−θB))))``: the project's own derivation,
    held against simulated events in `tests/truth`.
    """
    share = np.asarray(strip_share, dtype=np.float64)
    hit = np.asarray(own) * share
    halts = np.asarray(stop) * (np.asarray(other) + (1.0 - share) * np.asarray(own))
    both = halts + hit
    clear = np.exp(-both * np.asarray(stop_minutes))
    below = hit + halts * clear
    unhurt = np.divide(both * clear, below, out=np.ones(np.shape(below)), where=below > 0)
    return np.asarray(np.asarray(minutes) / share * (hit + halts * (1.0 - unhurt)))


def bunching_share(minutes: ArrayLike, vehicles: ArrayLike, gap_s: ArrayLike) -> Floats:
    """Return what bunched traffic leaves of the hits that the same flow at random times makes.

    Parameters
    ----------
    minutes : array_like
        Time on the strip, > 0 [min].
    vehicles : array_like
        Mean number in a bunch, 1 or more. Bunches come at random times.
    gap_s : array_like
        Between two vehicles of a bunch [s].

    Returns
    -------
    ndarray
        Factor on −log of survival, 1/vehicles to 1.

    Notes
    -----
    A bunch of k vehicles catches an animal that is on the strip in any of k spells of length
    τ, which together last τ + (k − 1) min(gap, τ). Bunches are a Poisson process of rate
    N / k̄, so only the mean k̄ counts, and gaps longer than τ leave all as it is.
    """
    on = np.asarray(minutes, dtype=np.float64)
    many = np.asarray(vehicles, dtype=np.float64)
    gap = np.minimum(np.asarray(gap_s) / 60.0, on)
    return np.asarray((1.0 + (many - 1.0) * gap / on) / many)
