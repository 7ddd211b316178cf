"""Choices over draws: by hand, and by identities between its parts."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from roadrisk.mitigation.candidates import Candidates
from roadrisk.mitigation.choice import choose_for_budget
from roadrisk.mitigation.effects import EffectDraws
from roadrisk.mitigation.portfolio import (
    choices_of_draws,
    evaluate,
    included_of_100,
    mean_values,
    most_cautious,
)

PLACES, DRAWS = 30, 80
LENGTH = np.full(PLACES, 100.0)


def make(measures: int = 2) -> tuple[np.ndarray, Candidates, list[EffectDraws]]:
    """Fences and signs on every run of up to 8 of 30 places."""
    rng = np.random.default_rng(6)
    deaths = rng.gamma(0.6, 1.0, (PLACES, 1)) * rng.lognormal(0.0, 0.5, (PLACES, DRAWS))
    pairs = np.array([(a, b) for a in range(PLACES) for b in range(a + 1, min(a + 9, 31))])
    first, last = np.tile(pairs, (measures, 1)).T
    measure = np.repeat(np.arange(measures), len(pairs))
    cost = np.where(measure == 0, 5.0 + 3.0 * (last - first), 1.0 + 0.1 * (last - first))
    fences = Candidates(
        np.zeros(len(first), int), first, last, measure, measure == 0, np.zeros(len(first)), cost
    )
    effects = [
        EffectDraws(
            rng.uniform(0.5, 1.0, DRAWS),
            rng.uniform(0.0, 1.0, DRAWS),
            rng.choice([50.0, 100.0, 200.0], DRAWS),
        ),
        EffectDraws(rng.normal(0.0, 0.2, DRAWS), np.zeros(DRAWS), np.ones(DRAWS)),
    ]
    fences = replace(fences, value=mean_values(deaths, LENGTH, fences, effects[:measures]))
    return deaths, fences, effects[:measures]


def test_two_sites_by_hand() -> None:
    """A fence of 200 m with half of what it averts at its ends coming back, and signs."""
    deaths = np.array([[1.0, 3.0], [1.0, 5.0], [2.0, 2.0]])
    some = np.array([0, 0])
    c = Candidates(
        some, np.array([2, 0]), np.array([3, 2]), np.array([1, 0]), np.array([False, True]),
        np.array([0.1, 1.0]), np.array([1.0, 7.0]),
    )  # fmt: skip
    effects = [
        EffectDraws(np.array([1.0, 0.5]), np.array([0.5, 0.5]), np.array([200.0, 0.0])),
        EffectDraws(np.array([0.1, -0.1]), np.zeros(2), np.ones(2)),
    ]
    found = evaluate(deaths, np.full(3, 100.0), c, np.array([0, 1]), effects)
    assert found.chosen.tolist() == [1, 0]  # along the road
    np.testing.assert_allclose(found.before, [[2.0, 8.0], [2.0, 2.0]])
    np.testing.assert_allclose(found.averted, [[1.0, 4.0], [0.2, -0.2]])
    np.testing.assert_allclose(found.moved, [[1.0, 0.0], [0.0, 0.0]])
    np.testing.assert_allclose(found.total, [1.2, 3.8])
    assert found.mean == pytest.approx(2.5)
    assert found.cost == 8.0
    assert found.interval == pytest.approx((1.2 + 0.05 * 2.6, 3.8 - 0.05 * 2.6))
    assert found.lowest_tenth == pytest.approx(1.2 + 0.1 * 2.6)


def test_nothing_chosen_averts_nothing() -> None:
    deaths, c, effects = make()
    found = evaluate(deaths, LENGTH, c, np.zeros(0, int), effects)
    assert found.mean == 0.0
    assert found.cost == 0.0
    assert found.interval == (0.0, 0.0)


def test_mean_of_draws_is_what_was_chosen_by() -> None:
    """By identity: values of candidates, added up, are the mean of the portfolio."""
    deaths, c, effects = make()
    choice = choose_for_budget(c, 60.0)
    found = evaluate(deaths, LENGTH, c, choice.chosen, effects)
    assert found.mean == pytest.approx(choice.value, rel=1e-12)
    assert found.cost == pytest.approx(choice.cost)
    assert found.interval[0] < found.lowest_tenth < found.mean < found.interval[1]


def test_places_included_of_100() -> None:
    """By hand: three of four choices hold place 1, two place 0, one places 2 and 3."""
    c = make(1)[1]
    row = {
        (a, b): k for k, (a, b) in enumerate(zip(c.first.tolist(), c.last.tolist(), strict=True))
    }
    choices = [[row[0, 2]], [row[0, 2]], [row[1, 2], row[2, 4]], []]
    share = included_of_100(c, [np.array(x, int) for x in choices], PLACES)
    np.testing.assert_allclose(share[:5], [50, 75, 25, 25, 0])
    assert np.isnan(included_of_100(c, [], PLACES)).all()


def test_sure_places_are_in_every_choice() -> None:
    """One place is worst in all draws, one in every other, one in the rest."""
    c = make(1)[1]
    deaths = np.full((PLACES, DRAWS), 0.05)
    deaths[7] = 10.0
    deaths[20, ::2], deaths[25, 1::2] = 5.0, 5.0
    one = EffectDraws(np.full(DRAWS, 0.9), np.full(DRAWS, 0.3), np.full(DRAWS, 100.0))
    choices = choices_of_draws(deaths, LENGTH, c, [one], 25.0, choices=40)
    assert len(choices) == 40
    share = included_of_100(c, choices, PLACES)
    assert share[7] == 100
    # 40 of 80 draws, evenly: half even, half odd.
    assert share[20] == pytest.approx(50, abs=3)
    assert share[25] == pytest.approx(50, abs=3)
    assert share[[0, 14, 29]].max() < 5


def test_most_cautious_prefers_what_is_sure() -> None:
    """By hand: one place averts more on average, the other surely; no choice over budget counts."""
    deaths = np.full((PLACES, DRAWS), 0.01)
    deaths[5] = np.where(np.arange(DRAWS) % 4 == 0, 20.0, 0.0)  # mean 5, mostly none
    deaths[15] = 3.0
    c = make(1)[1]
    sure = EffectDraws(np.full(DRAWS, 0.9), np.zeros(DRAWS), np.full(DRAWS, 100.0))
    c = replace(c, value=mean_values(deaths, LENGTH, c, [sure]))
    best = choose_for_budget(c, 8.0).chosen
    assert (c.first[best].tolist(), c.last[best].tolist()) == ([5], [6])
    other = np.flatnonzero((c.first == 15) & (c.last == 16))
    dear = np.flatnonzero((c.first == 10) & (c.last == 18))
    found = most_cautious(deaths, LENGTH, c, [best, other, dear], [sure], 8.0)
    assert found.chosen.tolist() == other.tolist()
    assert found.lowest_tenth == pytest.approx(2.7)
    harm = EffectDraws(np.full(DRAWS, -0.5), np.zeros(DRAWS), np.full(DRAWS, 100.0))
    assert not len(most_cautious(deaths, LENGTH, c, [best, other], [harm], 8.0).chosen)
