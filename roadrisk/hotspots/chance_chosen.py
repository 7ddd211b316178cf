"""The comparison with chance when the kernel's half-width is chosen from the records."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from roadrisk.base.intervals import p_from_draws
from roadrisk.base.progress import Progress, Silent
from roadrisk.hotspots.bandwidth import choose_bandwidth
from roadrisk.hotspots.chance import Chance, moved_lixels
from roadrisk.hotspots.drawn_masses import unit_weights
from roadrisk.hotspots.kernel_choice import peak_of
from roadrisk.hotspots.kernels import lixel_kernel
from roadrisk.hotspots.paths import path_table
from roadrisk.hotspots.unit_sums import UnitSums
from roadrisk.hotspots.window_chance import judge_windows, windows_of_lixels

if TYPE_CHECKING:
    from scipy import sparse

    from roadrisk.hotspots.events import Events
    from roadrisk.hotspots.kernel_shapes import Shape
    from roadrisk.hotspots.paths import PathTable, Split
    from roadrisk.hotspots.strands import Strands
    from roadrisk.roads.network import Floats, Ints, Lixels, Network

TRIED_M = (50.0, 75.0, 110.0, 160.0, 240.0, 350.0, 500.0)
# Choosing again in each draw takes most of the time.
MOST_DRAWS = 199


@dataclass(frozen=True, eq=False)
class Chosen:
    """The half-width chosen, and the test with it.

    Attributes
    ----------
    bandwidth_m : float
        Of the observed events [m]; `fallback_m` where they can't say.
    kernel : scipy.sparse.csr_array
        With this half-width.
    chance : Chance
    words : str
    """

    bandwidth_m: float
    kernel: sparse.csr_array[Any, tuple[int, int]]
    chance: Chance
    words: str


def compare_with_bandwidth_chosen(
    network: Network,
    lixels: Lixels,
    events: Events,
    strands: Strands,
    *,
    fallback_m: float,
    shape: Shape = "quartic",
    split: Split = "continuous",
    least_units: int,
    draws: int,
    rng: np.random.Generator,
    progress: Progress | None = None,
) -> Chosen:
    """Choose the half-width from the events, test with it, and do both again in each draw.

    Parameters
    ----------
    network : Network
    lixels : Lixels
    events : Events
    strands : Strands
    fallback_m : float
        Half-width where the events, or drawn ones, can't say [m].
    shape : {"quartic", "epanechnikov", "gaussian"}
    split : {"continuous", "discontinuous"}
    least_units : int
    draws : int
        At most 199 are made.
    rng : numpy.random.Generator
    progress : Progress, optional

    Returns
    -------
    Chosen

    Notes
    -----
    As `chance.compare_with_chance`, with the sums of each draw times its half-width, so that wide
    and narrow kernels are on one scale (a unit in its place counts alike), and in the end over
    the observed half-width. Events and draws are taken at the middles of their lixels alike, and
    each animal and observer has one voice in the choice. A half-width chosen from the records and
    then taken for given would show too many stretches.
    """
    draws = min(draws, MOST_DRAWS)
    tried = np.unique([*TRIED_M, fallback_m])
    table = path_table(network, float(tried[-1]), split=split)
    kernels = [lixel_kernel(network, lixels, float(h), shape=shape, split=split) for h in tried]
    unit_sums = [
        UnitSums(events, kernel, lixels.length_m, peak_per_m=peak_of(float(h), shape),
                 least_units=least_units)
        for h, kernel in zip(tried, kernels, strict=True)
    ]  # fmt: skip
    fallback = int(np.searchsorted(tried, fallback_m))
    weight = unit_weights(events)

    def measured(lixel: Ints) -> tuple[int, str, Floats]:
        k, words = _choice(
            network, lixels, events, weight, lixel, tried, table, fallback, shape, split
        )
        return k, words, unit_sums[k].of(lixel) * tried[k]

    chosen, words, observed = measured(events.lixel)
    every = np.empty((draws, len(lixels)))
    moved = moved_lixels(events, strands, draws, rng)
    with (progress or Silent()).step("Comparing with chance, half-width chosen", draws) as tick:
        for n in range(draws):
            every[n] = measured(moved[n])[2]
            tick()
    mean = (observed + every.sum(axis=0)) / (draws + 1)
    scale = float(tried[chosen])
    statistic = np.maximum(observed - mean, 0.0) / scale
    window = windows_of_lixels(strands)
    by_window = np.zeros((draws, len(strands.window_m) - 1))
    for n in range(draws):
        np.maximum.at(by_window[n], window[window >= 0], (every[n] - mean)[window >= 0] / scale)
    largest = by_window.max(axis=1, initial=0.0)
    judged = judge_windows(statistic, window, by_window)
    chance = Chance(statistic, p_from_draws(statistic, largest), largest, judged)
    return Chosen(scale, kernels[chosen], chance, words)


def _choice(
    network: Network,
    lixels: Lixels,
    events: Events,
    weight: Floats,
    lixel: Ints,
    tried: Floats,
    table: PathTable,
    fallback: int,
    shape: Shape,
    split: Split,
) -> tuple[int, str]:
    """Return the row of `tried` that fits these places best, and the words."""
    key, row = np.unique(events.unit * len(lixels) + lixel, return_inverse=True)
    at = key % len(lixels)
    middle = (lixels.start_m + lixels.end_m) / 2
    found = choose_bandwidth(
        network, lixels.edge[at], middle[at], np.bincount(row, weight, len(key)).astype(np.float64),
        key // len(lixels), tried_m=tried, table=table, shape=shape, split=split,
    )  # fmt: skip
    if not np.isfinite(found.value_m):
        return fallback, f"{found.words} {tried[fallback]:g} m taken as set."
    return int(np.searchsorted(tried, found.value_m)), found.words
