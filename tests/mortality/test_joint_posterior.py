"""The normal shape fitted to the model's unknowns: identities by hand."""

from __future__ import annotations

import numpy as np
import pytest

from roadrisk.mortality.joint_field import road_field
from roadrisk.mortality.joint_layout import Layout, lay_out
from roadrisk.mortality.joint_posterior import Fitter
from roadrisk.mortality.known_chances import known_chances
from roadrisk.mortality.sources import Source
from tests.mortality.made_deaths import hump, reports, straight_road, surveys


def layout(*sources: Source) -> Layout:
    none = np.zeros((60, 0))
    roads = np.repeat([0, 1, 2], 20)
    return lay_out(sources, road_field(straight_road()), none, none, roads)


def crossings(rate: np.ndarray) -> Source:
    made = surveys(rate, seed=9)
    return Source("crossings", made.y, made.exposure, made.log_q, overdispersed=True)


@pytest.mark.parametrize(
    "sources",
    [
        pytest.param((surveys(hump()),), id="surveys"),
        pytest.param((surveys(hump()), reports(hump())), id="with reports"),
        pytest.param((surveys(hump()), crossings(hump())), id="with crossings"),
    ],
)
def test_slope_is_that_of_the_bound(sources: tuple[Source, ...]) -> None:
    """By hand: the slopes by the log standard deviations equal differences of the bound."""
    laid = layout(*sources)
    fitter = Fitter(laid)
    logs = np.log(np.linspace(0.4, 0.8, len(laid.scales)))
    here = fitter.fit(np.exp(logs))
    for k in range(len(logs)):
        step = np.zeros(len(logs))
        step[k] = 0.02
        up, down = (fitter.fit(np.exp(logs + s * step), here).bound for s in (1, -1))
        assert here.slope[k] == pytest.approx((up - down) / 0.04, abs=0.02)


def test_expected_counts_add_up_to_the_counts() -> None:
    """By hand: with a free level the mean of the sum of expected counts is the sum of counts."""
    source = surveys(2 * hump())
    laid = layout(source)
    scales = np.array([0.7, 0.9])
    fitter = Fitter(laid)
    fitted = fitter.fit(scales)
    inner, border = fitter.draws(scales, fitted, 20_000, np.random.default_rng(1))
    log_rate = laid.offset[:, None] + inner[:60] + inner[60:120] + laid.border @ border
    assert np.exp(log_rate).sum(axis=0).mean() == pytest.approx(source.counted, rel=0.02)
    np.testing.assert_allclose(log_rate.var(axis=1), fitted.variance, rtol=0.08)


def test_a_chance_in_parts_is_the_chance_that_was_drawn() -> None:
    """By hand: middle, common factor and shapes give back the mean and variance of log q."""
    rng = np.random.default_rng(2)
    common, tilt = rng.gamma(4.0, 0.1, 4000), rng.normal(0.0, 0.3, 4000)
    log_q = -common - np.linspace(-1.0, 1.0, 60)[:, None] * tilt
    source = Source("surveys", np.ones(60), np.full(60, 0.2), log_q)
    chance = known_chances([source]).of[0]
    assert chance.shapes.shape == (60, 1)
    drawn = chance.log_chance(rng.standard_normal(4000), rng.standard_normal((1, 4000)))
    np.testing.assert_allclose(drawn.mean(axis=1), log_q.mean(axis=1), atol=0.05)
    np.testing.assert_allclose(drawn.std(axis=1), log_q.std(axis=1), rtol=0.06)
