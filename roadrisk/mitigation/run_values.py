"""What a measure averts on a run of road, and where a fence moves deaths to.

A run is places ``first`` to ``last`` (not in it) of one line. In each draw a measure takes the
share e of the deaths on the run away. A fence gives some back: animals walk along it to its ends.
Of what it averts at distance d from an end, f · (1 − d/ℓ) comes back (ℓ: how far animals walk
along a fence), never more than f from both ends together, so on place i

    averted = e · D_i · (1 − f · w_i),    w_i = min(1, left_i + right_i),

where left and right are means of max(0, 1 − d/ℓ) over the place. On a fence no longer than ℓ all
is within reach of its ends (w = 1). The deaths that come back are conserved: they fall on the road
beyond the ends (`moved_deaths`).

That the share falls linearly is the project's own plain choice: published counts show deaths
gathered at fence ends, not a curve.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from numba import njit

if TYPE_CHECKING:
    from roadrisk.roads.network import Floats, Ints


def run_value_draws(
    deaths: Floats,
    length_m: Floats,
    first: Ints,
    last: Ints,
    effect: Floats,
    displaced: Floats | None,
    end_m: Floats | None,
    barrier: bool,
) -> Floats:
    """Return what a measure averts on a few runs, draw by draw.

    Parameters
    ----------
    deaths : ndarray, shape (places, draws)
        A year.
    length_m : ndarray, shape (places,)
        [m].
    first, last : ndarray of int64, shape (runs,)
        Places of each run, the last not in it.
    effect : ndarray, shape (draws,)
        Share of deaths averted, e; below 0 where the measure does harm.
    displaced : ndarray, shape (draws,), or None
        Share of what is averted at an end that comes back there, f. For barriers only.
    end_m : ndarray, shape (draws,), or None
        How far animals walk along a fence, ℓ [m]; few distinct values. For barriers only.
    barrier : bool
        Whether deaths move to the ends.

    Returns
    -------
    ndarray, shape (runs, draws)
        Deaths averted a year, net of those that come back.
    """
    total = np.array([deaths[a:b].sum(axis=0) for a, b in zip(first, last, strict=True)])
    whole = total.reshape(len(first), deaths.shape[1]) * effect
    if not barrier or displaced is None or end_m is None:
        return whole
    return whole - moved_draws(deaths, length_m, first, last, effect, displaced, end_m)


def moved_draws(
    deaths: Floats,
    length_m: Floats,
    first: Ints,
    last: Ints,
    effect: Floats,
    displaced: Floats,
    end_m: Floats,
) -> Floats:
    """Return the deaths that fences move to their ends, draw by draw.

    Parameters
    ----------
    deaths : ndarray, shape (places, draws)
    length_m : ndarray, shape (places,)
    first, last : ndarray of int64, shape (runs,)
    effect, displaced, end_m : ndarray, shape (draws,)
        As in `run_value_draws`.

    Returns
    -------
    ndarray, shape (runs, draws)
        Deaths a year, of both ends together: Σ e · D_i · f · w_i.
    """
    at_left, at_right = _moved_to_ends(deaths, length_m, first, last, effect, displaced, end_m)
    return at_left + at_right


def mean_run_values(
    deaths: Floats,
    length_m: Floats,
    first: Ints,
    last: Ints,
    effect: Floats,
    displaced: Floats | None,
    end_m: Floats | None,
    barrier: bool,
) -> Floats:
    """Return what a measure averts on very many runs, as means over the draws.

    Parameters
    ----------
    deaths : ndarray, shape (places, draws)
    length_m : ndarray, shape (places,)
    first, last : ndarray of int64, shape (runs,)
    effect : ndarray, shape (draws,)
    displaced, end_m : ndarray, shape (draws,), or None
    barrier : bool
        As in `run_value_draws`.

    Returns
    -------
    ndarray, shape (runs,)
        Means of `run_value_draws` over draws.

    Notes
    -----
    For each distinct ℓ one pass over the places: what comes back at the left end of a run longer
    than ℓ depends on where it begins alone, and at the right end on where it ends; on a shorter
    run all comes back. So a run takes a few differences of running sums.
    """
    draws = deaths.shape[1]
    if not barrier or displaced is None or end_m is None:
        total = _running(deaths @ (effect / draws))
        return np.asarray(total[last] - total[first])
    reaches = np.unique(end_m)
    weight = np.where(end_m == reaches[:, None], effect * displaced / draws, 0.0)
    means = deaths @ np.vstack([effect / draws, weight]).T
    place_m = _running(np.asarray(length_m, dtype=np.float64))
    total = _running(means[:, 0])
    value = total[last] - total[first]
    for k, reach in enumerate(reaches):
        back = np.ascontiguousarray(means[:, k + 1])
        _take_back(
            value, np.asarray(first), np.asarray(last), _running(back), place_m,
            *_back_at_ends(back, place_m, float(reach)), float(reach),
        )  # fmt: skip
    return np.asarray(value)


def moved_deaths(
    deaths: Floats,
    length_m: Floats,
    line_first: Ints,
    first: Ints,
    last: Ints,
    effect: Floats,
    displaced: Floats,
    end_m: Floats,
    *,
    fenced: np.ndarray | None = None,
) -> Floats:
    """Return where the deaths fall that fences move to their ends.

    Parameters
    ----------
    deaths : ndarray, shape (places, draws)
        A year, before.
    length_m : ndarray, shape (places,)
        [m].
    line_first : ndarray of int64, shape (lines + 1,)
        `RoadLines.first`.
    first, last : ndarray of int64, shape (runs,)
        Places of each fence; none touches another.
    effect, displaced, end_m : ndarray, shape (draws,)
        e, f and ℓ [m] of `run_value_draws`.
    fenced : ndarray of bool, shape (places,), optional
        Where other fences stand.

    Returns
    -------
    ndarray, shape (places, draws)
        Deaths a year that are added, on the road of the line within ℓ of each end and up to the
        next fence, most at the end and falling linearly to none at ℓ. Where no road is left
        beyond an end they stay on the fence's own place there. They add up to `moved_draws`.
    """
    stop = np.zeros(len(length_m), dtype=bool) if fenced is None else fenced.copy()
    for a, b in zip(first, last, strict=True):
        stop[a:b] = True
    ends = _moved_to_ends(deaths, length_m, first, last, effect, displaced, end_m)
    out = np.zeros(deaths.shape)
    line = np.searchsorted(line_first, first, side="right") - 1
    for k, (a, b) in enumerate(zip(first, last, strict=True)):
        begin, end = line_first[line[k]], line_first[line[k] + 1]
        left = np.arange(a - 1, begin - 1, -1)
        right = np.arange(b, end)
        for amount, beyond, own in ((ends[0][k], left, a), (ends[1][k], right, b - 1)):
            blocked = np.flatnonzero(stop[beyond])
            open_road = beyond[: blocked[0]] if len(blocked) else beyond
            _lay_down(out, amount, open_road, int(own), length_m, end_m)
    return out


def _lay_down(
    out: Floats, amount: Floats, places: Ints, own: int, length_m: Floats, end_m: Floats
) -> None:
    """Spread deaths over places that follow one another away from an end."""
    edge = np.concatenate([[0.0], np.cumsum(length_m[places])])
    for reach in np.unique(end_m):
        these = np.flatnonzero(end_m == reach)
        share = np.diff(_area(edge, float(reach)))
        near = share > 0
        if near.any():
            part = share[near, None] * amount[these] / share[near].sum()
            out[np.ix_(places[near], these)] += part
        else:
            out[own, these] += amount[these]


def _moved_to_ends(
    deaths: Floats,
    length_m: Floats,
    first: Ints,
    last: Ints,
    effect: Floats,
    displaced: Floats,
    end_m: Floats,
) -> tuple[Floats, Floats]:
    """Deaths a year that come back at the left and the right end of each run, (runs, draws)."""
    at_left = np.zeros((len(first), deaths.shape[1]))
    at_right = np.zeros_like(at_left)
    for reach in np.unique(end_m):
        these = end_m == reach
        averted = displaced[these] * effect[these]
        for k, (a, b) in enumerate(zip(first, last, strict=True)):
            left, right = _end_weights(length_m[a:b], float(reach))
            inside = deaths[a:b, these]
            at_left[k, these] = averted * (left @ inside)
            at_right[k, these] = averted * (right @ inside)
    return at_left, at_right


def _end_weights(length_m: Floats, reach: float) -> tuple[Floats, Floats]:
    """Return shares of w_i that belong to the left and the right end, each (places,)."""
    edge = np.concatenate([[0.0], np.cumsum(length_m)])
    left = np.diff(_area(edge, reach)) / length_m
    right = -np.diff(_area(edge[-1] - edge, reach)) / length_m
    both = np.maximum(left + right, 1.0)  # w is at most 1
    return left / both, right / both


def _area(distance_m: Floats, reach: float) -> Floats:
    """Integrate max(0, 1 − t/ℓ) from 0 to each distance [m]."""
    if reach <= 0:
        return np.zeros_like(distance_m)
    t = np.minimum(distance_m, reach)
    return np.asarray(t - t * t / (2 * reach))


def _running(values: Floats) -> Floats:
    return np.concatenate([[0.0], np.cumsum(values)])


@njit(cache=True)
def _back_at_ends(back: Floats, place_m: Floats, reach: float) -> tuple[Floats, Floats]:
    """Return what comes back at an end at each border of places, to its right and left.

    Of fences longer than ℓ; borders near a line's end get wrong numbers that nobody asks for.
    """
    size = len(back)
    left, right = np.zeros(size + 1), np.zeros(size + 1)
    if reach <= 0:
        return left, right
    for k in range(size + 1):
        before, i = 0.0, k
        while i < size and before < reach:
            after = min(place_m[i + 1] - place_m[k], reach)
            area = (after - before) * (1.0 - (after + before) / (2 * reach))
            left[k] += back[i] * area / (place_m[i + 1] - place_m[i])
            before = after
            i += 1
        before, i = 0.0, k - 1
        while i >= 0 and before < reach:
            after = min(place_m[k] - place_m[i], reach)
            area = (after - before) * (1.0 - (after + before) / (2 * reach))
            right[k] += back[i] * area / (place_m[i + 1] - place_m[i])
            before = after
            i -= 1
    return left, right


@njit(cache=True)
def _take_back(
    value: Floats,
    first: Ints,
    last: Ints,
    total: Floats,
    place_m: Floats,
    left: Floats,
    right: Floats,
    reach: float,
) -> None:
    for k in range(len(value)):
        a, b = first[k], last[k]
        if place_m[b] - place_m[a] <= reach:
            value[k] -= total[b] - total[a]
        else:
            value[k] -= left[a] + right[b]
