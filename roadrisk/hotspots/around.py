"""How many times as many animals and observers a stretch has as the road around it."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from roadrisk.hotspots.by_lixel import ByLixel

if TYPE_CHECKING:
    from roadrisk.roads.network import Floats, Ints


def times_around(
    voices: Floats,
    stretch: Ints,
    window: Ints,
    length_m: Floats,
    lixels_of: ByLixel | None = None,
) -> float:
    """Compare a stretch with the rest of the windows of road that hold it, per metre.

    Parameters
    ----------
    voices : ndarray, shape (lixels,)
        Animals and observers, each as one event at most (`drawn_masses.unit_weights`).
    stretch : ndarray of int64
        Lixels of the stretch.
    window : ndarray of int64, shape (lixels,)
        Of `window_chance.windows_of_lixels`.
    length_m : ndarray, shape (lixels,)
    lixels_of : ByLixel, optional
        Lixels by window, where many stretches are asked about.

    Returns
    -------
    float
        Infinite where nothing lies around it; NaN where nothing lies in it either, or no road is
        left around it.

    Notes
    -----
    What the null model puts into a stretch is no measure for this: the stretch's own groups move
    within the same window, so a multiple of that can't be more than the window's length over the
    stretch's.
    """
    own = np.unique(window[stretch])
    around = (lixels_of or ByLixel.of(window)).rows(own[own >= 0])
    around = around[~np.isin(around, stretch)]
    if not len(around):
        return float("nan")
    inside = float(voices[stretch].sum() / length_m[stretch].sum())
    outside = float(voices[around].sum() / length_m[around].sum())
    if outside <= 0.0:
        return float("inf") if inside > 0 else float("nan")
    return inside / outside
