"""The one model of deaths: by hand where a number is known, by recovery elsewhere."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from roadrisk.errors import InputError
from roadrisk.mortality.death_ranks import best_number
from roadrisk.mortality.joint_covariates import Covariates
from roadrisk.mortality.joint_model import JointDeaths, joint_deaths
from roadrisk.mortality.sources import Source
from roadrisk.mortality.traffic_twice import both_readings
from tests.mortality.made_deaths import hump, reports, straight_road, surveys

ROAD, RATE = straight_road(), hump()


def fit(*sources: Source, **more: object) -> JointDeaths:
    return joint_deaths(ROAD, sources, seed=7, **more)  # type: ignore[arg-type]


def total(found: JointDeaths) -> np.ndarray:
    assert found.per_year is not None
    return found.per_year


def test_total_is_counted_over_effort() -> None:
    """By hand: everywhere the same effort, so total = counted / (years · q), within the draws."""
    source = surveys(RATE)
    expected = source.counted / (2.0 * np.exp(np.asarray(source.log_q).mean()))
    assert np.median(total(fit(source))) == pytest.approx(expected, rel=0.04)


def test_uncertain_chance_does_not_average_out() -> None:
    """By hand: the log total's variance is about 1 / counted plus the variance of log q."""
    source = surveys(5 * RATE)
    log_q = np.random.default_rng(1).normal(np.log(0.5), 0.4, 400)
    wide = np.log(total(fit(replace(source, log_q=log_q)))).std()
    sure = np.log(total(fit(replace(source, log_q=np.full(3, np.log(0.5)))))).std()
    assert wide == pytest.approx(np.hypot(source.counted**-0.5, log_q.std()), rel=0.12)
    assert sure == pytest.approx(source.counted**-0.5, rel=0.12)


def test_a_chance_that_may_be_nil_leaves_the_number_open() -> None:
    """By hand: one draw in ten says that nothing could be found; the middle stays as it was."""
    source = surveys(5 * RATE)
    log_q = np.full(400, np.log(0.5)) + np.random.default_rng(1).normal(0.0, 0.05, 400)
    sure = total(fit(replace(source, log_q=log_q)))
    log_q[:40] = -50.0
    open_ended = total(fit(replace(source, log_q=np.tile(log_q, (60, 1)))))
    assert np.median(open_ended) == pytest.approx(np.median(sure), rel=0.05)
    assert np.quantile(open_ended, 0.95) > 1e6
    assert np.quantile(open_ended, 0.8) < 1.5 * np.median(sure)


def test_draws_to_be_added_up_have_the_best_number_as_their_mean() -> None:
    """By definition; one draw in ten that leaves the number open weighs three times another."""
    source = surveys(5 * RATE)
    found = fit(source)
    assert found.expected_draws is not None
    assert found.rate is not None
    summed = found.expected_draws.sum(axis=0)
    assert summed.mean() == pytest.approx(best_number(total(found)), rel=1e-12)
    np.testing.assert_allclose(
        found.expected_draws / summed, found.rate * ROAD.length_km[:, None] / total(found)
    )
    log_q = np.full(400, np.log(0.5))
    log_q[:40] = -50.0
    open_ended = fit(replace(source, log_q=log_q)).expected_draws
    assert open_ended is not None
    weight = np.sort(open_ended.sum(axis=0))
    assert weight[-1] / np.median(weight) == pytest.approx(3.0, rel=0.1)
    assert fit(replace(source, y=np.zeros(len(ROAD)))).expected_draws is None


@pytest.mark.parametrize("other", ["reports", "crossings"])
def test_where_few_tell_places_are_expected_at_their_single_numbers(other: str) -> None:
    """By definition; a survey of the same counts is taken by its means."""
    tags = replace(surveys(RATE, seed=3), name="crossings", overdispersed=True)
    more = {"reports": reports(RATE), "crossings": tags}[other]
    found = fit(surveys(5 * RATE), more)
    assert found.few_tell
    assert found.expected_draws is not None
    points = found.points * found.length_km
    np.testing.assert_allclose(found.expected_draws.mean(axis=1), points, rtol=1e-12)
    alike = fit(surveys(5 * RATE), replace(surveys(RATE, seed=3), name="by car"))
    assert not alike.few_tell
    assert not fit(surveys(5 * RATE), replace(more, y=np.zeros(len(ROAD)))).few_tell


def test_two_protocols_share_their_trials() -> None:
    """By hand: with the same draws of q both halves err together, with shuffled draws less so."""
    log_q = np.random.default_rng(1).normal(np.log(0.5), 0.4, 400)
    parts = []
    for n, half in enumerate((slice(0, 30), slice(30, 60))):
        made = surveys(6 * RATE, watched=half)
        parts.append(replace(made, name=f"protocol {n}", log_q=log_q))
    apart = [parts[0], replace(parts[1], log_q=np.random.default_rng(5).permutation(log_q))]
    together = np.log(total(fit(*parts))).std()
    assert together > 1.15 * np.log(total(fit(*apart))).std()


def test_sources_that_contradict_each_other_are_named() -> None:
    """By hand: two counts of the same deaths, one said to see four times less than it does."""
    first = surveys(4 * RATE)
    wide = np.random.default_rng(3).normal(np.log(0.125), 0.6, 400)
    second = replace(surveys(4 * RATE, seed=6), name="crossings", log_q=wide)
    found = fit(first, second)
    assert 2.5 < found.chance_moved["crossings"] < 5.0
    assert "crossings does not agree" in " ".join(found.words)
    agreed = fit(first, replace(second, log_q=wide + np.log(4.0)))
    assert agreed.chance_moved["crossings"] == pytest.approx(1.0, abs=0.35)
    assert "agree" not in " ".join(agreed.words)


def test_ten_times_the_reports_change_no_total() -> None:
    """By hand: how many die comes from surveys alone, here on all roads, so nothing may change."""
    once, ten = fit(surveys(RATE), reports(RATE)), fit(surveys(RATE), reports(RATE, 10.0))
    np.testing.assert_allclose(total(once), total(ten), rtol=1e-9)
    assert not np.allclose(once.relative, ten.relative)
    np.testing.assert_allclose(total(once), total(fit(surveys(RATE))), rtol=1e-9)


def test_reports_say_where_on_roads_nobody_surveyed() -> None:
    """By recovery: the hump lies where only the public went, and is found there."""
    source = surveys(RATE, watched=slice(32, 60))
    alone, found = fit(source), fit(source, reports(3 * RATE))
    inside, outside = slice(17, 24), slice(0, 8)
    ratio = [
        np.median(f.relative[inside].mean(0) / f.relative[outside].mean(0)) for f in (alone, found)
    ]
    assert ratio[0] < 2.0
    assert ratio[1] > 3.0


def test_nothing_found_is_a_bound() -> None:
    """By hand: with a sure chance of one half and 12 km · years the bound is 3.0 / 6 per km."""
    source = replace(surveys(RATE), y=np.zeros(60), log_q=np.full(400, np.log(0.5)))
    found = fit(source, draws=4000)
    assert found.bound_only
    # The shape of rates matters little where all is watched alike.
    assert np.quantile(total(found), 0.95) == pytest.approx(-np.log(0.05) / 6.0 * 6.0, rel=0.05)
    assert "bound and not a zero" in " ".join(found.words)


def test_without_a_known_chance() -> None:
    """By recovery: where, not how many; and it says so."""
    found = fit(reports(4 * RATE))
    assert found.rate is None
    assert found.per_year is None
    assert found.excess is None
    assert abs(found.relative.mean(axis=1).argmax() - 20) <= 5
    assert (0.1 * found.relative.sum(axis=0)).tolist() == pytest.approx([6.0] * 400)
    assert "How many die is not known" in found.words[0]


@pytest.mark.parametrize(
    ("sources", "said"),
    [
        pytest.param([], "Nothing was counted by any source", id="nothing at all"),
        pytest.param(
            [surveys(RATE), replace(reports(RATE), y=np.zeros(60))],
            "reports counted nothing",
            id="no report",
        ),
        pytest.param(
            [replace(surveys(RATE), log_q=None)], "How many die is not known", id="no trials"
        ),
        pytest.param(
            [replace(surveys(RATE), exposure=np.zeros(60), y=np.zeros(60))],
            "watched no road",
            id="no effort",
        ),
        pytest.param(
            [surveys(RATE, watched=slice(0, 20))], "4.0 of 6.0 km were watched by no", id="part"
        ),
    ],
)
def test_poor_worlds_run_and_say_so(sources: list[Source], said: str) -> None:
    """By hand: what isn't known stands in the words."""
    found = fit(*sources)
    assert said in " ".join(found.words)
    assert np.isfinite(found.relative).all()


def test_one_piece_of_road() -> None:
    """By hand: a single piece has no neighbours and a rate all the same."""
    source = Source("surveys", np.array([4.0]), np.array([0.2]), np.full(10, np.log(0.5)))
    found = joint_deaths(straight_road(1), [source], seed=1)
    assert np.median(total(found)) == pytest.approx(4.17 / (2 * 0.5), rel=0.1)


def test_too_few_deaths_for_covariates() -> None:
    """By hand: 10 deaths are needed for each, and the simpler rate is said."""
    few = surveys(RATE)
    x = Covariates(
        ("wetland", "forest", "flat"), np.column_stack([RATE, -np.arange(60.0), np.ones(60)])
    )
    found = fit(replace(few, y=few.y * 0 + (np.arange(60) < 12)), covariates=x)
    assert found.covariates == ()
    assert "12 carcasses and crossings counted on 60 pieces of road are too few" in " ".join(
        found.words
    )
    assert "flat is the same on all roads" in " ".join(found.words)


def test_excess_over_similar_roads() -> None:
    """By recovery: what a covariate explains is no excess; what it doesn't, is."""
    wet = (np.arange(60) % 10 < 5) * 1.0
    rate = np.exp(0.5 + 1.6 * wet)
    rate[41:44] += 25.0
    found = fit(surveys(3 * rate), covariates=Covariates(("wetland",), wet[:, None]))
    assert found.covariates == ("wetland",)
    assert found.excess is not None
    ratio = np.median(found.similar[wet == 1][0] / found.similar[wet == 0][0])
    assert 2.0 < ratio < 9.0
    excess = found.excess.mean(axis=1)
    assert excess.argmax() in {41, 42, 43}
    assert abs(excess @ found.length_km) < 1e-6 * total(found).mean()


def test_traffic_is_read_both_ways() -> None:
    """By recovery: reports follow traffic and deaths don't; only one reading clears traffic."""
    traffic = np.where((np.arange(60) // 6) % 2 == 0, 200.0, 8000.0)
    busy = np.where(traffic > 1000, 6.0, 1.0)
    flat = np.full(60, 3.0)
    seen = reports(flat * busy)
    both = both_readings(ROAD, [seen], traffic, seed=3)
    contrast = [
        np.median(f.relative[traffic > 1000].mean(0) / f.relative[traffic < 1000].mean(0))
        for f in (both.of_deaths, both.of_reports)
    ]
    assert contrast[0] > 1.3 * contrast[1]
    assert contrast[1] < 2.5
    assert "can't tell the two apart" in both.words
    assert 0 <= both.shared_worst <= both.k


def test_same_seed_same_draws() -> None:
    """By hand: nothing but the seed decides the draws, and inputs stay as they were."""
    source = surveys(RATE)
    before = source.y.copy()
    first, again = fit(source), fit(source)
    np.testing.assert_array_equal(first.relative, again.relative)
    np.testing.assert_array_equal(source.y, before)
    other = joint_deaths(ROAD, [source], seed=8)
    assert not np.allclose(other.relative, first.relative)


def test_wrong_sources_are_refused() -> None:
    """By hand: all that is wrong is named at once."""
    bad = [
        Source("a", np.full(60, -1.0), np.ones(60), None),
        Source("b", np.ones(60), np.zeros(60), np.zeros((3, 3))),
        Source("b", np.ones(4), np.ones(4), None),
    ]
    with pytest.raises(InputError) as caught:
        fit(*bad)
    text = str(caught.value)
    for part in ("below zero", "nothing was watched", "don't fit", "not one value", "share a name"):
        assert part in text
