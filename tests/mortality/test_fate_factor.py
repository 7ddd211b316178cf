"""Chances in line with the tagged animals' own fates: by hand and by asking a truth back."""

from __future__ import annotations

import numpy as np
import pytest

from roadrisk.mortality.fate_factor import chances_by_fates


def test_four_deaths_for_sixteen_expected_leave_about_a_quarter() -> None:
    """Gamma with shape 4.5 over 16: mean 0.281; roads keep their differences."""
    kill = np.array([[0.2], [0.02]]).repeat(20_000, axis=1)
    found = chances_by_fates(kill, np.full(20_000, 16.0), 4, 1)
    assert found.mean(axis=1) == pytest.approx([0.2 * 4.5 / 16, 0.02 * 4.5 / 16], rel=0.02)
    assert found[0] / found[1] == pytest.approx(10.0)


def test_no_death_isn_t_no_chance_and_none_is_above_one() -> None:
    kill = np.full((1, 4000), 0.5)
    none = chances_by_fates(kill, np.full(4000, 50.0), 0, 1)
    assert (none > 0).all()
    assert np.quantile(none, 0.95) == pytest.approx(0.5 * 1.92 / 50, rel=0.1)
    assert chances_by_fates(kill, np.full(4000, 0.1), 5, 1).max() == 1.0


def test_truth_animals_that_wait_for_gaps() -> None:
    """Four hundred worlds: a tenth of the stated chance is left; 90 % ranges hold it."""
    rng = np.random.default_rng(6)
    left, stated, held = 0.1, 0.3, 0
    for k in range(400):
        crossings = rng.poisson(150)
        dead = rng.binomial(crossings, stated * left)
        draws = np.clip(stated * np.exp(0.4 * rng.standard_normal(400)), 0, 1)
        found = chances_by_fates(draws[None], draws * crossings, int(dead), k)[0]
        low, high = np.quantile(found, [0.05, 0.95])
        held += bool(low <= stated * left <= high)
    assert 0.85 <= held / 400 <= 0.95
