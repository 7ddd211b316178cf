"""Road deaths as a share of the adults: by hand."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from roadrisk.base.seeds import generator
from roadrisk.kill_settings import KillSection
from roadrisk.mortality.abundance import draw_adults
from roadrisk.mortality.population import (
    added_mortality,
    crossing_shares_by_sex,
    sex_of_dead_words,
    share_of_adults,
)
from roadrisk.settings import PopulationSection
from roadrisk.species import built_in_profile
from tests.mortality.made_crossings import made_amounts

PROFILE = built_in_profile("terrapene_carolina")
MANY = PopulationSection(adults=100, adults_low=60, adults_high=150)


def test_abundance_has_its_interval() -> None:
    adults = draw_adults(MANY, generator(1, "test"), 40_000)
    assert np.median(adults) == pytest.approx(100, rel=0.01)
    assert np.quantile(adults, [0.025, 0.975]) == pytest.approx([60, 150], rel=0.02)


def test_share_and_its_chance_above_a_bound() -> None:
    """Four deaths of 100 adults are 4 %; a study's own bound is one number."""
    sure = PopulationSection(adults=100, adults_low=100, adults_high=100)
    share = share_of_adults(np.linspace(2.0, 6.0, 401), sure, 1)
    found = added_mortality({"all adults, by carcasses": share}, PROFILE,
                            KillSection(tolerable_percent_a_year=5.0))  # fmt: skip
    row = found.table.iloc[0]
    assert row["adults_killed_percent"] == pytest.approx(4.0)
    assert row["above_lower_bound"] == pytest.approx(0.25, abs=0.005)
    assert found.bound_percent == (5.0, 5.0)
    assert "set in [kill]" in found.notes[0]


def test_sources_that_disagree_are_all_named() -> None:
    found = added_mortality({"all adults, by crossings": np.full(50, 0.04)}, PROFILE, KillSection())
    value = PROFILE.population.tolerable_added_mortality
    assert found.bound_percent == (100 * value.low, 100 * value.high)
    for said in ("2 to 3 %", "5 %", "10 %", "from memory", "no proof of safety"):
        assert said in found.notes[0]
    assert found.table["above_lower_bound"].iloc[0] == 1.0


def test_without_a_population_carcasses_say_nothing_of_the_share() -> None:
    share = share_of_adults(np.full(50, 4.0), None, 1)
    why = {"all adults, by carcasses": "how many animals there are isn't known"}
    found = added_mortality({**dict.fromkeys(why, share), "females, by crossings": share}, PROFILE,
                            KillSection(), why_not=why)  # fmt: skip
    assert found.table["adults_killed_percent"].isna().all()
    assert "how many animals there are isn't known" in found.notes[1]
    assert "too few tagged animals" in found.notes[2]


def test_no_more_die_than_there_are() -> None:
    assert share_of_adults(np.full(50, 1e6), MANY, 1).tolist() == [1.0] * 50


def test_sexes_by_crossings() -> None:
    """Females cross four times as often: four times the share; two males say nothing."""
    crossings = np.array([[8.0]] * 10 + [[2.0]] * 10)
    sex = pd.Series(["female"] * 10 + ["male"] * 10)
    given = (np.ones(20), np.ones(20))
    kill = np.full((1, 100), 0.001)
    options = {"paths": 100, "totals_identified": True}
    found = crossing_shares_by_sex(made_amounts(crossings, 100), *given, sex, kill, 1, **options)
    assert found["female"].mean() == pytest.approx(4 * found["male"].mean(), rel=0.2)
    few = pd.Series(["female"] * 18 + ["male"] * 2)
    found = crossing_shares_by_sex(made_amounts(crossings, 100), *given, few, kill, 1, **options)
    assert np.isnan(found["male"]).all()
    table = added_mortality({"males, by crossings": found["male"]}, PROFILE, KillSection())
    assert "too few tagged animals" in table.notes[1]


def test_sex_of_the_dead() -> None:
    """Clopper and Pearson: 8 of 10 are 49 to 96 % at 90 %; none and all have open ends."""
    assert "80 % (49 to 96 %)" in sex_of_dead_words(8, 2)
    assert "(0 to 26 %)" in sex_of_dead_words(0, 10)
    assert "(74 to 100 %)" in sex_of_dead_words(10, 0)
    assert sex_of_dead_words(0, 0) == "The sex of no carcass is known."
