"""The null models by hand: who moves where, who is left out, and what is said."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest
from scipy import sparse

from roadrisk.hotspots.null_models import NullModel
from roadrisk.hotspots.reporting_rate import fit_reporting_rate, people_nearby
from roadrisk.hotspots.watching import Watching
from roadrisk.roads.effort import RoadEffort
from roadrisk.roads.lixels import lay_lixels
from tests.roads.small import make_network
from tests.truth.watched_worlds import World, background, by_class, null_of, points_at
from tests.truth.watched_worlds import roads_of_classes as roads_with_classes
from tests.truth.worlds import Ground, ground

MONTHS = [[4, 5, 6], [7, 8]]


@pytest.fixture(scope="module")
def line() -> Ground:
    """5 km, 500 lixels."""
    return ground(make_network([[(0, 0), (5000, 0)]]))


@pytest.fixture(scope="module")
def classes() -> Ground:
    return ground(roads_with_classes())


def effort_of(*rows: tuple[slice, float, str], lixels: int = 500) -> Watching:
    amount = np.zeros((len(rows), lixels))
    for n, (where, much, _) in enumerate(rows):
        amount[n, where] = much
    days = [pd.Timestamp(day, tz="UTC") if day else pd.NaT for _, _, day in rows]
    time = pd.Series(days, dtype="datetime64[ns, UTC]")
    return Watching(effort=RoadEffort(sparse.csr_array(amount), time, "metres", ()))


def at(on: Ground, lixel: list[int], months: list[int], animals: int = 0) -> World:
    """One report each, the first few crossings of one animal."""
    who = [(n >= animals, f"w{n if n >= animals else 0}") for n in range(len(lixel))]
    rng = np.random.default_rng(1)
    return World(points_at(on, np.array(lixel), who, np.array(months), rng), Watching())


def said(model: NullModel) -> str:
    return " ".join(model.notes)


def test_reports_on_road_without_effort_are_left_out_and_counted(line: Ground) -> None:
    """By hand: lixels 0 to 99 walked once, 100 to 199 three times; 4 reports, one at 300; a
    tagged animal at 400 stays, since it is found wherever it goes."""
    world = at(line, [400, 401, 10, 150, 160, 300], [5] * 6, animals=2)
    known = effort_of((slice(0, 100), 10.0, ""), (slice(100, 200), 30.0, ""))
    model = null_of(line, replace(world, watching=known), "effort")
    assert sorted(model.points.lixel.tolist()) == [10, 150, 160, 400, 401]
    assert "1 of 4 reports, on road without any effort" in said(model)
    assert "4 km gone along on 2 km of road" in said(model)
    rules = model.strands.rules
    assert model.points.event_rule.tolist() == [0, 0, 1, 1, 1, 1]
    assert (rules[0].anywhere, rules[1].anywhere) == (False, True)
    assert rules[1].chance[150] == pytest.approx(3 * rules[1].chance[50])
    assert rules[1].chance[250] == 0
    assert "in proportion to survey effort" in model.words.moved
    assert "tagged animals' groups within windows" in model.words.moved
    assert "searched or watched, effort allowed for" in model.words.around


def test_effort_of_the_season(line: Ground) -> None:
    """By hand: lixels 0 to 99 walked in May, 100 to 199 in July, 200 to 299 without a date; a May
    report at 150 is left out, one at 250 stays. November is in neither, so a season of its own."""
    known = effort_of(
        (slice(0, 100), 10.0, "2024-05-03"), (slice(100, 200), 10.0, "2024-07-03"),
        (slice(200, 300), 10.0, ""),
    )  # fmt: skip
    world = replace(at(line, [50, 150, 150, 250, 50], [5, 5, 7, 5, 11]), watching=known)
    model = null_of(line, world, "effort", null_within="season", seasons=MONTHS)
    kept = sorted(zip(model.points.lixel, model.points.event, strict=True))
    assert kept == [(50, 0), (150, 2), (250, 3)]
    assert model.points.event_rule.tolist() == [2, 2, 3, 2, 4]
    spring, summer, rest = (r.chance for r in model.strands.rules[2:])
    assert (spring[50] > 0, spring[150], spring[250] > 0) == (True, 0, True)
    assert (summer[50], summer[150] > 0, summer[250] > 0) == (0, True, True)
    assert (rest[50], rest[250] > 0) == (0, True)
    assert "Rows without a date (1) count in every season" in said(model)
    assert "in the season of each report" in model.words.moved


def other_reports(on: Ground, lixel: list[int], months: list[int], who: list[str]) -> Watching:
    return background(on, np.array(lixel), who, np.array(months), 200.0, np.random.default_rng(2))


def test_background_by_places_of_different_observers(line: Ground) -> None:
    """By hand: 60 people once each at 1 km, one person 100 times at 4 km: 61 places, so the rate
    at 1 km is sixty times that at 4 km and never 0."""
    known = other_reports(
        line, [100] * 60 + [400] * 100, [5] * 160, [f"p{n}" for n in range(60)] + ["q"] * 100
    )
    model = null_of(line, replace(at(line, [100, 400], [5, 5]), watching=known), "reports")
    chance = model.strands.rules[1].chance
    even = 10 / 5000
    assert "160 other reports from 61 places" in said(model)
    assert (chance[100] - even) / (chance[400] - even) == pytest.approx(60, rel=1e-3)
    assert chance.min() >= even * 0.999
    assert chance.sum() == pytest.approx(62)
    assert model.strands.rules[1].anywhere
    assert "reports anything else" in model.words.moved


def test_anonymous_reports_are_one_place_each(line: Ground) -> None:
    known = other_reports(line, [100] * 55, [5] * 55, [""] * 55)
    model = null_of(line, replace(at(line, [100], [5]), watching=known), "reports")
    assert "55 other reports from 55 places" in said(model)


def test_too_little_background_moves_within_windows_and_says_so(line: Ground) -> None:
    known = other_reports(line, [100] * 20, [5] * 20, [f"p{n}" for n in range(20)])
    model = null_of(line, replace(at(line, [100], [5]), watching=known), "reports")
    assert not model.strands.rules
    assert "20 places" in said(model)
    assert "within windows instead" in said(model)
    assert model.words.moved == "within windows of about 2 km of road"


def test_background_of_the_season(line: Ground) -> None:
    """By hand: people report at 1 km in spring and at 4 km in summer; autumn has 5 places only."""
    names = [f"p{n}" for n in range(125)]
    known = other_reports(
        line, [100] * 60 + [400] * 60 + [250] * 5, [5] * 60 + [8] * 60 + [10] * 5, names
    )
    world = replace(at(line, [100, 400, 250], [4, 7, 10]), watching=known)
    model = null_of(line, world, "reports", null_within="season", seasons=MONTHS)
    all_year, spring, summer, rest = (r.chance for r in model.strands.rules[1:])
    assert spring[100] > 50 * spring[400]
    assert summer[400] > 50 * summer[100]
    assert rest is all_year
    assert "months 1, 2, 3, 9, 10, 11, 12: 5 places, too few" in said(model)
    assert model.points.event_rule.tolist() == [2, 3, 4]


def test_fitted_rate_finds_what_reports_follow(classes: Ground) -> None:
    """Known truth: main roads have 4 times the reports of minor ones at like traffic, and traffic
    counts to the power 0.7, so twice the traffic 1.6 times."""
    rng = np.random.default_rng(5)
    world = by_class(classes, rng, observers=1500)
    model = null_of(classes, world, "reports")
    segments = classes.network.segments.iloc[classes.lixels.segment]
    main = (segments["road_class"] == "primary").to_numpy()
    minor = (segments["road_class"] == "tertiary").to_numpy()
    aadt = segments["aadt"].to_numpy()
    rate = model.strands.rules[1].chance / classes.lixels.length_m
    slope, _ = np.polyfit(np.log(aadt[main]), np.log(rate[main]), 1)
    assert slope == pytest.approx(0.7, abs=0.15)
    like = rate / aadt**slope
    assert like[main].mean() / like[minor].mean() == pytest.approx(4.0, rel=0.25)
    assert "twice the traffic" in said(model)
    assert "not allowed for" in said(model)
    assert not model.strands.rules[1].anywhere
    assert "fitted by class" in model.words.moved


def test_a_rate_by_class_alone_is_count_over_length() -> None:
    """Closed form: with one class beside another the Poisson fit gives each its places per km, with
    the one observer spread evenly added: 40 and 10 on 2 and 3 km, so 40.4/2 and 10.6/3 per km."""
    network = make_network([[(0, 0), (2000, 0)], [(2000, 0), (5000, 0)]],
                           road_class=["primary", "tertiary"])  # fmt: skip
    lixels = lay_lixels(network, 10.0)
    main = network.segments["road_class"].to_numpy()[lixels.segment] == "primary"
    places = np.zeros(500)
    places[np.flatnonzero(main)[[3, 90]]] = 15.0, 25.0
    places[np.flatnonzero(~main)[7]] = 10.0
    got = fit_reporting_rate(network, lixels, np.arange(500), places, 20)
    assert got.rate[main] == pytest.approx((40 + 0.4) / 200, rel=1e-6)
    assert got.rate[~main] == pytest.approx((10 + 0.6) / 300, rel=1e-6)
    assert "main roads 5.7 times" in got.words


def test_few_observers_are_not_fitted(classes: Ground) -> None:
    world = by_class(classes, np.random.default_rng(6), observers=20)
    model = null_of(classes, world, "reports")
    assert not model.strands.rules
    assert "not identified: 20 different observers for 5 numbers" in said(model)
    assert "within windows by length of road instead" in said(model)


def test_roads_that_are_all_alike_are_not_fitted(line: Ground) -> None:
    got = fit_reporting_rate(line.network, line.lixels, np.arange(500), np.ones(500), 500)
    assert got.rate is None
    assert "the same on all these roads" in got.words


def test_people_nearby_are_streets_within_500_m() -> None:
    """By hand: a street of 300 m off the middle of a road of 4 km: all of it within 400 m of its
    foot (3, 4, 5), some within 500 m, to the nearest 50 m."""
    network = make_network(
        [[(0, 0), (2000, 0)], [(2000, 0), (4000, 0)], [(2000, 0), (2000, 300)]],
        road_class=["primary", "primary", "residential"],
    )
    lixels = lay_lixels(network, 10.0)
    near = people_nearby(network, lixels)
    kind = network.segments["road_class"].to_numpy()[lixels.segment]
    assert near[kind == "residential"] == pytest.approx(0.3)
    assert near.min() == 0
    main = np.sort(near[kind == "primary"])
    assert (main > 0.295).sum() == pytest.approx(80, abs=12)
    assert (main > 0).sum() == pytest.approx(100, abs=12)
