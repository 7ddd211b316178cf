"""Windows of road each by itself: p-values, their far tail, and how many of a list are false."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from scipy import stats

from roadrisk.base.intervals import p_from_draws
from roadrisk.hotspots.tail import tail_p

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from roadrisk.hotspots.strands import Strands
    from roadrisk.roads.network import Floats, Ints

    Bools = NDArray[np.bool_]

# A p-value of fewer draws than this that reach the observed value says little more than "small".
FEW = 10


@dataclass(frozen=True, eq=False)
class WindowChance:
    """The windows of road within which groups move, each judged by itself.

    Attributes
    ----------
    window : ndarray of int64, shape (lixels,)
        -1 off the long line.
    p_value : ndarray, shape (windows,)
        Of the largest statistic in the window, against the draws' in the same window.
    tail_fitted : ndarray of bool, shape (windows,)
        Whether it was read off a curve fitted to the draws' tail, since hardly any draw reaches
        the observed value.
    q_value : ndarray, shape (windows,)
        Benjamini-Hochberg: among all windows listed with this value or a smaller one, about this
        share is expected to be there by chance.
    """

    window: Ints
    p_value: Floats
    tail_fitted: NDArray[np.bool_]
    q_value: Floats


def windows_of_lixels(strands: Strands) -> Ints:
    """Return the window of road that holds each lixel's middle.

    Parameters
    ----------
    strands : Strands

    Returns
    -------
    ndarray of int64, shape (lixels,)
        0, 1, ... along the long line; -1 off it.
    """
    middle = strands.lixel_start_m + strands.lixel_length_m / 2
    found = np.searchsorted(strands.window_m, middle, side="right") - 1
    inside = np.clip(found, 0, len(strands.window_m) - 2)
    return np.where(np.isnan(middle), -1, inside).astype(np.int64)


def judge_windows(statistic: Floats, window: Ints, largest: Floats) -> WindowChance:
    """Judge each window against its own draws.

    Parameters
    ----------
    statistic : ndarray, shape (lixels,)
        Observed; 0 or more.
    window : ndarray of int64, shape (lixels,)
    largest : ndarray, shape (draws, windows)
        Largest statistic of each draw in each window.

    Returns
    -------
    WindowChance

    Notes
    -----
    The windows are laid before anything is looked at and share no road; stretches found in the
    data are no fixed set of tests, so the false discovery rate is that of windows (Benjamini &
    Hochberg 1995, J. R. Stat. Soc. B 57:289-300, from memory). Groups move within their own
    windows, so that the windows' p-values hang together through kernels that reach over their
    ends only. Windows in which nothing could ever have stood out are no tests.
    """
    observed = np.zeros(largest.shape[1])
    on = window >= 0
    np.maximum.at(observed, window[on], statistic[on])
    p, fitted, tested = judge_each(observed, largest)
    return WindowChance(window, p, fitted, false_discovery(p, tested))


def judge_each(observed: Floats, largest: Floats) -> tuple[Floats, Bools, Bools]:
    """Judge some windows, each against its own draws.

    Parameters
    ----------
    observed : ndarray, shape (windows,)
    largest : ndarray, shape (draws, windows)

    Returns
    -------
    p_value : ndarray, shape (windows,)
    tail_fitted, tested : ndarray of bool, shape (windows,)
        As in `WindowChance`; whether anything could have stood out.
    """
    p = np.ones(len(observed))
    fitted = np.zeros(len(observed), bool)
    tested = (observed > 0) | (largest > 0).any(axis=0)
    for w in np.flatnonzero(tested):
        draws = largest[:, w]
        p[w] = float(p_from_draws(observed[w], draws))
        if p[w] * (len(draws) + 1) - 1 < FEW:
            tail = tail_p(observed[w], draws)
            if tail is not None:
                p[w], fitted[w] = tail, True
    return p, fitted, tested


def false_discovery(p_value: Floats, tested: Bools) -> Floats:
    """Return the q-values of the windows that are tests; 1 for the others.

    Parameters
    ----------
    p_value : ndarray, shape (windows,)
    tested : ndarray of bool, shape (windows,)

    Returns
    -------
    ndarray, shape (windows,)
    """
    q = np.ones(len(p_value))
    if tested.any():
        q[tested] = stats.false_discovery_control(p_value[tested], method="bh")
    return q
