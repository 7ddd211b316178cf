"""Half-width from the events: by hand, by its properties, and by recovering a planted scale."""

from __future__ import annotations

import numpy as np
import pytest

from roadrisk.hotspots.bandwidth import Bandwidth, choose_bandwidth, half_widths_to_try
from roadrisk.hotspots.kernel_shapes import GAUSSIAN_CUT
from roadrisk.hotspots.paths import path_table
from roadrisk.roads.network import Network
from tests.roads.small import make_network


def quartic(d: float, h: float) -> float:
    return 15 / 16 / h * (1 - (d / h) ** 2) ** 2 if d < h else 0.0


def chosen(network: Network, at: np.ndarray, unit: np.ndarray | None = None,
           **options: object) -> Bandwidth:  # fmt: skip
    at = np.asarray(at, float)
    who = np.arange(len(at)) if unit is None else np.asarray(unit)
    options.setdefault("tried_m", half_widths_to_try(10.0, 1000.0))
    return choose_bandwidth(network, np.zeros(len(at), int), at, np.ones(len(at)), who, **options)


def pairs(rng: np.random.Generator, count: int, sd: float, length: float) -> np.ndarray:
    """Two events of two units around each of `count` places."""
    centre = np.repeat(rng.uniform(500, length - 500, count), 2)
    return centre + rng.normal(0, sd, 2 * count)


ROAD = make_network([[(0, 0), (1000, 0)]])
LONG = make_network([[(0, 0), (200_000, 0)]])


def test_three_points_by_hand() -> None:
    """Events at 100, 110 and 140 m on a line; no even part, then a quarter of it."""
    got = chosen(ROAD, [100, 110, 140], tried_m=np.array([35.0, 50.0, 90.0]), background=0.0)
    for h, score in zip((50.0, 90.0), got.score[1:], strict=True):
        a, b, c = quartic(10, h), quartic(30, h), quartic(40, h)
        by_hand = np.log([(a + c) / 2, (a + b) / 2, (b + c) / 2]).mean()
        assert score == pytest.approx(by_hand, abs=1e-12)
    got = chosen(ROAD, [100, 110, 140], tried_m=np.array([35.0, 50.0]), background=0.25)
    a, b = quartic(10, 35), quartic(30, 35)
    by_hand = np.log(0.75 * np.array([a, a + b, b]) / 2 + 0.25 / 1000).mean()
    assert got.score[0] == pytest.approx(by_hand, abs=1e-12)


def test_the_same_unit_and_the_same_place_are_left_out() -> None:
    """By hand: a unit's second event and an event at the same place change no sum of each other,
    only the weights of the others."""
    got = chosen(ROAD, [100, 101, 110, 140, 140], [0, 0, 1, 2, 3], tried_m=np.array([45.0, 60.0]),
                 background=0.0)  # fmt: skip
    h = 45.0
    a = np.array([quartic(d, h) for d in (9, 10, 30, 39, 40)])
    by_hand = [
        (a[1] + 2 * a[4]) / 3,  # 100: from 110 and both at 140
        (a[0] + 2 * a[3]) / 3,
        (a[1] + a[0] + 2 * a[2]) / 4,
        (a[4] + a[3] + a[2]) / 3,  # 140: neither from the other at 140
        (a[4] + a[3] + a[2]) / 3,
    ]
    assert got.score[0] == pytest.approx(np.log(by_hand).mean(), abs=1e-12)


def test_recovers_a_planted_scale() -> None:
    """Pairs whose two events lie normally about one place: what the one tells of the other is a
    normal of sqrt(2) times the spread."""
    for seed, sd in ((1, 20.0), (2, 60.0)):
        at = pairs(np.random.default_rng(seed), 150, sd, 200_000)
        got = chosen(LONG, at, shape="gaussian")
        assert got.identified
        assert got.low_m < got.value_m < got.high_m
        assert got.low_m < GAUSSIAN_CUT * np.sqrt(2) * sd < got.high_m
        assert got.value_m / GAUSSIAN_CUT == pytest.approx(np.sqrt(2) * sd, rel=0.2)


def test_repeats_of_one_animal_do_not_narrow_it() -> None:
    """Known truth: every event five times more by the same unit 1 m away, and half of them by
    another unit at the same place; the planted scale is found all the same."""
    rng = np.random.default_rng(5)
    at = pairs(rng, 150, 40.0, 200_000)
    unit = np.arange(300)
    again = np.concatenate([at] + [at + rng.normal(0, 1, 300) for _ in range(5)] + [at[::2]])
    who = np.concatenate([np.tile(unit, 6), 300 + np.arange(150)])
    got = chosen(LONG, again, who, shape="gaussian")
    assert got.value_m / GAUSSIAN_CUT == pytest.approx(np.sqrt(2) * 40, rel=0.2)


def test_even_events_identify_nothing() -> None:
    """Known truth: no gathering at all."""
    for seed in range(6):
        got = chosen(LONG, np.random.default_rng(seed).uniform(0, 200_000, 200))
        assert not got.identified
        assert np.isnan(got.value_m)
        assert got.words.startswith("Not identified")


def test_never_below_the_placement_error() -> None:
    """By hand: pairs 15 m apart ask for less than the 120 m to which they are known."""
    at = pairs(np.random.default_rng(3), 150, 10.0, 200_000)
    got = chosen(LONG, at, placement_error_m=120.0)
    assert got.value_m == got.tried_m.min() == 120.0
    assert not got.identified
    assert "placement error" in got.words


def test_at_the_border_nothing_is_claimed() -> None:
    """By hand: the widest half-width looked at is far too narrow for these pairs."""
    at = pairs(np.random.default_rng(3), 150, 80.0, 200_000)
    got = chosen(LONG, at, tried_m=half_widths_to_try(10.0, 60.0))
    assert np.isnan(got.value_m)
    assert "widest" in got.words


def test_too_few_units() -> None:
    got = chosen(ROAD, [100, 110, 120, 500], [0, 0, 1, 1])
    assert np.isnan(got.value_m)
    assert "2 different" in got.words
    assert "at different places" in chosen(ROAD, [100, 100, 100]).words


def test_order_direction_and_unit_of_length_change_nothing() -> None:
    """Property: on a network, shuffled events and ones counted in other lengths."""
    rng = np.random.default_rng(8)
    xy = [(0, 0), (900, 0), (1700, 300), (900, 800), (100, 700)]
    pieces = [(0, 1), (1, 2), (1, 3), (3, 4), (4, 0)]
    small = make_network([[xy[a], xy[b]] for a, b in pieces])
    large = make_network([[tuple(3.0 * np.array(xy[a])), tuple(3.0 * np.array(xy[b]))]
                          for a, b in pieces])  # fmt: skip
    edge = rng.integers(0, small.edges, 40)
    offset = rng.random(40) * small.edge_length_m[edge]
    weight = rng.uniform(0.5, 1.5, 40)
    unit = rng.integers(0, 20, 40)
    tried = half_widths_to_try(40.0, 400.0)
    one = choose_bandwidth(small, edge, offset, weight, unit, tried_m=tried)
    new = rng.permutation(40)
    table = path_table(small, 500.0)
    other = choose_bandwidth(small, edge[new], offset[new], weight[new], unit[new], tried_m=tried,
                             table=table)  # fmt: skip
    assert other.score == pytest.approx(one.score, abs=1e-9)
    assert other.words == one.words
    longer = choose_bandwidth(large, edge, 3 * offset, weight, unit, tried_m=3 * tried)
    assert longer.score == pytest.approx(one.score - np.log(3), abs=1e-9)
    assert longer.background == pytest.approx(one.background, abs=1e-9)
