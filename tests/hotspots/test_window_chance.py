"""Windows by themselves, false discoveries and tails: by hand, and by known truth."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats

from roadrisk.base.seeds import generator
from roadrisk.hotspots.tail import tail_p
from roadrisk.hotspots.window_chance import judge_windows


def test_p_values_and_false_discoveries_by_hand() -> None:
    """Four windows with 19 draws; one of them could never show anything and is no test.

    p = 1/20, 2/20, 20/20; Benjamini-Hochberg: 0.05 * 3, 0.1 * 3 / 2, 1 -> 0.15, 0.15, 1.
    """
    draws = np.zeros((19, 4))
    draws[:, 0] = np.arange(19) / 19
    draws[:, 1] = np.arange(19) / 19
    draws[:, 2] = 0.5
    window = np.array([0, 0, 1, 2, 3, -1])
    found = judge_windows(np.array([0.2, 2.0, 0.94, 0.1, 0.0, 9.0]), window, draws)
    assert found.p_value == pytest.approx([1 / 20, 2 / 20, 1, 1])
    assert found.q_value == pytest.approx([0.15, 0.15, 1, 1])
    assert not found.tail_fitted.any()


def test_false_discoveries_stay_below_the_level() -> None:
    """Known truth: of 40 windows 8 hold more; over 300 studies the share of false ones among
    those listed at q <= 0.2 is 0.2 or less (at most 0.2 * 32/40 = 0.16 expected; standard error
    below 0.015), and true ones are found."""
    rng = generator(1, "test")
    false, found = [], []
    for _ in range(300):
        draws = rng.gamma(2.0, 1.0, (199, 40))
        own = rng.gamma(2.0, 1.0, 40) + np.where(np.arange(40) < 8, 6.0, 0.0)
        listed = judge_windows(own, np.arange(40), draws).q_value <= 0.2
        false.append(listed[8:].sum() / max(listed.sum(), 1))
        found.append(listed[:8].mean())
    assert np.mean(false) <= 0.2
    assert np.mean(found) > 0.5


@pytest.mark.parametrize("law", [stats.expon(), stats.gamma(3.0), stats.halfnorm()])
def test_a_fitted_tail_is_near_the_true_one(law) -> None:
    """Known truth: from 999 draws the chance of 1 in 5,000, over 40 sets; the middle one within a
    factor of 3 (a count of draws can't say less than 1 in 1,000)."""
    at = float(law.isf(1 / 5000))
    rng = generator(2, "test")
    p = [tail_p(at, law.rvs(999, random_state=rng)) for _ in range(40)]
    known = [v for v in p if v is not None]
    assert len(known) >= 25
    assert 1 / 15_000 < np.median(known) < 3 / 5000


def test_no_tail_where_it_cannot_be_told() -> None:
    rng = generator(3, "test")
    assert tail_p(5.0, rng.exponential(size=99)) is None  # too few
    mostly_none = np.where(np.arange(999) < 30, rng.exponential(size=999), 0.0)
    assert tail_p(9.0, mostly_none) is None  # nearly all draws show nothing
    steps = np.repeat([0.0, 1.0, 2.0], 333)
    assert tail_p(3.0, steps) is None  # no smooth curve
    assert tail_p(2.0, rng.random(999)) is None  # ends before the observed value


def test_a_tail_never_says_more_than_it_bears() -> None:
    """Never below a hundredth of 1 / (n + 1)."""
    p = tail_p(400.0, stats.pareto(3.0).rvs(999, random_state=generator(4, "test")))
    assert p is not None
    far = tail_p(1e9, stats.pareto(3.0).rvs(999, random_state=generator(4, "test")))
    assert far == pytest.approx(0.01 / 1000)
