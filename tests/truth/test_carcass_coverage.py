"""Deaths from carcasses in simulated worlds: a small version of `carcass_coverage`."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from roadrisk.mortality.carcass_deaths import deaths_from
from roadrisk.mortality.carcass_trials import carcass_trials
from roadrisk.mortality.deaths_tables import drawn_deaths, interval
from tests.truth.carcass_coverage import SETTINGS, as_study, one_world
from tests.truth.carcass_worlds import MONTHS, SCENARIOS, SIZES, Scenario, make_world

NAMED = {s.name: s for s in SCENARIOS}


@pytest.mark.parametrize("name", ["spike and tail", "few carcasses"])
def test_intervals_hold_the_truth(name):
    # 24 worlds: of intervals that hold it in 90 %, fewer than 18 do so in 1 study of 300.
    worlds = pd.DataFrame([one_world(NAMED[name], n) for n in range(24)])
    assert worlds["holds"].sum() >= 18
    assert worlds["holds_died"].sum() >= 18
    assert worlds["estimate"].sum() / worlds["truth"].sum() == pytest.approx(1, abs=0.3)
    # What was found is far less than what died, so counting alone would fail.
    assert worlds["found"].sum() < 0.6 * worlds["died"].sum()


def test_worlds_without_a_death_get_a_bound():
    rng = np.random.default_rng(1)
    world = make_world(Scenario("none", deaths=0.0), rng)
    searched, found = as_study(world)
    sizes = (*SIZES, "")
    trials = carcass_trials(world.trials, [("walk", s) for s in sizes], SETTINGS, seed=1)
    deaths = deaths_from(searched, found, trials, np.ones(1), sizes, MONTHS, SETTINGS)
    drawn = drawn_deaths(deaths, np.zeros(1, np.int64), seed=1, name="road")
    low, high = interval(drawn.per_year, drawn.found)
    assert np.isnan(low)
    assert 3 < high < 60
    assert np.isnan(drawn.best).all()
