"""From crossings to deaths on a small study, with and without known fates: by hand."""

from __future__ import annotations

from types import SimpleNamespace

import numpy as np
import pytest

from roadrisk.analysis import _points, _roads
from roadrisk.base.kept_steps import KeepNothing
from roadrisk.base.progress import Silent
from roadrisk.mortality.crossing_route import (
    _fates_words,
    crossing_route,
    deaths_where,
    kill_inputs_of,
    source_of_crossings,
)
from roadrisk.mortality.kill_curves import chances_of
from roadrisk.mortality.sources import check_sources
from roadrisk.records.study_folder import read_study
from roadrisk.roads.bands import partner_lixels
from roadrisk.roads.pieces import lay_pieces
from roadrisk.sightings.counted import count_reports
from roadrisk.telemetry.frequencies import crossing_frequencies
from tests.hostile.broken_folders import ANIMALS, change, good_folder, put

MANY = "[population]\nadults = 50\nadults_low = 40\nadults_high = 60\n\n"
FATES = (
    ANIMALS.replace("tag_channel", "tag_channel,fate,fateDate,fateCause")
    .replace("150.110", "150.110,dead,2024-05-06,road")
    .replace("150.230", "150.230,alive,2024-06-01,")
)


def routed(folder, *, fates: bool, population: bool = True):
    """Return the route of the good folder's two animals, and what it was made of."""
    made = good_folder(folder)
    few = "[crossings]\ndraws = 20\n\n[mortality]\ndraws = 100\n\n"
    change("study.toml", "[animals]", few + (MANY if population else "") + "[animals]")(made)
    if fates:
        put("animals.csv", FATES)(made)
    study = read_study(made)
    roads, points = _roads(study, Silent(), KeepNothing()), _points(study)
    network, lixels, index = roads.network, roads.lixels, roads.index
    pieces = lay_pieces(network, lixels, 100.0)
    partner = partner_lixels(network, lixels)
    many = crossing_frequencies(study, points.fixes, network, lixels, index, partner, Silent())
    counted = count_reports(study, points.reports, points.fixes, network, lixels, index)
    route = crossing_route(study, points.fixes, many, counted, network, lixels, pieces)
    return SimpleNamespace(study=study, network=network, lixels=lixels, pieces=pieces,
                           many=many, route=route)  # fmt: skip


@pytest.fixture(scope="module")
def told(tmp_path_factory):
    return routed(tmp_path_factory.mktemp("told") / "s", fates=True)


@pytest.fixture(scope="module")
def untold(tmp_path_factory):
    return routed(tmp_path_factory.mktemp("untold") / "s", fates=False, population=False)


def test_without_fates_chances_are_those_of_traffic(untold) -> None:
    route = untold.route
    assert not route.by_fates
    assert route.chance is route.kill.draws
    assert route.deaths is route.plain
    assert "gives no fates" in " ".join(route.notes)
    assert "brought into line" not in " ".join(route.notes)


def test_fates_keep_the_differences_between_roads(told) -> None:
    """By hand: one factor a draw, the same on every segment unless a chance would pass one."""
    route = told.route
    assert route.by_fates
    assert route.fates.road_deaths == 1
    free = (route.chance < 1).all(axis=0)
    assert free.mean() > 0.5
    factor = (route.chance / route.kill.draws)[:, free]
    np.testing.assert_allclose(factor, np.broadcast_to(factor[0], factor.shape), rtol=1e-9)
    assert route.chance.max() <= 1.0
    assert "1 was seen" in " ".join(route.notes)


def test_without_a_population_crossings_say_where_only(told, untold) -> None:
    for case, known in ((told, True), (untold, False)):
        near = np.ones(len(case.pieces), bool)
        source = source_of_crossings(
            case.route, case.study, case.many, case.lixels, case.pieces, near
        )
        check_sources([source], len(case.pieces))
        assert source.known is known
        paths = case.many.found.crossing_days.shape[1]
        column = "days" if case.route.deaths.lower_bound else "crossings"
        kept = case.route.amounts[case.route.amounts["animal"].isin(np.arange(2))]
        assert source.counted == pytest.approx(kept[column].sum() / paths)
    assert np.isnan(untold.route.deaths.total_a_year).all()
    assert np.isfinite(untold.route.deaths.total_per_animal).all()


def test_all_roads_as_one_place_are_the_total(told) -> None:
    """By hand: places are only a way to cut the same crossings."""
    everywhere = np.zeros(len(told.lixels), np.int64)
    one = deaths_where(told.route, told.study, told.many, everywhere, told.lixels,
                       told.route.chance, 1)  # fmt: skip
    assert np.median(one.total_a_year) == pytest.approx(
        np.median(told.route.deaths.total_a_year), rel=0.02
    )
    none = deaths_where(told.route, told.study, told.many, everywhere - 1, told.lixels,
                        told.route.chance, 1)  # fmt: skip
    assert np.isnan(none.a_year).all()


def test_words_on_fates() -> None:
    said = _fates_words(np.linspace(100.0, 300.0, 201), 1)
    assert "200 (110 to 290) road deaths were to be expected" in said
    assert "1 was seen" in said
    assert "0 were seen" in _fates_words(np.full(9, 2.0), 0)


def test_inputs_for_another_traffic_are_those_of_the_run(told) -> None:
    inputs = kill_inputs_of(told.study, told.many, told.network)
    again = chances_of(inputs.traffic.aadt, inputs.traffic.lanes, inputs.zone, inputs.how)
    assert np.array_equal(again, told.route.kill.draws)
    assert inputs.tracked_months
    assert sum(inputs.months.values()) == pytest.approx(1.0)
