"""Effects as draws: points by hand, bounds, and no luck for measures without an effect."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats

from roadrisk.base.seeds import generator
from roadrisk.measure_findings import MeasureTables
from roadrisk.mitigation.effects import (
    COLUMNS,
    END_WEIGHTS,
    draw_effects,
    effects_table,
    split_normal,
    step_of,
)
from roadrisk.mitigation.measures import Range, built_in_measures, with_effect

FENCE = built_in_measures()["fence_and_passages"]
SIGN = built_in_measures()["sign_standing"]


def rng(seed=1):
    return generator(seed, "tests.effects")


def with_range(low, likely, high):
    return with_effect(SIGN, low=low, likely=likely, high=high, source="made up",
                       grade="given by the study")  # fmt: skip


def test_three_points_hold():
    # By hand: 5 % point, middle and 95 % point of the draws are the range's own.
    draws = draw_effects(FENCE, rng(), 20_000)
    found = np.quantile(draws.effect, (0.05, 0.5, 0.95))
    np.testing.assert_allclose(found, (0.54, 0.89, 0.99), atol=2e-4)
    found = np.quantile(draws.displaced, (0.05, 0.5, 0.95))
    np.testing.assert_allclose(found, (0.0, 0.5, 1.1), atol=2e-4)


def test_split_normal_by_hand():
    value = Range(low=1, likely=3, high=4, source="made up")
    found = split_normal(value, np.array([0.05, 0.5, 0.95, stats.norm.cdf(-2 * 1.644853627)]))
    np.testing.assert_allclose(found, (1, 3, 4, -1), atol=1e-8)


@pytest.mark.parametrize("points", [(0.9, 1, 1), (1, 1, 1), (0.2, 0.5, 1), (-0.57, 0, 0.49)])
def test_no_draw_averts_more_deaths_than_there_are(points):
    effect = draw_effects(with_range(*points), rng(), 3000).effect
    assert effect.max() <= 1
    assert np.isfinite(effect).all()
    assert np.median(effect) == pytest.approx(min(points[1], 0.999), abs=1.1e-3)


def test_nothing_displaced_is_below_0_and_ends_take_three_values():
    draws = draw_effects(FENCE, rng(), 1000)
    assert draws.displaced.min() == 0
    assert draws.displaced.max() > 1.1
    ends, counts = np.unique(draws.end_m, return_counts=True)
    assert ends.tolist() == [50, 100, 200]
    np.testing.assert_allclose(counts / 1000, END_WEIGHTS, atol=0.001)


def test_weights_of_three_ends_keep_mean_and_variance():
    """By hand: of a standard normal, whose 5 and 95 % points are at 1.645."""
    z = np.array([-1, 0, 1]) * 1.6448536
    weights = np.array(END_WEIGHTS)
    assert weights.sum() == pytest.approx(1)
    assert weights @ z**2 == pytest.approx(1, abs=0.002)


def test_a_sign_is_not_made_to_look_good_by_luck():
    # Middles of equal slices: the mean is the distribution's, whatever the seed.
    means = [draw_effects(SIGN, rng(seed), 400).effect.mean() for seed in range(20)]
    assert np.ptp(means) < 1e-12
    assert -0.01 < means[0] <= 0


def test_local_measures_move_nothing():
    draws = draw_effects(SIGN, rng(), 50)
    assert not draws.displaced.any()
    assert (draws.end_m == 1).all()


def test_draws_are_independent_and_repeat_with_the_seed():
    one, again, other = (draw_effects(FENCE, rng(seed), 4000) for seed in (3, 3, 4))
    np.testing.assert_array_equal(one.effect, again.effect)
    assert (one.effect != other.effect).any()
    rho = np.corrcoef([one.effect, one.displaced, one.end_m])
    assert np.abs(rho[np.triu_indices(3, 1)]).max() < 0.06  # 3.8 standard errors of 0


def test_no_effect_no_draws():
    with pytest.raises(ValueError, match="not identified"):
        draw_effects(built_in_measures()["lower_speed"], rng(), 10)
    with pytest.raises(ValueError, match="0 draws"):
        draw_effects(FENCE, rng(), 0)


def test_table_of_effects():
    table = effects_table(built_in_measures().values())
    assert tuple(table.columns) == COLUMNS
    assert all(name in MeasureTables.__doc__ for name in COLUMNS)
    rows = table.set_index("measure")
    assert rows.loc["fence_and_passages", "effect"] == 0.89
    assert rows.loc["fence_and_passages", "displaced_high"] == 1.1
    assert np.isnan(rows.loc["lower_speed", "effect"])
    assert "not identified" in rows.loc["lower_speed", "source"]
    assert rows.loc["night_closure", "precedents"] == "none found"
    assert rows.loc["patrol", "grade"] == "none found"


def test_fences_of_the_same_evidence_are_drawn_alike() -> None:
    """By hand: with the same ranges no fence is better than another, in any draw."""
    measures = built_in_measures()
    one, other, sign = (
        draw_effects(measures[key], generator(7, step_of(measures[key])), 400)
        for key in ("fence_and_passages", "fence_to_culverts", "sign_standing")
    )
    assert (one.effect == other.effect).all()
    assert (one.displaced == other.displaced).all()
    assert (one.end_m == other.end_m).all()
    # Signs rest on other evidence: whether they work has nothing to do with fences.
    assert abs(np.corrcoef(one.effect, sign.effect)[0, 1]) < 0.2
