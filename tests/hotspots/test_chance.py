"""The comparison with chance: by hand and by its properties."""

from __future__ import annotations

import numpy as np
import pytest

from roadrisk.hotspots.chance import PEAK, Chance
from tests.truth.worlds import Ground, compared, events_of, ground, line_30_km, planted


@pytest.fixture(scope="module")
def line() -> Ground:
    return ground(line_30_km())


def run(line: Ground, lixels: list[int], who: list[tuple[bool, str]], seed: int = 1) -> Chance:
    rng = np.random.default_rng(seed)
    return compared(line, events_of(line, np.array(lixels), who, rng), rng)


def test_two_units_never_stand_out_however_often(line: Ground) -> None:
    """By hand: 60 crossings by two animals at one place are two habits."""
    who = [(False, "a")] * 30 + [(False, "b")] * 30
    assert run(line, [1500] * 60, who).p_value.min() == 1.0


def test_one_animal_counts_once_however_often_it_crosses(line: Ground) -> None:
    """By hand: with the largest left out and each capped at one event, three units at one
    place give two events' peak, whether one crossed once or fifty times."""
    once = run(line, [1500] * 3, [(False, "a"), (False, "b"), (True, "o")])
    often = run(line, [1500] * 52, [(False, "a")] * 50 + [(False, "b"), (True, "o")])
    assert once.statistic.max() == pytest.approx(2 * PEAK / 200, rel=0.03)
    assert often.statistic.max() == pytest.approx(once.statistic.max(), rel=0.03)


def test_a_crowd_at_one_place_stands_out_there_only(line: Ground) -> None:
    rng = np.random.default_rng(2)
    scattered = rng.integers(0, 3000, 60).tolist()
    who = [(True, f"o{i}") for i in range(75)]
    got = run(line, scattered + [1500] * 15, who)
    assert got.p_value[1500] == pytest.approx(1 / 200)
    hot = np.flatnonzero(got.p_value <= 0.05)
    assert (np.abs(hot - 1500) < 40).all()


def test_same_seed_same_numbers(line: Ground) -> None:
    events, _ = planted(line, np.random.default_rng(3), 80, 500, 5)
    first, again = (compared(line, events, np.random.default_rng(9)) for _ in range(2))
    assert (first.largest == again.largest).all()


def test_nothing_on_the_network(line: Ground) -> None:
    got = run(line, [], [])
    assert got.p_value.min() == 1.0
    assert got.statistic.max() == 0.0
