"""Ranks and sums of draws: by hand."""

from __future__ import annotations

import numpy as np
import pytest

from roadrisk.mortality.death_ranks import (
    best_number,
    deaths_by_unit,
    interval,
    mean_rates,
    ranks,
)


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
    assert np.isnan([bound.mean[0], bound.median[0], bound.best[0]]).all()
    assert (bound.low[0], bound.high[0]) == (0.0, pytest.approx(0.95))
    assert interval(draws).low[0] == pytest.approx(0.05)


def test_best_number_is_counted_over_the_mean_chance() -> None:
    """By hand: six found over a chance of 0.35, 0.4 or 0.45, mean 0.4, is 15.

    Kept above the 40 % point where the chance is hardly known.
    """
    draws = 6 / np.array([[0.35, 0.4, 0.45], [0.45, 0.35, 0.4]])
    assert best_number(draws) == pytest.approx([15.0, 15.0])
    assert (draws.mean(axis=1) > 15.1).all()
    assert interval(draws).best == pytest.approx([15.0, 15.0])
    wide = 6 / np.geomspace(0.01, 0.9, 101)
    assert best_number(wide) == pytest.approx(np.quantile(wide, 0.4))


def test_best_number_has_no_bias_over_studies() -> None:
    """By recovery: 30 deaths, a chance of a quarter known from 40 trials; 4,000 studies.

    Counts and trials are drawn anew in each; none of those that count nothing has a number.
    Standard error of the mean ratio: 0.008.
    """
    rng = np.random.default_rng(7)
    found, seen = rng.poisson(30 * 0.25, 4000), rng.binomial(40, 0.25, 4000)
    kept = found > 0
    level = rng.gamma(found[kept, None] + 0.5, size=(kept.sum(), 400))
    chance = rng.beta(seen[kept, None] + 0.5, 40.5 - seen[kept, None], size=level.shape)
    deaths = level / chance
    assert best_number(deaths).mean() / 30 == pytest.approx(1.0, abs=0.04)
    assert np.median(deaths, axis=1).mean() / 30 > 1.07
