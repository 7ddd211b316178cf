"""Chance that a death is counted: by hand, and by recovering simulated truth."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from roadrisk.mortality.active_season import active_days_a_year, active_spells
from roadrisk.mortality.counted_chance import chance_counted, days_watched
from roadrisk.mortality.persistence_curves import Curves

ALL_YEAR = range(1, 13)


def day(text):
    return float((pd.Timestamp(text) - pd.Timestamp(0)) / pd.Timedelta(days=1))


def exponential(mean_days):
    return Curves(np.array([0]), np.array([np.log(mean_days)]), np.array([1.0]))


def found(looks, p, k, mean_days, **more):
    p = np.asarray(p, float).reshape(len(looks), 1)
    return chance_counted(
        np.asarray(looks, float), p, np.array([k]), exponential(mean_days),
        **{"months": ALL_YEAR, **more},
    )  # fmt: skip


def test_one_search():
    # By hand: p times the mean share left of what died in the 10 days before.
    got = found([19_000.0], [0.6], 0.5, 4.0, before_first_days=10.0)
    assert got.days == pytest.approx(10.0)
    want = 0.6 * 4 * (1 - np.exp(-10 / 4)) / 10
    assert [got.chance[0], got.shoenfeld[0], got.huso[0]] == pytest.approx([want] * 3, rel=1e-6)


def test_two_searches_and_the_factor_for_later_looks():
    # By hand: 10 days before the first search and 5 between; what was missed on the first is found
    # on the second with p2·k. The two searches are by different protocols.
    p1, p2, k, tau = 0.6, 0.2, 0.5, 4.0

    def left(a, b):
        return tau * (np.exp(-a / tau) - np.exp(-b / tau))

    days = p1 * left(0, 10) + (1 - p1) * p2 * k * left(5, 15) + p2 * left(0, 5)
    got = found([19_000.0, 19_005.0], [p1, p2], k, tau, before_first_days=10.0)
    assert got.chance[0] == pytest.approx(days / 15, rel=1e-6)
    days += (1 - p1) * p2 * (1 - k) * left(5, 15)
    assert got.shoenfeld[0] == pytest.approx(days / 15, rel=1e-6)


def test_two_passes_at_once():
    # By hand: with k = 1 two passes find 1 − (1 − p)² of what lies there, with k = 0 p.
    got = found([19_000.0, 19_000.0], [0.3, 0.3], 1.0, 1e4, before_first_days=1.0)
    assert got.shoenfeld[0] == pytest.approx(1 - 0.7**2, rel=1e-3)
    assert got.huso[0] == pytest.approx(0.3, rel=1e-3)


def test_deaths_come_in_the_active_months_only():
    # By hand: searched on 10 April and 20 October, active April to September: 9 days before the
    # first search (not 30), then to the end of September.
    looks = np.array([day("2024-04-10"), day("2024-10-20")])
    months = range(4, 10)
    assert days_watched(looks, months, 30.0) == pytest.approx(9 + 174)
    got = found(looks, [0.5, 0.5], 0.5, 5.0, months=months)
    assert got.days == pytest.approx(183)
    tau = 5.0
    # October's search comes 19 days after the last possible death.
    late = tau * (np.exp(-19 / tau) - np.exp(-(19 + 174) / tau))
    first = tau * (1 - np.exp(-9 / tau))
    assert got.shoenfeld[0] == pytest.approx(0.5 * (first + late) / 183, rel=1e-4)


def test_no_active_day_says_nothing():
    got = found([day("2024-01-10")], [0.5], 0.5, 5.0, months=(6, 7), before_first_days=10.0)
    assert got.days == 0
    assert np.isnan(got.chance).all()


def test_only_deaths_within_a_span():
    # By hand: of searches on days 0, 10, 20 only what died between days 5 and 15 counts.
    looks = np.array([0.0, 10.0, 20.0]) + 19_000
    got = found(looks, [1, 1, 1], 0.5, 4.0, within=(19_005.0, 19_015.0))
    assert got.days == pytest.approx(10)
    days = 4 * (1 - np.exp(-5 / 4)) + 4 * (np.exp(-5 / 4) - np.exp(-10 / 4))
    assert got.chance[0] == pytest.approx(days / 10, rel=1e-6)


def test_spells_of_the_year():
    # By hand: October to February passes the turn of the year and is one spell.
    months = (10, 11, 12, 1, 2)
    spells = active_spells(day("2023-09-01"), day("2024-05-01"), months)
    assert spells.tolist() == [[day("2023-10-01"), day("2024-03-01")]]
    assert active_days_a_year(months) == pytest.approx(31 + 30 + 31 + 31 + 28.25)


@pytest.mark.parametrize(("family", "sigma"), [(1, 1.6), (2, 1.2), (3, 0.9)])
def test_truth_of_irregular_searches(family, sigma):
    """Simulated truth: 40,000 deaths, irregular searches, two protocols, k = 0.5."""
    rng = np.random.default_rng(5)
    looks = 19_000 + np.cumsum(rng.uniform(0.5, 9.0, 12))
    p = np.where(np.arange(12) % 3 == 0, 0.7, 0.25)
    curve = Curves(np.array([family]), np.array([np.log(4.0)]), np.array([sigma]))
    got = chance_counted(
        looks, p[:, None], np.array([0.5]), curve, months=ALL_YEAR, before_first_days=20.0
    )
    n = 40_000
    died = rng.uniform(looks[0] - 20, looks[-1], n)
    u = rng.random(n)
    noise = {1: np.log(-np.log(u)), 3: np.log(u / (1 - u))}
    w = rng.standard_normal(n) if family == 2 else noise[family]
    gone = died + np.exp(np.log(4.0) + sigma * w)
    hit, times = np.zeros(n, bool), np.zeros(n)
    for look, chance in zip(looks, p, strict=True):
        there = (died < look) & (look <= gone) & ~hit
        now = there & (rng.random(n) < chance * 0.5**times)
        hit |= now
        times += there
    assert hit.mean() == pytest.approx(got.chance[0], abs=4 * np.sqrt(0.25 / n))
    assert got.huso[0] < got.chance[0] < got.shoenfeld[0]
