"""Recovering known truth: works that did nothing, at sites chosen for their bad years.

Twenty sites are watched for three years and the two with most carcasses get works. Longer runs
and more kinds of worlds: ``python -m tests.truth.comparison_worlds``.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from roadrisk.mitigation.comparison import Rules
from tests.truth.comparison_worlds import World, share_of

# Sites that differ little: what makes two of them the worst is mostly chance.
ALIKE = World(site_cv=0.2, later=1)
FEWER = "fewer deaths"


def test_null_worlds_with_sites_chosen_for_bad_years() -> None:
    """By default at most 5 % of 1,000 say that deaths fell; years counted as they are, far more."""
    said, held = share_of(ALIKE, 1000, seed=3)
    assert said.get(FEWER, 0.0) <= 0.05
    assert held >= 0.94
    naive, _ = share_of(replace(ALIKE, later=0, controls=18), 150, seed=4, tell=False)
    assert naive[FEWER] > 0.10
    assert naive[FEWER] > 4 * said.get(FEWER, 0.0)


def test_null_worlds_with_years_that_differ() -> None:
    """Years that vary more than by chance, at each site by itself and at all together."""
    said, held = share_of(World(later=2, own_cv=0.4, year_cv=0.4), 150, seed=5)
    assert said.get(FEWER, 0.0) <= 0.05
    assert held >= 0.95 - 2.5 * np.sqrt(0.05 * 0.95 / 150)


def test_expectation_in_place_of_chosen_years() -> None:
    """Empirical Bayes takes the regression to the mean out of years that led to the choice.

    It needs all the sites that the choice was made among: here they are the controls.
    """
    world = replace(ALIKE, later=0, controls=18)
    said, held = share_of(world, 25, seed=6, rules=Rules(by_empirical_bayes=True))
    assert "not identified" not in said
    assert said.get(FEWER, 0.0) <= 0.05 + 1e-9
    assert held >= 0.9


def test_true_halving_is_held() -> None:
    """The 95 % interval holds a true halving, and it is found more often than not."""
    said, held = share_of(World(mean=6.0, effect=0.5), 120, seed=7)
    assert held >= 0.94 - 2 * np.sqrt(0.05 * 0.95 / 120)
    assert said[FEWER] > 0.5


@pytest.mark.parametrize("empirical_bayes", [False, True])
def test_nothing_left_is_said(empirical_bayes: bool) -> None:
    """With no year before the works but those of the choice nothing is identified by default."""
    said, _ = share_of(World(later=0), 5, seed=8, rules=Rules(by_empirical_bayes=empirical_bayes))
    assert ("not identified" in said) is not empirical_bayes
