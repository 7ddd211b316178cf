"""Chances of detection from trials, or borrowed: by hand."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from scipy import stats

from roadrisk.mortality.detection import BORROWED, detection


def trials(*rows):
    columns = ["samplingProtocol", "size", "look", "carcasses", "found"]
    return pd.DataFrame(rows, columns=columns).assign(trial="detection")


def test_binomial_with_its_interval():
    # By hand: 14 of 20 in two batches: Beta(15, 6.5), whose quantiles scipy knows.
    table = trials(("walk", "", 1, 12, 9), ("walk", "", 1, 8, 5))
    got = detection(table, [("walk", "")], seed=1, draws=20_000)
    row = got.table.iloc[0]
    assert (row["source"], row["carcasses"], row["found"]) == ("trials", 20, 14)
    want = stats.beta(15, 6.5)
    assert row["detection"] == pytest.approx(want.mean(), abs=0.005)
    assert row["detection_low"] == pytest.approx(want.ppf(0.05), abs=0.01)
    assert row["detection_high"] == pytest.approx(want.ppf(0.95), abs=0.01)
    assert got.point["walk", ""] == pytest.approx(15 / 21)
    # No second look: k is anything between 0 and 1, and the words say so.
    assert np.quantile(got.later, [0.25, 0.75]) == pytest.approx([0.25, 0.75], abs=0.02)
    assert any("not known" in note for note in got.notes)


def test_few_trials_stay_wide():
    # By hand: none of 2 found leaves Beta(1, 2.5), up to 0.70; never exactly zero.
    got = detection(trials(("car", "", 1, 2, 0)), [("car", "")], seed=1, draws=4000)
    draws = got.first["car", ""]
    assert draws.min() > 0
    assert np.quantile(draws, 0.95) == pytest.approx(stats.beta(1, 2.5).ppf(0.95), abs=0.03)


def test_later_looks_from_repeat_trials():
    # Outside the grid: the joint posterior's mean of k by Gauss and Legendre's rule.
    table = trials(("walk", "", 1, 20, 12), ("walk", "", 2, 8, 2))
    got = detection(table, [("walk", "")], seed=1, draws=20_000)

    nodes, weights = np.polynomial.legendre.leggauss(60)
    x, w = (nodes + 1) / 2, weights / 2
    p, k = x[:, None], x[None, :]
    mass = stats.beta(13, 8.5).pdf(p) * (p * k) ** 2 * (1 - p * k) ** 6 * w[:, None] * w
    mean, mean_p = (mass * k).sum() / mass.sum(), (mass * p).sum() / mass.sum()
    assert got.later.mean() == pytest.approx(mean, abs=0.01)
    assert got.first["walk", ""].mean() == pytest.approx(mean_p, abs=0.005)
    assert any("8 carcasses missed before" in note for note in got.notes)


def test_sizes_and_what_stands_in():
    # By hand: trials of small ones only; large ones get trials of all sizes, and it is said.
    table = trials(("walk", "small", 1, 10, 3), ("walk", "", 1, 10, 8))
    got = detection(table, [("walk", "small"), ("walk", "large"), ("walk", "")], seed=1)
    assert got.table["source"].tolist() == ["trials", "trials of all sizes", "trials"]
    assert got.table["carcasses"].tolist() == [10, 20, 20]
    assert any("all sizes stand in" in note for note in got.notes)
    np.testing.assert_array_equal(got.first["walk", "large"], got.first["walk", ""])


def test_borrowed_values_are_wide_and_named():
    # Outside: published detection on foot 0.74 and 0.76, by bicycle 0.42, by car 0.12 and below
    # 0.10 (sources beside BORROWED); the medians lie there, wide around.
    kinds = [(p, "") for p in BORROWED]
    got = detection(None, kinds, seed=1, draws=4000)
    for kind in kinds:
        low, middle, high = np.quantile(got.first[kind], [0.05, 0.5, 0.95])
        assert middle == pytest.approx(BORROWED[kind[0]][0], abs=0.02)
        assert low / (1 - low) < 0.4 * middle / (1 - middle)
        assert high / (1 - high) > 2.5 * middle / (1 - middle)
    assert (got.table["source"] == "borrowed").all()
    assert sum("Borrowed, not from trials of this study" in n for n in got.notes) == len(kinds)


def test_what_nothing_is_known_of():
    got = detection(trials(("walk", "", 1, 5, 3)), [("walk", ""), ("horse", "")], seed=1)
    assert set(got.first) == {("walk", "")}
    assert got.table["source"].tolist() == ["trials", "not known"]
    assert any("Nothing is known" in note and "horse" in note for note in got.notes)
    again = detection(trials(("walk", "", 1, 5, 3)), [("walk", ""), ("horse", "")], seed=1)
    np.testing.assert_array_equal(got.first["walk", ""], again.first["walk", ""])
