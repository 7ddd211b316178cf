"""Persistence from trials: by hand, and by recovering simulated truth."""

from __future__ import annotations

import numpy as np
import pytest

from roadrisk.mortality.persistence import borrowed_persistence, fit_persistence
from roadrisk.mortality.persistence_curves import FAMILIES, Curves

CHECKS = np.array([0, 1, 2, 4, 7, 11, 16, 23.0])


def checked(stay):
    at = np.searchsorted(CHECKS, stay, side="right") - 1
    return CHECKS[at], np.append(CHECKS, np.inf)[at + 1]


def test_one_family_in_plain_numbers():
    # By hand: an exponential of mean 4 d has S(4) = e^-1; a log-normal and a log-logistic have
    # half left at exp(location).
    curves = Curves(np.array([0, 2, 3]), np.log([4.0, 5.0, 6.0]), np.array([1.0, 0.8, 0.5]))
    left = curves.remaining(np.array([4.0, 5.0, 6.0]))
    assert [left[0, 0], left[1, 1], left[2, 2]] == pytest.approx([np.exp(-1), 0.5, 0.5])
    assert curves.quantile(0.5) == pytest.approx([4 * np.log(2), 5, 6])
    assert curves.days_there(np.array([0.0])).tolist() == [[0, 0, 0]]


@pytest.mark.parametrize("family", range(4))
def test_the_true_curve_is_found_again(family):
    """Simulated truth: 2,000 carcasses of one family; its values within 4 standard errors."""
    rng = np.random.default_rng(3 + family)
    u = rng.random(2000)
    z = {0: np.log(-np.log(u)), 1: np.log(-np.log(u)), 2: rng.standard_normal(2000),
         3: np.log(u / (1 - u))}[family]  # fmt: skip
    sigma = 1.0 if family == 0 else 0.7
    low, high = checked(np.exp(np.log(5.0) + sigma * z))
    found = fit_persistence(low, high, seed=1)
    row = found.table.iloc[family]
    assert row["location"] == pytest.approx(np.log(5), abs=0.12)
    assert row["sigma"] == pytest.approx(sigma, abs=0.08)
    assert row["weight"] > 0.2
    assert found.curves.remaining(np.array([3.0])).std() < 0.02


def test_the_choice_of_the_curve_stays_open_with_few_trials():
    # 15 carcasses tell few families apart: the draws hold several.
    low, high = checked(5 * np.random.default_rng(2).weibull(0.8, 15))
    found = fit_persistence(low, high, seed=1)
    assert found.table["weight"].sum() == pytest.approx(1)
    assert len(np.unique(found.curves.family)) >= 3
    share = np.bincount(found.curves.family, minlength=4) / 400
    assert share == pytest.approx(found.table["weight"].to_numpy(), abs=0.08)


def test_draws_widen_as_trials_get_fewer():
    widths = []
    for n in (8, 40, 400):
        low, high = checked(5 * np.random.default_rng(1).weibull(0.8, n))
        r = fit_persistence(low, high, seed=1).curves.days_there(np.array([7.0]))[0] / 7
        widths.append(np.quantile(r, 0.95) - np.quantile(r, 0.05))
    assert widths[0] > 1.5 * widths[1] > 2 * widths[2]


def test_trials_that_bound_one_side_only_say_so():
    gone = fit_persistence(np.zeros(8), np.ones(8), seed=1)
    assert (gone.curves.quantile(0.5) < 1).mean() > 0.9
    assert any("All were gone at the first check" in n for n in gone.notes)
    stay = fit_persistence(np.full(8, 14.0), np.full(8, np.inf), seed=1)
    assert (stay.curves.quantile(0.5) > 14).mean() > 0.9
    assert any("still there at the last check" in n for n in stay.notes)
    for n in (1, 2):
        few = fit_persistence(np.zeros(n), np.full(n, 3.0), seed=1)
        assert np.isfinite(few.curves.location).all()
        assert any("Fewer than 10" in note for note in few.notes)
    with pytest.raises(ValueError, match="no trial"):
        fit_persistence(np.zeros(0), np.zeros(0), seed=1)


def test_borrowed_values_keep_their_range_and_their_source():
    # By hand: half gone after 3 days, 1.5 to 6: the draws' medians have that 90 % range.
    got = borrowed_persistence(3.0, 1.5, 6.0, "a made-up report", seed=1, draws=4000)
    assert np.quantile(got.curves.quantile(0.5), [0.05, 0.5, 0.95]) == pytest.approx(
        [1.5, 3, 6], rel=0.08
    )
    assert {FAMILIES[k] for k in got.curves.family} == set(FAMILIES[1:])
    assert "a made-up report" in got.notes[0]
    assert got.borrowed
