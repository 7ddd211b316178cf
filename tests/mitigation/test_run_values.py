"""What measures avert on runs of road: by hand, and of properties that must hold."""

from __future__ import annotations

import time

import numpy as np
import pytest

from roadrisk.mitigation.run_values import (
    mean_run_values,
    moved_deaths,
    moved_draws,
    run_value_draws,
)

ONE = np.ones(1)


def value(deaths, length_m, a, b, *, e=1.0, f=1.0, reach=200.0) -> float:
    """One draw, one run."""
    out = run_value_draws(
        np.asarray(deaths, float)[:, None], np.asarray(length_m, float), np.array([a]),
        np.array([b]), e * ONE, f * ONE, reach * ONE, True,
    )  # fmt: skip
    return float(out[0, 0])


def world(seed: int, places: int = 60, draws: int = 40):
    rng = np.random.default_rng(seed)
    deaths = rng.gamma(0.3, 1.0, (places, draws))
    length = rng.uniform(20.0, 180.0, places)
    effect = rng.uniform(-0.1, 1.0, draws)
    displaced = rng.uniform(0.0, 1.3, draws)
    reach = rng.choice([0.0, 100.0, 250.0, 400.0], draws)
    pairs = [(a, b) for a in range(places) for b in range(a + 1, places + 1)]
    return deaths, length, *np.array(pairs).T, effect, displaced, reach


def test_three_places_by_hand() -> None:
    """By hand: 300 m, l = 200 m; left weights 3/4, 1/4, 0, right ones mirrored."""
    deaths = [4.0, 2.0, 8.0]
    # The weights of the two ends add up to 3/4, 1/2 and 3/4.
    averted = 0.8 * (4 * (1 - 0.5 * 0.75) + 2 * (1 - 0.5 * 0.5) + 8 * (1 - 0.5 * 0.75))
    assert value(deaths, [100] * 3, 0, 3, e=0.8, f=0.5) == pytest.approx(averted, rel=1e-14)
    # No longer than l: all within reach of the ends.
    assert value(deaths, [100] * 3, 0, 2, e=0.8, f=0.5) == pytest.approx(0.8 * 6 * 0.5)
    assert value(deaths, [100] * 3, 0, 2, e=0.8, f=1.2) == pytest.approx(-0.8 * 6 * 0.2)
    assert value(deaths, [100] * 3, 0, 2, e=0.8, f=0.5, reach=0.0) == pytest.approx(0.8 * 6)


def test_other_measures_move_nothing() -> None:
    """By hand: a share of what dies on the run."""
    deaths = np.array([[1.0, 2.0], [3.0, 5.0]])
    for nothing in (None, np.ones(2)):
        out = run_value_draws(
            deaths, np.full(2, 100.0), np.array([0, 0]), np.array([2, 1]), np.array([0.5, 0.1]),
            nothing, nothing, False,
        )  # fmt: skip
        np.testing.assert_allclose(out, [[2.0, 0.7], [0.5, 0.2]])


@pytest.mark.parametrize("seed", [1, 2])
@pytest.mark.parametrize("barrier", [True, False])
def test_means_of_all_runs_are_means_of_draws(seed, barrier) -> None:
    """By identity: running sums against the definition, every run of 60 uneven places."""
    given = world(seed)
    slow = run_value_draws(*given, barrier).mean(axis=1)
    np.testing.assert_allclose(mean_run_values(*given, barrier), slow, rtol=0, atol=1e-12)


def test_one_fine_place_more_changes_a_mean_little() -> None:
    """Continuous where a run grows past l: the shortcut for short runs meets the other."""
    deaths, length = np.ones((400, 1)), np.full(400, 1.0)
    last = np.arange(1, 401)
    out = mean_run_values(
        deaths, length, np.zeros(400, int), last, ONE, ONE, 200.0 * ONE, True
    )  # fmt: skip
    steps = np.diff(np.concatenate([[0.0], out]))
    assert np.all(np.abs(steps) <= 1.0 + 1e-9)  # never more than the deaths on the metre
    np.testing.assert_allclose(out[:200], 0.0, atol=1e-12)  # f = 1: all comes back
    assert out[-1] == pytest.approx(400 - 200.0, rel=1e-9)  # l/2 comes back at each end


def test_twenty_thousand_places_are_quick() -> None:
    rng = np.random.default_rng(3)
    deaths, length = rng.gamma(0.3, 1.0, (20_000, 100)), np.full(20_000, 100.0)
    first = np.repeat(np.arange(20_000), 30)
    last = np.minimum(first + np.tile(np.arange(1, 31), 20_000), 20_000)
    draws = rng.uniform(0, 1, 100), rng.uniform(0, 1, 100), rng.choice([100.0, 200, 300], 100)
    mean_run_values(deaths[:50], length[:50], first[:30], last[:30], *draws, True)  # compile
    start = time.perf_counter()
    out = mean_run_values(deaths, length, first, last, *draws, True)
    # Takes 0.1 s alone; the machine may be busy.
    assert time.perf_counter() - start < 5.0
    some = np.array([17, 5_000, 599_000])
    slow = run_value_draws(deaths, length, first[some], last[some], *draws, True).mean(axis=1)
    np.testing.assert_allclose(out[some], slow, atol=1e-10)  # sums of 20,000 lose two digits


def test_a_fence_that_ends_inside_a_hot_stretch_scores_less_than_one_shifted_over_it() -> None:
    """Equal lengths and nearly equal deaths on the run: its ends are what differs."""
    hot = np.full(40, 0.01)
    hot[15:25] = 1.0
    length = np.full(40, 100.0)
    over = value(hot, length, 12, 28)
    inside = value(hot, length, 9, 25)  # covers the stretch too, but ends at its edge
    cut = value(hot, length, 4, 20)
    assert over > inside > cut
    assert over == pytest.approx(10 + 6 * 0.01 - 4 * 0.01 * 0.5, rel=1e-9)
    # A metre of shift at a time, on metres of road: best when centred.
    fine = np.full(1200, 0.0001)
    fine[500:700] = 0.01
    scores = [value(fine, np.ones(1200), a, a + 500, f=0.7) for a in range(300, 401, 10)]
    assert int(np.argmax(scores)) == 5
    assert scores[0] < scores[5]
    assert scores[-1] < scores[5]


def test_a_fence_whose_length_goes_to_nothing_averts_nothing() -> None:
    """Continuous: fences of 1,000 to 0.001 m on road with deaths spread evenly."""
    lengths = 10.0 ** np.arange(3, -4, -1)
    scores = [value([0.004 * m], [m], 0, 1, e=0.9, f=0.5) for m in lengths]
    assert np.all(np.diff(scores) < 0)
    assert scores[-1] == pytest.approx(0.9 * 0.5 * 0.004 * 0.001)


def test_two_that_touch_score_like_one_when_joined() -> None:
    """The joined run has one pair of ends fewer; far apart nothing is shared."""
    deaths = np.random.default_rng(5).gamma(0.5, 1.0, 30)
    length = np.full(30, 100.0)
    joined = value(deaths, length, 5, 19)
    halves = value(deaths, length, 5, 12) + value(deaths, length, 12, 19)
    # What comes back at the two ends that are no more: deaths within 200 m of the joint.
    weight = np.array([0.25, 0.75])
    back = deaths[10:12] @ weight + deaths[12:14] @ weight[::-1]
    assert joined == pytest.approx(halves + back, rel=1e-12)
    # Places may be cut finer: the same fence scores the same.
    twice = np.repeat(deaths / 2, 2)
    fine = value(twice, np.full(60, 50.0), 10, 38)
    ends = np.abs(fine - joined)
    assert ends < 1e-12


def test_moved_deaths_fall_beyond_the_ends_and_are_conserved() -> None:
    """By hand: 4 deaths a year come back at each end, over 200 m: 3/4 and 1/4."""
    deaths, length = np.zeros((9, 1)), np.full(9, 100.0)
    deaths[2:6] = 4.0
    given = (np.array([2]), np.array([6]), ONE, ONE, 200.0 * ONE)
    lines = np.array([0, 9])
    moved = moved_deaths(deaths, length, lines, *given)[:, 0]
    np.testing.assert_allclose(moved, [1, 3, 0, 0, 0, 0, 3, 1, 0], atol=1e-14)
    # Up to the next fence, and to the line's end.
    stop = np.arange(9) == 7
    at_fence = moved_deaths(deaths, length, lines, *given, fenced=stop)[:, 0]
    np.testing.assert_allclose(at_fence, [1, 3, 0, 0, 0, 0, 4, 0, 0], atol=1e-14)
    at_end = moved_deaths(deaths, length, np.array([0, 2, 6, 9]), *given)[:, 0]
    np.testing.assert_allclose(at_end, [0, 0, 4, 0, 0, 4, 0, 0, 0], atol=1e-14)


@pytest.mark.parametrize("seed", range(5))
def test_moved_deaths_add_up(seed) -> None:
    """By identity, draw by draw: fences at ends of lines and near each other."""
    deaths, length, _, _, *draws = world(seed)
    first, last = np.array([0, 12, 15, 30]), np.array([7, 14, 20, 60])
    lines = np.array([0, 20, 30, 60])
    moved = moved_deaths(deaths, length, lines, first, last, *draws)
    amount = moved_draws(deaths, length, first, last, *draws)
    np.testing.assert_allclose(moved.sum(axis=0), amount.sum(axis=0), rtol=1e-12, atol=1e-13)
    inside = np.concatenate([np.arange(a + 1, b - 1) for a, b in zip(first, last, strict=True)])
    assert not moved[inside].any()
    whole = np.array([deaths[a:b].sum(axis=0) for a, b in zip(first, last, strict=True)])
    net = run_value_draws(deaths, length, first, last, *draws, True)
    np.testing.assert_allclose(net, whole * draws[0] - amount, atol=1e-12)
