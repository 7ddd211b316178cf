"""Worlds with tagged animals and without each other source say what they can't know.

By recovery of what is not there: the same small invented study, a source less each time.
"""

from __future__ import annotations

import numpy as np
import pytest

from tests.truth.worlds_without import check, remembered

NAMES = (
    "everything", "no carcass", "no trials", "no surveys", "no population", "no traffic",
    "one sex", "no animals",
)  # fmt: skip


@pytest.fixture(scope="module")
def world(tmp_path_factory):
    return remembered(tmp_path_factory)


@pytest.mark.parametrize("name", NAMES)
def test_no_world_says_more_than_it_knows(world, name):
    check(world(name))


def test_everything(world):
    deaths = world("everything").findings.deaths
    assert (deaths.known, deaths.bound_only, deaths.ordered) == (True, False, True)
    assert deaths.sources["source"].tolist() == [
        "carcass surveys", "crossings of tagged animals", "public reports of dead animals",
        "public reports of live animals",
    ]  # fmt: skip
    assert deaths.sources["how_many"].tolist() == [True, True, False, False]
    assert len(deaths.readings) == 2
    assert len(deaths.growth) > 0
    assert deaths.units["unit"].tolist() == ["Ossmark District", "Tillen Parish", "owner not known"]


def test_no_carcass_with_animals_is_no_agreement(world):
    """Crossings lead to expect many, searches found none: the sum of both is no quiet number."""
    ran = world("no carcass")
    deaths = ran.findings.deaths
    assert (deaths.known, deaths.bound_only) == (True, False)
    assert "contradict each other" in deaths.words
    assert "contradict" not in world("everything").findings.deaths.words
    assert "by carcasses at most" in ran.said
    assert (deaths.routes["ratio_low"] > 1).any()
    assert "no carcass was found, so it is at most" in ran.said
    assert "share of adults that die on roads by crossings" in ran.said
    assert "life stage" not in ran.said


def test_no_trials_leaves_how_many_to_crossings(world):
    ran = world("no trials")
    deaths = ran.findings.deaths
    assert deaths.sources.set_index("source")["how_many"].to_dict()["carcass surveys"] is False
    assert "as crossings of tagged animals say" in deaths.words
    assert "How long carcasses stay is not known" in ran.said
    assert deaths.carcasses["deaths_per_year_high"].isna().all()
    assert (deaths.carcasses["interval"] == "not identified").all()
    assert deaths.routes["deaths_by_carcasses_high"].isna().all()
    note = deaths.population.set_index("group")["note"]
    assert "no trials" in note["all adults, by carcasses"]


def test_no_surveys_leaves_how_many_to_crossings(world):
    ran = world("no surveys")
    deaths = ran.findings.deaths
    assert deaths.known
    assert "carcass surveys" not in set(deaths.sources["source"])
    assert deaths.carcasses.empty
    assert deaths.twelve_months.empty
    assert deaths.effort.empty
    assert "no table of surveys" in ran.said
    assert deaths.routes["place"].iloc[0] == "all roads"
    assert deaths.when["carcasses"].isna().all()


def test_no_population_leaves_how_many_to_surveys(world):
    ran = world("no population")
    deaths = ran.findings.deaths
    assert "as carcass surveys say" in deaths.words
    assert deaths.routes["deaths_by_crossings"].isna().all()
    assert "how many animals there are isn't known" in ran.said
    note = deaths.population.set_index("group")["note"]
    assert "how many animals there are" in note["all adults, by carcasses"]
    # What share of the adults crossings kill needs no number of them.
    assert note["all adults, by crossings"] == ""


def test_no_traffic_goes_by_road_class(world):
    """How wide chances get is held where no fates pin them: `test_worlds_without_animals`."""
    ran = world("no traffic")
    assert "Nobody counted the traffic on 6.2 km: ranges by road class" in ran.said
    assert "it is not asked whether more die" in ran.said
    assert ran.findings.deaths.readings.empty
    assert ran.findings.segments["traffic_from"].nunique() == 1


def test_one_sex_says_nothing_of_the_other(world):
    deaths = world("one sex").findings.deaths
    table = deaths.population.set_index("group")
    assert np.isfinite(table.loc["females, by crossings", "adults_killed_percent"])
    assert "too few tagged animals" in table.loc["males, by crossings", "note"]
    assert set(deaths.survival["group"]) == {"all", "female"}
    sexes = deaths.when[deaths.when["counted_by"] == "sex"].set_index("value")
    assert sexes.loc["male", ["carcasses", "reports_dead", "crossings"]].tolist() == [0, 0, 0]


def test_no_animals_leaves_how_many_to_surveys(world):
    ran = world("no animals")
    deaths = ran.findings.deaths
    assert "as carcass surveys say" in deaths.words
    assert "no tagged animal was watched" in ran.said
    assert deaths.routes["deaths_by_crossings"].isna().all()
    note = deaths.population.set_index("group")["note"]
    assert note["females, by crossings"] == "not identified: no tagged animal was watched"
    assert deaths.when["crossings"].isna().all()
    assert deaths.survival_curve.empty


@pytest.mark.parametrize("name", ["no trials", "no surveys"])
@pytest.mark.parametrize("road", ["all roads", "Ossmark Road"])
def test_fewer_sources_know_less(world, name, road):
    """Six animals with their guessed chances tell less than 24 carcasses with trials."""
    assert world(name).log_width(road) > 1.3 * world("everything").log_width(road)
