"""Whether any stretch is denser than its neighbourhood by more than chance.

Events are never moved one by one: an animal crosses near its home again and again, and an
observer reports from where he lives, so single events are no independent evidence. Groups of
events (one animal's crossings, one observer's reports from one place) are moved whole, each to
a random place within its own window of road, and the largest value of a statistic over the
whole network is compared with the observed one.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numba as nb
import numpy as np

from roadrisk.base.intervals import p_from_draws
from roadrisk.base.progress import Progress, Silent
from roadrisk.hotspots.moves import lay_out

if TYPE_CHECKING:
    from scipy import sparse

    from roadrisk.hotspots.events import Events
    from roadrisk.hotspots.strands import Strands
    from roadrisk.roads.network import Floats, Ints

PEAK = 0.9375  # of the quartic kernel of half-width 1
MOST_KEPT = 10_000_000  # numbers, 80 MB


@dataclass(frozen=True, eq=False)
class Chance:
    """Result of the test.

    Attributes
    ----------
    statistic : ndarray, shape (lixels,)
        Observed value [units per metre]; 0 where it is below its mean or fewer than the
        required number of units meet.
    p_value : ndarray, shape (lixels,)
        (r + 1) / (n + 1), r = draws whose largest value over the whole network reaches it.
    largest : ndarray, shape (draws,)
        Largest value of each draw.
    """

    statistic: Floats
    p_value: Floats
    largest: Floats


def compare_with_chance(
    events: Events,
    strands: Strands,
    kernel: sparse.csr_array[Any, tuple[int, int]],
    lixel_length_m: Floats,
    *,
    bandwidth_m: float,
    least_units: int,
    draws: int,
    rng: np.random.Generator,
    progress: Progress | None = None,
) -> Chance:
    """Compare the observed concentration with random positions of the same groups.

    Parameters
    ----------
    events : Events
    strands : Strands
    kernel : scipy.sparse.csr_array, shape (lixels, lixels)
        Of `kernels.lixel_kernel`.
    lixel_length_m : ndarray, shape (lixels,)
    bandwidth_m : float
        Half-width of the kernel [m].
    least_units : int
        So many different animals or observers must reach a lixel.
    draws : int
    rng : numpy.random.Generator
    progress : Progress, optional

    Returns
    -------
    Chance

    Notes
    -----
    At each lixel the kernel sums of the units are added up, every unit's sum capped at one
    event in its place and the largest left out, so that the sum T counts how many different
    animals and observers gather there and no single one can make a stretch. The statistic is
    T - m, with m the mean over all draws and the observation together (so that all are treated
    alike and the test stays exact where groups lie evenly within their windows): how far a
    place stands out from its own neighbourhood. In simulated studies this found planted
    stretches several times as often as the same sum scaled by its null variance or as a
    quasi-Poisson deviance. Largest value over the network: Westfall & Young 1993, from memory.
    A group moves by a uniform draw of its middle within the window that holds it (or as
    `strands.rules` say: `moves`); pieces that would leave the window are folded back at its end.
    """
    lixels = len(lixel_length_m)
    laid = lay_out(events, strands)
    moved = laid.middles(rng.random((draws, events.blocks)))
    fixed = _fixed(events, kernel, lixel_length_m, bandwidth_m, least_units)
    where = (strands.cut_m, strands.order, laid.offset, events.block, laid.low, laid.high)
    observed = np.zeros(lixels)
    _field(events.lixel, fixed, observed)
    total = observed.copy()
    largest = np.empty(draws)
    # The mean of all draws is needed before any draw's maximum: kept where they fit, else made
    # a second time.
    kept = np.empty((draws if draws * lixels <= MOST_KEPT else 0, lixels))
    with (progress or Silent()).step("Comparing with chance", 2 * draws) as tick:
        for start in range(0, draws, 100):
            some = moved[start : start + 100]
            _sums(some, where, fixed, total, kept[start : start + 100])
            tick(len(some))
        mean = total / (draws + 1)
        for start in range(0, draws, 100):
            some = moved[start : start + 100]
            largest[start : start + len(some)] = (
                _maxima_of(kept[start : start + 100], mean)
                if len(kept)
                else _maxima(some, where, fixed, mean)
            )
            tick(len(some))
    statistic = np.maximum(observed - mean, 0.0)
    return Chance(statistic, p_from_draws(statistic, largest), largest)


def kernel_sums(
    events: Events,
    lixel: Ints,
    kernel: sparse.csr_array[Any, tuple[int, int]],
    lixel_length_m: Floats,
    bandwidth_m: float,
    least_units: int,
) -> Floats:
    """Sum the kernels of all units but the largest, each capped at one event in its place.

    Parameters
    ----------
    events : Events
    lixel : ndarray of int64, shape (pieces,)
        Where the pieces lie, in place of `events.lixel`.
    kernel : scipy.sparse.csr_array, shape (lixels, lixels)
    lixel_length_m : ndarray, shape (lixels,)
    bandwidth_m : float
        Half-width of the kernel [m].
    least_units : int

    Returns
    -------
    ndarray, shape (lixels,)
        [units per metre].
    """
    out = np.zeros(len(lixel_length_m))
    _field(lixel, _fixed(events, kernel, lixel_length_m, bandwidth_m, least_units), out)
    return out


def moved_lixels(events: Events, strands: Strands, draws: int, rng: np.random.Generator) -> Ints:
    """Lixels of all pieces in each draw of the null model.

    Parameters
    ----------
    events : Events
    strands : Strands
    draws : int
    rng : numpy.random.Generator

    Returns
    -------
    ndarray of int64, shape (draws, pieces)
    """
    laid = lay_out(events, strands)
    moved = laid.middles(rng.random((draws, events.blocks)))
    where = (strands.cut_m, strands.order, laid.offset, events.block, laid.low, laid.high)
    out = np.empty((draws, len(laid.offset)), np.int64)
    for n in range(draws):
        _place(moved[n], where, out[n])
    return out


def _fixed(
    events: Events,
    kernel: sparse.csr_array[Any, tuple[int, int]],
    lixel_length_m: Floats,
    bandwidth_m: float,
    least_units: int,
) -> Any:
    """Pack what every draw shares as numba takes it: one tuple."""
    first = np.concatenate(
        [[0], np.flatnonzero(np.diff(events.unit)) + 1, [len(events.unit)]]
    ).astype(np.int64)
    return (
        events.weight, first, kernel.indptr.astype(np.int64), kernel.indices.astype(np.int64),
        kernel.data, 1.0 / lixel_length_m, PEAK / bandwidth_m, least_units,
    )  # fmt: skip


@nb.njit(cache=True)
def _field(lixel: Ints, fixed: Any, out: Floats) -> None:
    """Kernel sums of all units but the largest, at every lixel."""
    weight, first, indptr, indices, data, per_m, cap, least_units = fixed
    count = len(out)
    most = np.zeros(count)
    units = np.zeros(count, np.int64)
    own = np.zeros(count)
    met = np.zeros(count, np.bool_)
    touched = np.empty(count, np.int64)
    out[:] = 0.0
    for u in range(len(first) - 1):
        seen = 0
        for p in range(first[u], first[u + 1]):
            row, w = lixel[p], weight[p]
            for k in range(indptr[row], indptr[row + 1]):
                i = indices[k]
                if not met[i]:
                    met[i] = True
                    touched[seen] = i
                    seen += 1
                own[i] += w * data[k]
        for t in range(seen):
            i = touched[t]
            value = min(own[i] * per_m[i], cap)
            own[i] = 0.0
            met[i] = False
            if value > 1e-15:  # reflections can leave a rounding error below 0
                out[i] += value
                units[i] += 1
                most[i] = max(most[i], value)
    for i in range(count):
        out[i] = max(out[i] - most[i], 0.0) if units[i] >= least_units else 0.0


@nb.njit(cache=True)
def _place(moved: Floats, where: Any, lixel: Ints) -> None:
    """Lixels of all pieces when the groups' middles lie at `moved`."""
    cut, order, offset, block, low, high = where
    for p in range(len(offset)):
        b = block[p]
        lo, span = low[b], high[b] - low[b]
        x = (moved[b] - lo + offset[p]) % (2.0 * span)
        if x >= span:
            x = 2.0 * span - x
        lixel[p] = order[min(np.searchsorted(cut, lo + x, side="right") - 1, len(order) - 1)]


@nb.njit(cache=True)
def _sums(moved: Floats, where: Any, fixed: Any, total: Floats, kept: Floats) -> None:
    lixel = np.empty(len(where[2]), np.int64)
    out = np.empty(len(total))
    for n in range(len(moved)):
        _place(moved[n], where, lixel)
        _field(lixel, fixed, out)
        total += out
        if len(kept):
            kept[n] = out


@nb.njit(cache=True)
def _maxima_of(kept: Floats, mean: Floats) -> Floats:
    largest = np.zeros(len(kept))
    for n in range(len(kept)):
        for i in range(len(mean)):
            largest[n] = max(largest[n], kept[n, i] - mean[i])
    return largest


@nb.njit(cache=True)
def _maxima(moved: Floats, where: Any, fixed: Any, mean: Floats) -> Floats:
    lixel = np.empty(len(where[2]), np.int64)
    out = np.empty(len(mean))
    largest = np.zeros(len(moved))
    for n in range(len(moved)):
        _place(moved[n], where, lixel)
        _field(lixel, fixed, out)
        largest[n] = max((out - mean).max(), 0.0)
    return largest
