"""Ranks and sums of draws: by hand."""

from __future__ import annotations

import numpy as np
import pytest

from roadrisk.mortality.death_ranks import deaths_by_unit, interval, mean_rates, ranks


def test_ranks_of_four_draws() -> None:
    """By hand: place 0 leads in three of four draws, place 2 never comes before the last."""
    rate = np.array([[3.0, 3.0, 3.0, 1.0], [2.0, 2.0, 2.0, 4.0], [1.0, 1.0, 1.0, 0.5]])
    found = ranks(rate, 1)
    assert found.among_worst.tolist() == [0.75, 0.25, 0.0]
    assert found.order.tolist() == [0, 1, 2]
    assert found.low.tolist() == [1, 1, 3]
    assert found.high.tolist() == [2, 2, 3]
    assert ranks(rate, 10).among_worst.tolist() == [1.0, 1.0, 1.0]


def test_places_that_nothing_tells_apart() -> None:
    """By hand: equal rates share the chance and hold all ranks between them."""
    found = ranks(np.ones((4, 10)), 1)
    assert found.among_worst == pytest.approx(0.25)
    assert found.among_worst.sum() == pytest.approx(1.0)
    assert (found.low == 2).all()
    assert (found.high == 3).all()


def test_rates_of_stretches_and_units() -> None:
    """By hand: 0.1 km at 10 and 0.3 km at 2 deaths per km make 1.6 deaths on 0.4 km."""
    rate = np.array([[10.0, 20.0], [2.0, 2.0], [7.0, 7.0]])
    km = np.array([0.1, 0.3, 1.0])
    mean, length = mean_rates(rate, km, np.array([0, 0, -1]))
    assert mean.tolist() == [pytest.approx([4.0, 6.5])]
    assert length == pytest.approx([0.4])
    rng = np.random.default_rng(1)
    many = np.repeat(rate, 5000, axis=1)
    expected, counts = deaths_by_unit(many, km, np.array([0, 0, 1]), rng)
    assert expected[1] == pytest.approx(7.0)
    assert counts[1].mean() == pytest.approx(7.0, abs=0.15)
    assert counts[1].var() == pytest.approx(7.0, abs=0.5)


def test_a_bound_has_no_middle() -> None:
    """By hand: where nothing was found only the upper end is a number."""
    draws = np.linspace(0.0, 1.0, 101)
    bound = interval(draws, bound_only=True)
    assert np.isnan([bound.mean[0], bound.median[0]]).all()
    assert (bound.low[0], bound.high[0]) == (0.0, pytest.approx(0.95))
    assert interval(draws).low[0] == pytest.approx(0.05)
