"""Whether any stretch is denser than its neighbourhood by more than chance.

Events are never moved one by one: an animal crosses near its home again and again, and an
observer reports from where he lives, so single events are no independent evidence. Groups of
events (one animal's crossings, one observer's reports from one place) are moved whole, each to
a random place within its own window of road, and the largest value of a statistic over the
whole network is compared with the observed one.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numba as nb
import numpy as np

from roadrisk.base.intervals import p_from_draws
from roadrisk.base.progress import Progress, Silent
from roadrisk.hotspots.moves import lay_out
from roadrisk.hotspots.unit_sums import UnitSums, placed
from roadrisk.hotspots.window_chance import WindowChance, judge_windows, windows_of_lixels

if TYPE_CHECKING:
    from roadrisk.hotspots.events import Events
    from roadrisk.hotspots.path_kernel import LixelKernel
    from roadrisk.hotspots.strands import Strands
    from roadrisk.hotspots.unit_sums import Sums
    from roadrisk.roads.network import Floats, Ints

PEAK = 0.9375  # of the quartic kernel of half-width 1
# Sums of draws are kept up to this, those of the others made a second time [bytes].
MOST_KEPT = 400_000_000


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
    by_window : WindowChance, optional
        The same by window of road, each by itself.
    """

    statistic: Floats
    p_value: Floats
    largest: Floats
    by_window: WindowChance | None = None


def compare_with_chance(
    events: Events,
    strands: Strands,
    kernel: LixelKernel,
    lixel_length_m: Floats,
    *,
    bandwidth_m: float,
    least_units: int,
    draws: int,
    rng: np.random.Generator,
    peak_per_m: float | None = None,
    by_window: bool = False,
    progress: Progress | None = None,
) -> Chance:
    """Compare the observed concentration with random positions of the same groups.

    Parameters
    ----------
    events : Events
    strands : Strands
    kernel : scipy.sparse.csr_array, shape (lixels, lixels), or PathKernel
        Of `kernels.lixel_kernel` or `path_kernel.fitting_kernel`.
    lixel_length_m : ndarray, shape (lixels,)
    bandwidth_m : float
        Half-width of the kernel [m].
    least_units : int
        So many different animals or observers must reach a lixel.
    draws : int
    rng : numpy.random.Generator
    peak_per_m : float, optional
        Kernel at distance 0 [1/m]; the quartic's when left out.
    by_window : bool
        Whether each window of road is judged by itself as well.
    progress : Progress, optional

    Returns
    -------
    Chance

    Notes
    -----
    At each lixel the kernel sums of the units are added up, every unit's sum capped at one
    event in its place and the largest left out, so that the sum T counts how many different
    animals and observers gather there and no single one can make a stretch. (With an observer's
    reports from one place weighing as one event, some more planted stretches of 200 m were found
    on a line, 41 to 49 of 100 with 250 observers, and some fewer of 500 m; but a town's streets
    showed a stretch in 7 of 100 worlds of repeat observers without any, and with animals one voice
    each in 8 to 11, since a group on several arms of a junction parts in the draws. Capped sums err
    on the safe side there.) The statistic is
    T - m, with m the mean over all draws and the observation together (so that all are treated
    alike and the test stays exact where groups lie evenly within their windows): how far a
    place stands out from its own neighbourhood. In simulated studies this found planted
    stretches several times as often as the same sum scaled by its null variance or as a
    quasi-Poisson deviance. Largest value over the network: Westfall & Young 1993, from memory.
    A group moves by a uniform draw of its middle within the window that holds it (or as
    `strands.rules` say: `moves`); pieces that would leave the window are folded back at its end.
    """
    peak = PEAK / bandwidth_m if peak_per_m is None else peak_per_m
    unit_sums = UnitSums(
        events, kernel, lixel_length_m, peak_per_m=peak, least_units=least_units
    )  # fmt: skip
    laid = lay_out(events, strands)
    share = rng.random((draws, events.blocks))
    observed = unit_sums.of(events.lixel)
    total = observed.copy()
    # The mean of all draws is needed before any draw's largest value.
    kept: list[Sums] = []
    held = 0
    with (progress or Silent()).step("Comparing with chance", 2 * draws) as tick:
        for some in unit_sums.of_draws(laid, strands, share):
            _add_up(some.lixel, some.value, total)
            if held + some.size_bytes <= MOST_KEPT and held >= 0:
                kept.append(some)
                held += some.size_bytes
            else:
                held = -1  # from here on all are made again
            tick(len(some.count))
        mean = total / (draws + 1)
        window = windows_of_lixels(strands) if by_window else np.zeros(len(total), np.int64)
        parts = [np.zeros((0, int(window.max(initial=0)) + 1))]
        done = sum(len(some.count) for some in kept)
        for group in (kept, unit_sums.of_draws(laid, strands, share[done:])):
            for some in group:
                parts.append(
                    _largest(some.count, some.lixel, some.value, mean, window, parts[0].shape[1])
                )
                tick(len(some.count))
    every = np.concatenate(parts)
    largest = every.max(axis=1, initial=0.0)
    statistic = np.maximum(observed - mean, 0.0)
    judged = judge_windows(statistic, window, every) if by_window else None
    return Chance(statistic, p_from_draws(statistic, largest), largest, judged)


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
    where = (strands.cut_m, strands.order, laid.offset, laid.block, laid.low, laid.high)
    return np.asarray(placed(moved, where))


@nb.njit(cache=True)
def _add_up(lixel: Ints, value: Floats, total: Floats) -> None:
    for k in range(len(lixel)):
        total[lixel[k]] += value[k]


@nb.njit(cache=True)
def _largest(
    count: Ints, lixel: Ints, value: Floats, mean: Floats, window: Ints, windows: int
) -> Floats:
    """Largest value above the mean in each draw and window; 0 where none is."""
    out = np.zeros((len(count), windows))
    k = 0
    for n in range(len(count)):
        for _ in range(count[n]):
            i = lixel[k]
            w = window[i]
            if w >= 0:
                out[n, w] = max(out[n, w], value[k] - mean[i])
            k += 1
    return out
