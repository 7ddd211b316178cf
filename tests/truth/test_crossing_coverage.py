"""The scoring is right, the plain estimators are what they claim, and the table comes out."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.stats import spearmanr

from roadrisk.base.seeds import generator
from tests.truth.crossing_coverage import ESTIMATORS, cells, heading, line
from tests.truth.estimators import (
    _bridges,
    least_crossings,
    motion_variance,
    straight_lines,
)
from tests.truth.walk_scoring import (
    Estimates,
    Road,
    Tracks,
    Truth,
    score,
    spearman,
    summary,
)
from tests.truth.walk_tracks import position, tracks, truth_of
from tests.truth.walkers import CLOCK, World, world

ONE_ROAD = Road(
    np.array([[-500.0, 0, 500, 0]]), 6.0, np.array([0, 0]), np.array([0.0, 500]),
    np.array([500.0, 1000]), np.array([True, True]),
)  # fmt: skip


@pytest.fixture(scope="module")
def study() -> World:
    return world("walker", "frequent", "two roads", 6, generator(8, "study"))


def _scored(draw_mean: np.ndarray, true_mean: np.ndarray) -> dict[str, float]:
    """Summary for Poisson truths and Poisson draws, 20 animals a study."""
    rng = generator(4, "poisson")
    scores = []
    for part in range(len(true_mean) // 20):
        rows = slice(part * 20, part * 20 + 20)
        draws = rng.poisson(draw_mean[rows, None], (20, 400)).astype(float)
        real = rng.poisson(true_mean[rows]).astype(float)
        shares = np.column_stack([real, real * 2])
        found = Estimates(draws, None, np.zeros(20), shares)
        scores.append(score(found, Truth(real, real, shares, np.ones(20)), ONE_ROAD))
    return summary(scores, rng)


def test_a_right_model_scores_90_percent() -> None:
    """Known truth: 4,000 animals, standard error 0.005; small counts push only `coverage` up."""
    means = generator(4, "means").gamma(0.7, 4.0, 4000)
    found = _scored(means, means)
    assert found["level"] == pytest.approx(0.90, abs=0.015)
    assert found["level"] < found["coverage"] < 1
    assert found["bias"] == pytest.approx(1, abs=0.03)
    assert found["level_se"] == pytest.approx(0.005, abs=0.002)
    assert np.isnan(found["total_coverage"])


def test_a_wrong_model_scores_less() -> None:
    means = np.full(2000, 30.0)
    found = _scored(means * 1.5, means)
    assert found["coverage"] < 0.5
    assert found["level"] < 0.5
    assert found["bias"] == pytest.approx(1.5, abs=0.03)


def test_interval_and_least_by_hand() -> None:
    """By hand: draws 1 to 20 have the equal-tailed 90 % interval 1 to 19, ends included."""
    draws = np.tile(np.arange(1.0, 21), (3, 1))
    real = np.array([1.0, 19.0, 20.0])
    found = Estimates(draws, draws, np.array([1.0, 20, 20]), np.zeros((3, 2)))
    table = score(found, Truth(real, real, np.array([[1.0, 2], [0, 0], [0, 1]]), real), ONE_ROAD)
    assert table.animals["days_inside"].tolist() == [True, True, False]
    assert table.animals["total_inside"].tolist() == [1, 1, 0]
    assert table.animals["least_wrong"].tolist() == [False, True, False]
    assert table.segment_order == 0
    assert table.animal_order == 0


def test_wrong_shapes_are_refused() -> None:
    real = np.ones(3)
    found = Estimates(np.ones((2, 5)), None, np.ones(2), np.ones((2, 2)))
    with pytest.raises(ValueError, match="disagree"):
        score(found, Truth(real, real, np.ones((3, 2)), real), ONE_ROAD)


def test_rank_correlation_equals_scipy() -> None:
    """Outside: scipy.stats.spearmanr, with ties."""
    rng = generator(6, "ranks")
    for _ in range(20):
        first, second = rng.integers(0, 6, (2, 12)).astype(float)
        assert spearman(first, second) == pytest.approx(spearmanr(first, second).statistic)


def test_motion_variance_equals_worked_values() -> None:
    """By hand, without error: the mean of d²/(2 T a (1 - a)) over the left-out fixes."""
    few = np.array([[0.0, 0], [10, 5], [20, 0]])
    more = np.vstack([few, [[28, 6], [40, 0]]])
    uneven = np.array([0.0, 10, 20, 30, 50])
    assert motion_variance(np.array([0.0, 10, 20]), few, np.zeros(3)) == pytest.approx(
        2.5, rel=1e-3
    )
    assert motion_variance(uneven, more, np.zeros(5)) == pytest.approx(8 / 3, rel=1e-3)


def test_motion_variance_is_recovered_with_error() -> None:
    """Known truth: Brownian motion of 40 m² an hour, 4,000 fixes, standard error 3 %.

    The left-out fix's own error isn't in the published variance, so it is kept at none here.
    """
    rng = generator(7, "brownian")
    hours = np.cumsum(rng.uniform(2, 8, 4000))
    steps = rng.standard_normal((4000, 2)) * np.sqrt(40 * np.diff(hours, prepend=0))[:, None]
    sd = np.where(np.arange(4000) % 2 == 0, rng.uniform(3, 8, 4000), 0.0)
    seen = np.cumsum(steps, axis=0) + rng.standard_normal((4000, 2)) * sd[:, None]
    assert motion_variance(hours, seen, sd) == pytest.approx(40, rel=0.08)


def test_lines_through_every_minute_find_the_truth(study: World) -> None:
    """Known truth: with a fix each active minute and no error nothing is left to guess."""
    time = (np.arange(120)[:, None] * 24 + 8 + np.arange(1, 601) / 60).ravel()
    xy = np.concatenate([position(study, animal, time) for animal in range(6)])
    animal = np.repeat(np.arange(6), len(time))
    seen = Tracks(animal, np.tile(time, 6), xy[:, 0], xy[:, 1], np.full(len(xy), 1e-6))
    found = straight_lines(seen, study.road, CLOCK, generator(0, "none"))
    real = truth_of(study, seen)
    assert real.total_crossings.sum() > 100
    np.testing.assert_array_equal(found.crossing_days[:, 0], real.crossing_days)
    assert found.total_crossings is not None
    np.testing.assert_array_equal(found.total_crossings[:, 0], real.total_crossings)
    np.testing.assert_allclose(found.segment_days, real.segment_days)


def test_bridge_meets_a_line_as_often_as_the_formula_says() -> None:
    """Outside: reflection principle, exp(-2 d1 d2 / (s² T)), textbook.

    Seen every 3.75 minutes only (8 hours halved seven times), which by Broadie, Glasserman &
    Kou (from memory) is like a line 0.5826 s sqrt(step) farther away. Standard error 0.008.
    """
    distance, variance, hours = 20.0, 150.0, 8.0
    ends = np.array([[0.0, distance], [5.0, distance]])
    room, times, rng = np.empty((1000, 3)), np.array([0.0, hours]), generator(3, "contact")
    met = 0
    for _ in range(4000):
        count = _bridges(rng, times, ends, variance, ONE_ROAD.frames, 0.0, room)
        met += bool(np.any(room[:count, 2] < 0))
    away = distance + 0.5826 * math.sqrt(variance * hours / 128)
    chance = math.exp(-2 * away**2 / (variance * hours))
    assert met / 4000 == pytest.approx(chance, abs=0.025)


def test_fixes_force_no_more_than_happened(study: World) -> None:
    """Known truth: changes of side beyond three standard deviations are real crossings."""
    seen = tracks(study, 1, generator(1, "least"), bursts=True)
    least, real = least_crossings(seen, study.road), truth_of(study, seen).total_crossings
    assert np.all(least <= real)
    assert least.sum() > 0.05 * real.sum()


def test_table_of_a_small_run() -> None:
    """Known truth: lines miss most crossings and hold the truth hardly ever; order survives."""
    methods = {name: ESTIMATORS[name]() for name in ("lines", "bridges")}
    found = list(cells(methods, 40, kinds=("walker",), versions=("frequent",), spacings=(1,)))
    assert [(c["estimator"], c["bursts"]) for c in found] == [
        ("lines", False), ("bridges", False), ("lines", True), ("bridges", True),
    ]  # fmt: skip
    for cell in found:
        assert cell["animals"] == 40
        assert len(line(cell)) <= len(heading()) + 4
        order, coverage, bias = cell["segment_order"], cell["coverage"], cell["bias"]
        assert isinstance(order, float)
        assert isinstance(coverage, float)
        assert isinstance(bias, float)
        assert order > 0.5
        if cell["estimator"] == "lines":
            assert coverage < 0.1
            assert bias < 0.7
