"""Worlds without tagged animals, and without each other source, say what they can't know.

By recovery of what is not there: the same small invented study, a source less each time.
"""

from __future__ import annotations

import numpy as np
import pytest

import roadrisk
from roadrisk.errors import InputError
from tests.truth.small_worlds import whole_world
from tests.truth.worlds_without import check, remembered

NAMES = (
    "no animals", "no animals, no carcass", "no animals, no trials", "no animals, no report",
    "no animals, no traffic", "no animals, one road", "no animals, out of season",
    "no animals, late", "only live", "unplaced", "roads only",
)  # fmt: skip


@pytest.fixture(scope="module")
def world(tmp_path_factory):
    return remembered(tmp_path_factory)


@pytest.mark.parametrize("name", NAMES)
def test_no_world_says_more_than_it_knows(world, name):
    check(world(name))


def test_no_carcass_is_a_bound_above_zero(world):
    ran = world("no animals, no carcass")
    deaths = ran.findings.deaths
    assert (deaths.known, deaths.bound_only, deaths.ordered) == (True, True, True)
    assert "No death was counted by carcass surveys" in deaths.words
    assert (deaths.carcasses["interval"] == "none found: one-sided 95 % bound").all()
    assert (deaths.carcasses["deaths_per_year_high"] > 0).all()
    assert "no carcass was found, so it is at most" in ran.said
    assert deaths.growth.empty
    assert "which only bounds it" in ran.said
    assert (ran.findings.ranked["deaths_note"].str.contains("a bound")).all()
    # Nothing found in all these searches: fewer than where much was found.
    assert ran.row()["deaths_per_year_high"] < world("no animals").row()["deaths_per_year_low"]


def test_no_trials_says_where_and_not_how_many(world):
    ran = world("no animals, no trials")
    deaths = ran.findings.deaths
    assert (deaths.known, deaths.ordered) == (False, True)
    assert "no surveys in the active season whose trials say" in deaths.words
    assert "Places are ranked by where more die than elsewhere" in deaths.words
    assert (ran.findings.ranked["deaths_note"].str.contains("how many die isn't known")).all()
    assert deaths.pieces["relative_rate"].gt(0).all()
    assert deaths.growth.empty


def test_no_report_changes_no_number_on_searched_roads(world):
    ran, other = world("no animals, no report"), world("no animals")
    deaths = ran.findings.deaths
    assert deaths.sources["source"].tolist() == ["carcass surveys"]
    assert (
        "No public reports of dead animals and no public reports of live animals lie on these "
        "roads and count." in ran.said
    )
    assert deaths.readings.empty
    assert "traffic is read as a cause of deaths only" in ran.said or "Too little" in ran.said
    searched = ["Ossmark Road", "Tillen Lane"]
    both = [
        r.findings.deaths.roads.set_index("road").loc[searched, "deaths_per_year"].sum()
        for r in (ran, other)
    ]
    assert both[0] == pytest.approx(both[1], rel=0.1)


def test_no_traffic_goes_by_road_class_with_wide_intervals(world):
    ran, whole = world("no animals, no traffic"), world("no animals")
    assert "ranges by road class are used there, from memory and wide" in ran.said
    # Of the hazard: a chance near one has little room above it.
    low, high = (
        [-np.log1p(-r.findings.segments[f"kill_chance_{end}"]) for r in (ran, whole)]
        for end in ("low", "high")
    )
    assert (high[0] / low[0] > high[1] / low[1]).all()
    # Carcasses need no traffic: how many die is the same.
    assert ran.row()["deaths_per_year"] == pytest.approx(whole.row()["deaths_per_year"], rel=0.25)


def test_one_road_has_nothing_to_compare_it_with(world):
    ran = world("no animals, one road")
    deaths = ran.findings.deaths
    assert deaths.roads["road"].tolist() == ["all roads", "Ossmark Road"]
    assert deaths.known
    assert "the simpler rate was used" in ran.said
    assert "Traffic is the same wherever it was counted" in ran.said
    assert deaths.readings.empty
    first, only = deaths.roads.iloc[0], deaths.roads.iloc[1]
    assert first["deaths_per_year"] == pytest.approx(only["deaths_per_year"])
    # The same searches on the same road: about the same number.
    among_others = world("no animals").row("Ossmark Road")
    assert among_others["deaths_per_year_low"] < only["deaths_per_year"]
    assert only["deaths_per_year"] < among_others["deaths_per_year_high"]


def test_searches_out_of_season_watch_no_death(world):
    ran = world("no animals, out of season")
    deaths = ran.findings.deaths
    assert not deaths.known
    assert "carcasses lie where no search watches an active day: not counted." in ran.said
    assert "carcass surveys" not in set(deaths.sources["source"])
    assert deaths.carcasses.empty or deaths.carcasses["deaths_per_year_high"].isna().all()
    note = deaths.population.set_index("group")["note"]
    assert "no search watches a day" in note["all adults, by carcasses"]


def test_carcasses_found_after_the_season_are_doubted(world):
    """Searches from ten days after the season on: what they find can hardly be of the season."""
    ran = world("no animals, late")
    assert "24 of 24 carcasses were found outside the active months" in ran.said
    assert "no number of deaths is worked out from carcasses" in ran.said
    assert not ran.findings.deaths.known


def test_only_live_animals_tell_of_no_death(world):
    ran = world("only live")
    deaths = ran.findings.deaths
    assert (deaths.known, deaths.ordered) == (False, True)
    assert deaths.sources["source"].tolist() == ["public reports of live animals"]
    assert "No dead animal was counted either" in deaths.words
    assert "where more die than elsewhere" not in deaths.words
    assert "No public reports of dead animals" in ran.said
    assert deaths.pieces["reports_dead"].sum() == 0


def test_unplaced_reports_tell_nothing(world):
    ran = world("unplaced")
    deaths = ran.findings.deaths
    assert (deaths.known, deaths.ordered) == (False, False)
    assert deaths.sources.empty
    assert "and where, isn't known" in deaths.words
    assert "no place is known to be worse than another" in ran.said
    assert "60 reports, 40 of them said to be of dead animals" in ran.said
    assert ran.findings.ranked.empty


def test_roads_alone(world, tmp_path):
    """A study with nothing at all is refused; one report that lies nowhere leaves only roads."""
    deaths = world("roads only").findings.deaths
    assert not deaths.known
    assert len(deaths.pieces) > 0
    for table in ("carcasses", "twelve_months", "effort", "readings", "sources", "survival_curve",
                  "growth", "nests"):  # fmt: skip
        assert getattr(deaths, table).empty, table
    assert np.isfinite(deaths.pieces["kill_chance"]).all()
    bare = whole_world()
    nothing = bare.without(*bare.tables, "population", "stages", "habitat")
    with pytest.raises(InputError, match="name at least one of"):
        roadrisk.read_study(nothing.write(tmp_path / "nothing"))
