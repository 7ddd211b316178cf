"""How wide a kernel the events themselves ask for, or the words why they can't say."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numba as nb
import numpy as np

from roadrisk.hotspots.kernel_shapes import GAUSSIAN_CUT, SHAPES, Shape, height
from roadrisk.hotspots.paths import PathTable, Split, path_table
from roadrisk.hotspots.reach import by_edge

if TYPE_CHECKING:
    from roadrisk.roads.network import Floats, Ints, Network

SAME_PLACE_M = 0.01
LEAST_UNITS = 3
# Half-widths whose log-likelihood is this near the best are borne by the data as well: half the
# 95 % point of a chi-square with one degree of freedom, twice, because the distance of two events
# counts at both of them.
NEAR_BEST = 2 * 1.92
# Or, where units differ much, within so many standard errors of the difference over units:
# one-sided 5 % of the normal, times the root of 2 for the same reason.
STANDARD_ERRORS = 1.645 * 2**0.5


@dataclass(frozen=True, eq=False)
class Bandwidth:
    """A half-width chosen from the events.

    Attributes
    ----------
    value_m : float
        Chosen half-width [m]; NaN where the data can't say. The placement error where they
        would take less than that.
    low_m, high_m : float
        Range that the data bear as well [m]; NaN with the value, `high_m` infinite where no
        tried half-width was too wide.
    tried_m : ndarray, shape (tried,)
    score : ndarray, shape (tried,)
        Mean log-likelihood of an event [log of 1/m]; the higher the better.
    background : ndarray, shape (tried,)
        Share of events that fit no gathering at this half-width.
    identified : bool
    words : str
        What was found, or why nothing was.
    """

    value_m: float
    low_m: float
    high_m: float
    tried_m: Floats
    score: Floats
    background: Floats
    identified: bool
    words: str


def half_widths_to_try(low_m: float = 25.0, high_m: float = 1000.0, ratio: float = 1.15) -> Floats:
    """Half-widths in even steps of their logarithm.

    Parameters
    ----------
    low_m, high_m : float
        First and last [m].
    ratio : float
        At most so many times the one before.

    Returns
    -------
    ndarray
        [m].
    """
    count = 1 + int(np.ceil(np.log(high_m / low_m) / np.log(ratio) - 1e-9))
    return np.geomspace(low_m, high_m, max(count, 2))


def choose_bandwidth(
    network: Network,
    edge: Ints,
    offset_m: Floats,
    weight: Floats,
    unit: Ints,
    *,
    tried_m: Floats,
    placement_error_m: float = 0.0,
    shape: Shape = "quartic",
    split: Split = "continuous",
    background: float | None = None,
    table: PathTable | None = None,
) -> Bandwidth:
    """Choose the kernel's half-width under which each unit's events are foretold best by others.

    Parameters
    ----------
    network : Network
    edge, offset_m, weight : ndarray, shape (events,)
        Events: edge, offset along it [m], weight. Pieces of an uncertain report are events of
        one unit.
    unit : ndarray of int64, shape (events,)
        The animal or observer.
    tried_m : ndarray, shape (tried,)
        Half-widths to look at [m], rising, e.g. `half_widths_to_try`.
    placement_error_m : float
        Nothing below this is tried [m]: it would be the error's width, not the animals'.
    shape : {"quartic", "epanechnikov", "gaussian"}
    split : {"continuous", "discontinuous"}
    background : float, optional
        Share of events spread evenly over the network. Left out, it is estimated with every
        half-width, so that a lonely event doesn't force a wide kernel on all others.
    table : PathTable, optional
        Of `paths.path_table` for the same split and a reach of at least the widest tried, where
        the same network is asked many times (in every draw of a null model).

    Returns
    -------
    Bandwidth

    Notes
    -----
    Leave-one-out likelihood (Habbema, Hermans & van den Broek 1974, from memory), with all events
    of a unit left out together, and events at the same place (to the centimetre) left out of each
    other's sums: both would draw the half-width to 0. The density of event i at half-width h is
    (1 - b) sum_j w_j K_h(x_j -> x_i) / sum_j w_j + b / L over the j that are left, L the length
    of road. The range borne by the data reaches to the first half-width on either side whose
    summed log-likelihood is more than 3.84 below the best and more than 2.33 standard errors of
    the difference over the units (a rule of thumb, twice the usual 1.92 and the root of 2 times
    1.645, because each distance between two events counts at both).
    """
    tried = np.asarray(tried_m, np.float64)
    tried = tried[tried > placement_error_m]
    if placement_error_m > 0:
        tried = np.concatenate([[placement_error_m], tried])
    own = np.asarray(edge, np.int64)
    place = _place_numbers(network, own, np.asarray(offset_m, np.float64))
    left = _weight_of_others(place, np.asarray(unit, np.int64), np.asarray(weight, np.float64))
    counted = left > 0
    units = np.unique(unit[counted])
    if len(units) < LEAST_UNITS:
        nothing = np.full(len(tried), np.nan)
        return Bandwidth(
            np.nan, np.nan, np.nan, tried, nothing, nothing, False,
            f"Not identified: events of {len(units)} different animals and observers at different "
            f"places, at least {LEAST_UNITS} are needed.",
        )  # fmt: skip
    if table is None:
        table = path_table(network, float(tried[-1]), split=split)
    first, order = by_edge(own, network.edges)
    sums = _sums_of_others(
        network.edge_length_m, table.first, table.entry, table.distance_m, table.weight, own,
        np.asarray(offset_m, np.float64), np.asarray(weight, np.float64), first, order,
        np.asarray(unit, np.int64), place, tried, SHAPES[shape], GAUSSIAN_CUT,
    )  # fmt: skip
    density = np.maximum(sums[counted], 0.0) / left[counted, None]
    w, even = weight[counted], 1.0 / network.length_m
    if background is None:
        share = _background(density, w, even)
    else:
        share = np.full(len(tried), float(background))
    mixed = (1.0 - share) * density + share * even
    logs = w[:, None] * np.log(np.where(mixed > 0, mixed, np.finfo(float).tiny))
    _, of = np.unique(unit[counted], return_inverse=True)
    by_unit = np.zeros((len(units), len(tried)))
    np.add.at(by_unit, of, logs)
    even_by_unit = np.asarray(np.bincount(of, w * np.log(even)), np.float64)
    return _judged(tried, by_unit, even_by_unit, share, float(w.sum()), placement_error_m)


def _judged(
    tried: Floats,
    by_unit: Floats,
    even_by_unit: Floats,
    share: Floats,
    total: float,
    placement_error_m: float,
) -> Bandwidth:
    """Find the best half-width, the range borne as well, and the words."""
    score = by_unit.sum(axis=0)
    best = int(np.argmax(score))
    borne = _as_good(by_unit, by_unit[:, [best]])
    no_gathering = bool(_as_good(even_by_unit[:, None], by_unit[:, [best]])[0])
    held = best == 0 and placement_error_m > 0
    last = len(tried) - 1
    low = float(tried[max(int(np.argmax(borne)) - 1, 0)])
    high = float(tried[min(last - int(np.argmax(borne[::-1])) + 1, last)])
    looked = f"{tried[0]:.0f} to {tried[-1]:.0f} m"
    value = float(tried[best])
    words = ""
    if no_gathering:
        words = "Not identified: events spread evenly along the roads fit as well."
    elif borne[0] and borne[-1] and not held:
        words = f"Not identified: all half-widths from {looked} fit about as well."
    elif best == last or (best == 0 and not held):
        words = (
            f"Not identified: the best of {looked} is the {'widest' if best else 'narrowest'}, "
            "so the best one may lie outside."
        )
    if words:
        value = low = high = np.nan
    elif held:
        words = (
            f"The events would take a half-width of {value:.0f} m or less; that is the placement "
            "error, and no narrower one is used."
        )
    else:
        words = f"Half-width {value:.0f} m"
    if np.isfinite(value):
        if borne[0]:
            low = placement_error_m
        if borne[-1]:
            high = np.inf
        at_most = "with no upper limit found" if borne[-1] else f"to {high:.0f} m"
        words += f" The data bear {low:.0f} m {at_most}." if held else (
            f"; the data bear {low:.0f} m {at_most}."
        )  # fmt: skip
    return Bandwidth(
        value, low, high, tried, score / total, share, not held and bool(np.isfinite(value)), words
    )


def _as_good(by_unit: Floats, best: Floats) -> np.ndarray:
    """Mark columns whose log-likelihood is about as good as the best one's."""
    behind = best - by_unit
    units = len(behind)
    spread = behind - behind.mean(axis=0)
    error = np.sqrt(units / (units - 1) * (spread**2).sum(axis=0))
    return np.asarray(behind.sum(axis=0) <= np.maximum(NEAR_BEST, STANDARD_ERRORS * error))


def _background(density: Floats, weight: Floats, even: float) -> Floats:
    """Share of the even part with the highest likelihood, for every column; by bisection."""
    low = np.full(density.shape[1], 1e-9)
    high = np.ones(density.shape[1])
    for _ in range(60):
        share = (low + high) / 2
        slope = weight @ ((even - density) / ((1 - share) * density + share * even))
        low = np.where(slope > 0, share, low)
        high = np.where(slope > 0, high, share)
    return (low + high) / 2


def _place_numbers(network: Network, edge: Ints, offset: Floats) -> Ints:
    """Give events at the same place the same number; the ends of an edge are its nodes."""
    length = network.edge_length_m[edge]
    key = np.column_stack([edge, np.round(offset / SAME_PLACE_M).astype(np.int64)])
    at_u, at_v = offset < SAME_PLACE_M, length - offset < SAME_PLACE_M
    key[at_u] = np.column_stack([-1 - network.edge_u[edge[at_u]], np.zeros(at_u.sum(), int)])
    key[at_v] = np.column_stack([-1 - network.edge_v[edge[at_v]], np.zeros(at_v.sum(), int)])
    return np.unique(key, axis=0, return_inverse=True)[1].reshape(-1).astype(np.int64)


def _weight_of_others(place: Ints, unit: Ints, weight: Floats) -> Floats:
    """Weight of the events of other units at other places, for each event."""
    both = np.unique(np.column_stack([place, unit]), axis=0, return_inverse=True)[1].reshape(-1)
    left: Floats = weight.sum() - np.bincount(place, weight)[place]
    left = left - np.bincount(unit, weight)[unit] + np.bincount(both, weight)[both]
    return np.where(left > 1e-9 * weight.sum(), left, 0.0)


@nb.njit(cache=True)
def _sums_of_others(
    length: Floats,
    first: Ints,
    entry: Ints,
    distance: Floats,
    share: Floats,
    edge: Ints,
    offset: Floats,
    weight: Floats,
    on_first: Ints,
    on: Ints,
    unit: Ints,
    place: Ints,
    tried: Floats,
    shape: int,
    cut: float,
) -> Floats:
    """Kernel sums at every event, for all half-widths at once."""
    out = np.zeros((len(edge), len(tried)))
    widest = tried[-1]
    for j in range(len(edge)):
        e, s, w = edge[j], offset[j], weight[j]
        for p in range(on_first[e], on_first[e + 1]):
            i = on[p]
            if unit[i] != unit[j] and place[i] != place[j]:
                _add(out, i, w, abs(offset[i] - s), tried, shape, cut)
        for side in range(2):
            gone = s if side == 0 else length[e] - s
            if gone >= widest:
                continue
            for row in range(first[2 * e + side], first[2 * e + side + 1]):
                d = gone + distance[row]
                if d >= widest:
                    continue
                f = entry[row] // 2
                for p in range(on_first[f], on_first[f + 1]):
                    i = on[p]
                    if unit[i] == unit[j] or place[i] == place[j]:
                        continue
                    x = offset[i] if entry[row] % 2 == 0 else length[f] - offset[i]
                    _add(out, i, w * share[row], d + x, tried, shape, cut)
    return out


@nb.njit(cache=True)
def _add(out: Floats, i: int, w: float, d: float, tried: Floats, shape: int, cut: float) -> None:
    for g in range(len(tried) - 1, -1, -1):
        if d >= tried[g]:
            return
        out[i, g] += w * height(d, tried[g], shape, cut)
