"""The traffic at which a share of today's deaths is left, by road."""

from __future__ import annotations

import os
from concurrent.futures import ThreadPoolExecutor
from itertools import pairwise
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from roadrisk.mitigation.traffic_cut import LeftOver

    Floats = NDArray[np.float64]
    Ints = NDArray[np.int64]

NEEDED = (
    "road", "vehicles_a_day", "vehicles_needed", "vehicles_needed_low", "vehicles_needed_high",
    "share_left",
)  # fmt: skip
# Shares of today's traffic at which deaths are worked out; straight between them in logarithms.
_TIMES = np.geomspace(1e-3, 1.0, 19)
# Draws used: one number a road with its interval needs no more.
_DRAWS = 100
# Pieces worked on together; few enough to stay near the processor.
_BLOCK = 4_000


def traffic_needed(
    left: LeftOver, at: Ints, deaths: Floats, road: NDArray[np.object_], aadt: Floats, share: float
) -> tuple[pd.DataFrame, Floats]:
    """Work out how little traffic leaves a share of the deaths.

    Parameters
    ----------
    left : LeftOver
    at : ndarray of int64, shape (pieces,)
        Row of each piece's segment in `left`.
    deaths : ndarray, shape (pieces, draws)
    road : ndarray of str, shape (pieces,)
    aadt : ndarray, shape (pieces, other draws)
        Vehicles a day.
    share : float
        Above 0 and below 1.

    Returns
    -------
    table : pandas.DataFrame
        Columns `NEEDED`, one row a road, those with most deaths first. vehicles_a_day: today's,
        where the deaths are; vehicles_needed with the ends of a 90 % interval. NaN without deaths.
    times : ndarray, shape (100 draws at most,)
        The same for all roads together, if all have the same share of today's traffic.
    """
    names, of = np.unique(road.astype(str), return_inverse=True)
    deaths, aadt = deaths[:, :_DRAWS], aadt[:, :_DRAWS]
    column = np.arange(deaths.shape[1]) % max(aadt.shape[1], 1)
    order = np.argsort(of, kind="stable")
    now, vehicles = np.zeros((len(names) + 1, len(column))), np.zeros((len(names), len(column)))
    times = np.zeros(now.shape)

    def of_block(block: slice) -> Floats:
        """Fill in some roads; return what is left of their deaths together, (traffic, draws)."""
        own = order[block]
        segments, row = np.unique(at[own], return_inverse=True)
        here = deaths[own].astype(np.float64)
        first = np.flatnonzero(np.diff(of[own], prepend=-1))
        on = of[own[first]]
        now[on] = np.add.reduceat(here, first, axis=0)
        driven = np.add.reduceat(here * aadt[own][:, column], first, axis=0)
        vehicles[on] = driven / np.maximum(now[on], 1e-300)
        then = np.array([
            np.add.reduceat(
                here * left.with_traffic(float(t), _DRAWS, segments)[row][:, column], first
            )
            for t in _TIMES
        ])  # fmt: skip
        times[on] = _reached(then / np.maximum(now[on], 1e-300), share)
        return np.asarray(then.sum(axis=1), dtype=np.float64)

    with ThreadPoolExecutor(os.cpu_count()) as pool:
        # In the order of the blocks, so that the sum is the same with any number of threads.
        whole = sum(pool.map(of_block, _blocks(of[order])), np.zeros((len(_TIMES), len(column))))
    now[-1] = now[:-1].sum(axis=0)
    times[-1] = _reached((whole / np.maximum(now[-1], 1e-300))[:, None], share)[0]
    times = np.where(now > 0, times, np.nan)
    needed = vehicles * times[:-1]
    low, middle, high = np.quantile(needed, [0.05, 0.5, 0.95], axis=1)
    table = pd.DataFrame({
        "road": names, "vehicles_a_day": np.median(vehicles, axis=1), "vehicles_needed": middle,
        "vehicles_needed_low": low, "vehicles_needed_high": high, "share_left": share,
    })  # fmt: skip
    order = np.argsort(-now[:-1].mean(axis=1), kind="stable")
    return table.iloc[order].reset_index(drop=True), times[-1]


def _blocks(of: Ints) -> list[slice]:
    """Cut rows that are sorted by road into blocks of whole roads."""
    first = np.append(np.flatnonzero(np.diff(of, prepend=-1)), len(of))
    ends = np.unique(first[np.searchsorted(first, np.arange(0, len(of) + _BLOCK, _BLOCK)).clip(
        max=len(first) - 1
    )])  # fmt: skip
    return [slice(a, b) for a, b in pairwise(ends.tolist())]


def _reached(curve: Floats, share: float) -> Floats:
    """Traffic, times today's, at which a rising curve over `_TIMES` reaches a share."""
    log_curve, log_times = np.log(np.maximum(curve, 1e-300)), np.log(_TIMES)
    above = np.clip((curve < share).sum(axis=0), 1, len(_TIMES) - 1)[None]
    low, high = (np.take_along_axis(log_curve, above - k, axis=0)[0] for k in (1, 0))
    part = (np.log(share) - low) / np.maximum(high - low, 1e-12)
    # Below the first share of traffic deaths go in proportion to it.
    return np.asarray(np.exp(log_times[above[0] - 1] + part * (log_times[1] - log_times[0])))
