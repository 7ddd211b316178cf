"""A stretch beside the road around it: by hand."""

from __future__ import annotations

import numpy as np
import pytest

from roadrisk.hotspots.around import times_around

LENGTH = np.full(10, 10.0)
WINDOW = np.array([0] * 6 + [1] * 3 + [-1])
STRETCH = np.array([1, 2])


def test_per_metre_within_the_stretch_s_own_window() -> None:
    """3 on 20 m against 1 on the window's other 40 m is 6 times; other windows and roads off the
    line don't matter."""
    voices = np.array([0.5, 2, 1, 0.5, 0, 0, 7, 0, 0, 9.0])
    assert times_around(voices, STRETCH, WINDOW, LENGTH) == pytest.approx(6.0)


def test_nothing_around_or_nothing_at_all() -> None:
    alone = np.zeros(10)
    alone[1] = 2.0
    assert times_around(alone, STRETCH, WINDOW, LENGTH) == np.inf
    assert np.isnan(times_around(np.zeros(10), STRETCH, WINDOW, LENGTH))
    assert np.isnan(times_around(alone, np.arange(6), WINDOW, LENGTH))
