"""Deaths against the adults there are: by hand."""

from __future__ import annotations

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pandas as pd
import pytest

from roadrisk.kill_settings import KillSection
from roadrisk.mortality.population import added_mortality
from roadrisk.mortality.population_toll import (
    ALL,
    BY_CARCASSES,
    BY_CROSSINGS,
    _adults_by_carcasses,
    _growth,
    _why_not,
)
from roadrisk.species import built_in_profile
from roadrisk.stage_settings import StagesSection
from tests.mortality.made_surveys import deaths_of, folder
from tests.mortality.test_carcass_deaths import THREE

PROFILE = built_in_profile("terrapene_carolina")
CARCASSES, CROSSINGS = f"{ALL}, {BY_CARCASSES}", f"{ALL}, {BY_CROSSINGS}"
STAGES = StagesSection.model_validate({
    "survival_includes_road_deaths": False, "source": "invented",
    "stage": [
        {"name": "young", "survival_low": 0.5, "survival_high": 0.7, "years": 5},
        {"name": "adult", "survival_low": 0.9, "survival_high": 0.95, "young_low": 1.0,
         "young_high": 2.0, "road_deaths": True},
    ],
})  # fmt: skip


def study(stages=STAGES, population=None):
    settings = SimpleNamespace(
        stages=stages, population=population, study=SimpleNamespace(seed=1),
        hotspots=SimpleNamespace(interval=0.9),
    )  # fmt: skip
    return SimpleNamespace(settings=settings)


@pytest.fixture(scope="module")
def three(tmp_path_factory):
    return deaths_of(folder(tmp_path_factory.mktemp("three"), carcasses=THREE))[3]


@pytest.fixture(scope="module")
def none(tmp_path_factory):
    return deaths_of(folder(tmp_path_factory.mktemp("none")))[3]


def reported(found, stages):
    table = pd.DataFrame({
        "report_key": found.carcasses.table["report_key"], "lifeStage": stages,
    })  # fmt: skip
    return SimpleNamespace(placed=SimpleNamespace(table=table))


def test_deaths_are_multiplied_by_the_share_of_adults(three) -> None:
    """By hand: two of three of known stage, Jeffreys: Beta(2.5, 1.5), mean 0.625."""
    every, said = _adults_by_carcasses(three, reported(three, ["", "", ""]), 1)
    assert "all are taken for adults" in said[0]
    grown, said = _adults_by_carcasses(three, reported(three, ["adult", "Adult", "juvenile"]), 1)
    assert "Of 3 carcasses of known stage 2 are adults" in said[0]
    assert (grown / every).mean() == pytest.approx(0.625, abs=0.03)
    assert "km were not" in said[0]  # Sedge Lane was never searched


def test_no_carcass_has_no_stage(none) -> None:
    draws, said = _adults_by_carcasses(none, reported(none, []), 1)
    assert said == ()
    assert np.isfinite(draws).all()


def test_no_surveys_and_no_trials_say_nothing(tmp_path) -> None:
    assert np.isnan(_adults_by_carcasses(None, reported_nothing(), 1)[0]).all()
    blind = deaths_of(folder(tmp_path, trials="", carcasses=THREE))[3]
    assert not blind.identified
    assert np.isnan(_adults_by_carcasses(blind, reported_nothing(), 1)[0]).all()


def reported_nothing():
    return SimpleNamespace(placed=SimpleNamespace(table=pd.DataFrame()))


def test_why_a_share_is_not_known(three, none) -> None:
    watched, nobody = (
        SimpleNamespace(found=SimpleNamespace(animals=pd.DataFrame({"organismID": ids})))
        for ids in (["M1"], [])
    )
    assert _why_not(study(), None, watched) == {CARCASSES: "no surveys"}
    assert "how many animals there are" in _why_not(study(), three, watched)[CARCASSES]
    many = study(population=object())
    unseen = replace(none, schedule=np.full_like(none.schedule, -1))
    assert "no search watches a day" in _why_not(many, unseen, watched)[CARCASSES]
    blind = replace(none, identified=False)
    assert "no trials" in _why_not(many, blind, watched)[CARCASSES]
    assert _why_not(many, none, nobody)["males, by crossings"] == "no tagged animal was watched"
    assert CROSSINGS not in _why_not(many, none, watched)


def test_a_share_from_no_carcass_is_a_bound() -> None:
    """By hand: of 0 to 4 % in even steps the 95 % point is 3.8 %."""
    shares = {CARCASSES: np.linspace(0, 0.04, 401), CROSSINGS: np.full(50, 0.02)}
    found = added_mortality(shares, PROFILE, KillSection(), bounded={CARCASSES})
    row, other = found.table.iloc[0], found.table.iloc[1]
    assert np.isnan(row["adults_killed_percent"])
    assert (row["adults_killed_percent_low"], row["adults_killed_percent_high"]) == (
        0.0, pytest.approx(3.8),
    )  # fmt: skip
    assert row[["above_lower_bound", "above_upper_bound"]].isna().all()
    assert "at most 3.8 % a year (one-sided 95 % bound), which is not zero" in found.notes[1]
    assert other["adults_killed_percent"] == pytest.approx(2.0)


def test_growth_goes_by_the_route_that_has_a_number() -> None:
    known, unknown = np.full(200, 0.05), np.full(200, np.nan)
    table, said = _growth(study(), {CARCASSES: known, CROSSINGS: known}, frozenset())
    assert said[-1].endswith("die on roads by carcasses.")
    assert len(table) > 0
    shares = {CARCASSES: known, CROSSINGS: known}
    assert _growth(study(), shares, frozenset({CARCASSES}))[1][-1].endswith("by crossings.")
    shares = {CARCASSES: unknown[:1], CROSSINGS: known}
    assert _growth(study(), shares, frozenset())[1][-1].endswith("by crossings.")


def test_growth_without_a_share_or_stages_is_not_identified() -> None:
    known, unknown = np.full(200, 0.05), np.full(200, np.nan)
    for shares, bounded, why in (
        ({CARCASSES: unknown, CROSSINGS: unknown}, frozenset(), "roads kill isn't."),
        ({CARCASSES: known, CROSSINGS: unknown}, frozenset({CARCASSES}), "only bounds it)."),
        ({CARCASSES: unknown, CROSSINGS: unknown}, frozenset({CARCASSES}), "roads kill isn't."),
    ):
        table, said = _growth(study(), shares, bounded)
        assert table.empty
        assert said[0].endswith(why)
    table, said = _growth(study(stages=None), {CARCASSES: known, CROSSINGS: known}, frozenset())
    assert table.empty
    assert "gives no stages" in said[0]
