"""At which distances along the roads events gather: network K and cross-K, with envelopes."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, Literal

import numba as nb
import numpy as np

from roadrisk.base.intervals import p_from_draws
from roadrisk.base.progress import Progress, Silent
from roadrisk.hotspots.reach import (
    Reach,
    by_edge,
    distance_on,
    find_reach,
    lies_on,
    pieces_from,
    room_for_pieces,
)

if TYPE_CHECKING:
    from collections.abc import Callable

    from roadrisk.roads.network import Floats, Ints, Network

    Places = tuple[Ints, Floats]

Form = Literal["plain", "per road within", "geometric"]


@dataclass(frozen=True, eq=False)
class KEnvelope:
    """A K function beside the same of redrawn events.

    Attributes
    ----------
    distance_m : ndarray, shape (distances,)
    value : ndarray, shape (distances,)
        Of the observed events: [m] for the forms "plain" and "geometric", [1] for "per road
        within".
    expected : ndarray, shape (distances,)
        Mean of the draws.
    low, high : ndarray, shape (distances,)
        Pointwise envelope of the draws: at each single distance the stated share of draws lies
        inside. A curve may well leave it somewhere by chance.
    p_value : float
        (r + 1) / (n + 1) of the largest standardised excess over all distances, so the one
        figure for the whole curve; 1 where draws never differ.
    draws : int
    level : float
        Share of draws within the envelope at each distance.
    """

    distance_m: Floats
    value: Floats
    expected: Floats
    low: Floats
    high: Floats
    p_value: float
    draws: int
    level: float


def network_k(
    network: Network,
    events: Places,
    distance_m: Floats,
    *,
    others: Places | None = None,
    form: Form = "plain",
    reach: Reach | None = None,
) -> Floats:
    """Network K of events, or cross-K of events and others.

    Parameters
    ----------
    network : Network
    events : tuple of ndarray
        Edge, and offset along it [m].
    distance_m : ndarray, shape (distances,)
        Rising [m].
    others : tuple of ndarray, optional
        For cross-K: how many of these lie within a distance of an event.
    form : {"plain", "per road within", "geometric"}
        See notes.
    reach : Reach, optional
        Of `reach.find_reach` for more than the longest distance, where the same network is asked
        many times.

    Returns
    -------
    ndarray, shape (distances,)
        NaN with fewer than 2 events (cross-K: without events or others).

    Notes
    -----
    Plain: K(t) = L / (n (n - 1)) times the ordered pairs within t; cross-K: L / (n_A n_B) times
    the pairs (Okabe & Yamada 2001, Geogr. Anal. 33:271-290; cross-K from memory), L the length of
    road. It depends on how the roads branch: compare with draws, never with K(t) = t.
    Per road within: that divided by the mean length of road within t of the events, so 1 for
    events without regard to each other. Geometric: every pair divided by the number of places on
    the network exactly as far from the event (Ang, Baddeley & Nair 2012, Scand. J. Stat.
    39:591-617); K(t) = t for even events on a network without ends.
    """
    cross = others is not None
    a, b = events, events if others is None else others
    n, m = len(a[0]), len(b[0])
    pairs = n * m if cross else n * (n - 1)
    distance = np.asarray(distance_m, np.float64)
    if pairs == 0:
        return np.full(len(distance), np.nan)
    longest = float(distance[-1]) * (1 + 1e-9) + 1e-9
    first, order = by_edge(np.asarray(b[0], np.int64), network.edges)
    counted, road = _count(
        (reach or find_reach(network, longest)).arrays(network),
        np.asarray(a[0], np.int64), np.asarray(a[1], np.float64), first, order,
        np.asarray(b[1], np.float64), not cross, distance, longest,
        form == "geometric", form == "per road within",
    )  # fmt: skip
    value = np.asarray(network.length_m / pairs * np.cumsum(counted), np.float64)
    if form == "per road within":
        mean = road / n
        return np.divide(value, mean, out=np.full(len(value), np.nan), where=mean > 0)
    return value


def k_with_envelope(
    network: Network,
    events: Places,
    distance_m: Floats,
    redraw: Callable[[int], Places],
    *,
    draws: int,
    others: Places | None = None,
    form: Form = "plain",
    level: float = 0.90,
    progress: Progress | None = None,
) -> KEnvelope:
    """Compare network K or cross-K with the same of redrawn events.

    Parameters
    ----------
    network : Network
    events : tuple of ndarray
        Edge, and offset along it [m].
    distance_m : ndarray, shape (distances,)
        Rising [m].
    redraw : callable
        Called with 0, 1, … `draws` - 1, gives edges and offsets of as many redrawn events. What
        it keeps together decides what the envelope means: with events drawn one by one every
        animal's own crossings count as gathering, so move an animal's or observer's events as a
        whole.
    draws : int
    others : tuple of ndarray, optional
        As in `network_k`; they stay where they are.
    form : {"plain", "per road within", "geometric"}
        As in `network_k`.
    level : float
        Share of draws within the envelope at each distance.
    progress : Progress, optional

    Returns
    -------
    KEnvelope
    """
    distance = np.asarray(distance_m, np.float64)
    reach = find_reach(network, float(distance[-1]) * (1 + 1e-9) + 1e-9)

    def k(places: Places) -> Floats:
        return network_k(network, places, distance, others=others, form=form, reach=reach)

    observed = k(events)
    drawn = np.empty((draws, len(distance)))
    with (progress or Silent()).step("Network K", draws) as tick:
        for n in range(draws):
            drawn[n] = k(redraw(n))
            tick()
    # The observation is one of all when it comes to mean and spread, so that all are treated
    # alike and the p-value is exact.
    every = np.vstack([observed, drawn])
    mean, spread = every.mean(axis=0), every.std(axis=0)
    varies = spread > 1e-12 * np.maximum(np.abs(mean), 1e-300)
    excess = ((every - mean)[:, varies] / spread[varies]).max(axis=1, initial=0.0)
    low, high = np.quantile(drawn, [(1 - level) / 2, (1 + level) / 2], axis=0)
    return KEnvelope(
        distance, observed, np.asarray(drawn.mean(axis=0)), low, high,
        float(p_from_draws(excess[0], excess[1:])), draws, level,
    )  # fmt: skip


@nb.njit(cache=True)
def _count(
    arrays: Any,
    edge: Ints,
    offset: Floats,
    first: Ints,
    order: Ints,
    other_offset: Floats,
    same: bool,
    distance: Floats,
    longest: float,
    geometric: bool,
    with_road: bool,
) -> tuple[Floats, Floats]:
    """Pairs that first count at each distance, and the road within each distance of all events."""
    edges = len(arrays[0])
    room = room_for_pieces(len(arrays[3]) - 1, edges)
    starts, tops = np.empty(2 * edges + 4), np.empty(2 * edges + 4)
    counted = np.zeros(len(distance))
    road = np.zeros(len(distance))
    for i in range(len(edge)):
        pieces = pieces_from(edge[i], offset[i], longest, arrays, room)
        fronts = 0
        if geometric or with_road:
            fronts = _fronts(pieces, room, starts, tops)
        if geometric:
            starts[:fronts].sort()
            tops[:fronts].sort()
        if with_road:
            for t in range(len(distance)):
                for n in range(fronts):
                    road[t] += max(min(distance[t], tops[n]) - starts[n], 0.0)
        for n in range(pieces):
            f = room[0][n]
            for p in range(first[f], first[f + 1]):
                j = order[p]
                if (same and i == j) or not lies_on(n, other_offset[j], room):
                    continue
                d = distance_on(n, other_offset[j], room)
                slot = np.searchsorted(distance, d - 1e-9 * max(1.0, d))
                if slot == len(distance):
                    continue
                share = 1.0
                if geometric:
                    begun = np.searchsorted(starts[:fronts], d)
                    ended = np.searchsorted(tops[:fronts], d)
                    if begun > ended:
                        share = 1.0 / float(begun - ended)
                counted[slot] += share
    return counted, road


@nb.njit(cache=True)
def _fronts(pieces: int, room: Any, starts: Floats, tops: Floats) -> int:
    """Walk all roads away from a place at one speed: where each front sets in and ends."""
    fronts = 0
    for n in range(pieces):
        lo, hi, at_lo, at_hi = room[1][n], room[2][n], room[3][n], room[4][n]
        top = (at_lo + at_hi + hi - lo) / 2.0
        for at in (at_lo, at_hi):
            if at < np.inf and top > at:
                # Where the other end lies out of reach, this front runs to it at least.
                starts[fronts], tops[fronts] = at, min(top, at + hi - lo)
                fronts += 1
    return fronts
