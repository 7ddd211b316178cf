"""The chance that a crossing kills: by hand, and by simulated animals and vehicles."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from roadrisk.mortality.kill_formula import (
    bunching_share,
    chance_killed,
    chance_over_lanes,
    hits_expected,
    minutes_on_strip,
)

RATE = st.floats(0.0, 50.0)
TIME = st.floats(0.01, 5.0)


@given(RATE, TIME)
def test_twice_the_traffic_is_two_chances(per_min: float, minutes: float) -> None:
    once = chance_killed(per_min, minutes, 1.0)
    assert chance_killed(2 * per_min, minutes, 1.0) == pytest.approx(1 - (1 - once) ** 2)
    assert chance_over_lanes([once, once]) == pytest.approx(1 - (1 - once) ** 2)


def test_no_traffic_no_death_and_a_slant_of_60_degrees_doubles_the_strip() -> None:
    assert chance_killed(0.0, 0.5, 3.0) == 0.0
    assert chance_killed(1e-9, 0.5, 3.0) == pytest.approx(1e-9 * 0.5 / 3.0, rel=1e-6)
    assert chance_killed(2.0, 0.5, 3.0, angle_deg=60.0) == pytest.approx(
        chance_killed(2.0, 1.0, 3.0)
    )


@given(RATE, RATE, TIME, st.floats(0.1, 1.0))
def test_without_stops_tracks_and_other_lanes_change_nothing(
    own: float, other: float, minutes: float, strip: float
) -> None:
    assert hits_expected(own, other, minutes, strip_share=strip) == pytest.approx(own * minutes)


@given(st.floats(0.01, 10), RATE, TIME, st.floats(0, 1), st.floats(0, 60), st.floats(0.1, 1.0))
def test_stops_add_no_more_than_they_are_many(
    own: float, other: float, minutes: float, stop: float, stay: float, strip: float
) -> None:
    hits = hits_expected(own, other, minutes, stop=stop, stop_minutes=stay, strip_share=strip)
    most = own * minutes + minutes / strip * stop * (other + (1 - strip) * own)
    assert own * minutes * (1 - 1e-9) <= hits <= most * (1 + 1e-9)


def test_bunches_by_hand() -> None:
    """Four vehicles 2 s apart, 10 s on the strip: (10 + 3 · 2) / (4 · 10); gaps of 10 s: 1."""
    assert bunching_share(10 / 60, 4.0, 2.0) == pytest.approx(0.4)
    assert bunching_share(10 / 60, 4.0, 10.0) == pytest.approx(1.0)
    assert bunching_share(10 / 60, 4.0, 99.0) == pytest.approx(1.0)
    assert bunching_share(10 / 60, 1.0, 2.0) == pytest.approx(1.0)


def standard_error(p: float, many: int) -> float:
    return float(np.sqrt(p * (1 - p) / many))


def test_truth_vehicles_at_random_times() -> None:
    """Simulated: 40,000 animals walk over two lanes 4 m apart while each has its vehicles.

    A vehicle kills if at its moment some part of the strip lies under the animal's reference
    point; nothing of the formula is in the simulation.
    """
    rng = np.random.default_rng(11)
    width, speed, lane, many = 0.6, 2.0, 3.25, 40_000
    rates = (1.5, 0.6)
    dead = np.zeros(many, dtype=bool)
    for k, rate in enumerate(rates):
        into, out = (k * lane + 1.0) / speed, (k * lane + 1.0 + width) / speed
        last = 2 * lane / speed
        for a in range(many):
            times = np.cumsum(rng.exponential(1 / rate, size=24))
            assert times[-1] > last
            dead[a] |= bool(((times >= into) & (times < out)).any())
    p = float(chance_over_lanes([chance_killed(r, width, speed) for r in rates]))
    assert dead.mean() == pytest.approx(p, abs=4 * standard_error(p, many))


def test_truth_vehicles_in_bunches() -> None:
    """Simulated: bunches of a geometric number of vehicles, 3 s apart, 18 s on the strip."""
    rng = np.random.default_rng(12)
    per_min, mean, gap, minutes, many = 2.0, 3.0, 3 / 60, 0.3, 30_000
    start = 8.0
    dead = 0
    for _ in range(many):
        leaders = rng.uniform(0, start + minutes, rng.poisson(per_min / mean * (start + minutes)))
        size = rng.geometric(1 / mean, len(leaders))
        times = np.repeat(leaders, size) + gap * np.concatenate(
            [np.arange(s) for s in size] or [np.empty(0)]
        )
        dead += bool(((times >= start) & (times < start + minutes)).any())
    p = -np.expm1(-per_min * minutes * bunching_share(minutes, mean, 60 * gap))
    assert dead / many == pytest.approx(p, abs=4 * standard_error(p, many))
    assert dead / many < -np.expm1(-per_min * minutes) - 0.1


@pytest.mark.parametrize("strip", [1.0, 0.2])
def test_truth_animals_that_stop(strip: float) -> None:
    """Simulated event by event: walk, vehicle, hit or stop, stay until no vehicle renews it."""
    rng = np.random.default_rng(13)
    own, other, minutes, stop, stay, many = 1.2, 0.8, 0.15, 0.7, 0.9, 40_000
    dead = 0
    for _ in range(many):
        left = minutes / strip
        held = 0.0  # how long it still stays
        while True:
            wait = rng.exponential(1 / (own + other))
            walked = max(0.0, wait - held)
            if walked >= left:
                break
            left, held = left - walked, max(0.0, held - wait)
            if rng.random() < own / (own + other) and rng.random() < strip:
                dead += 1
                break
            if rng.random() < stop:
                held = stay
    p = -np.expm1(-hits_expected(own, other, minutes, stop=stop, stop_minutes=stay,
                                 strip_share=strip))  # fmt: skip
    assert dead / many == pytest.approx(p, abs=4 * standard_error(p, many))
    assert dead / many > -np.expm1(-own * minutes) + 0.02
    assert minutes_on_strip(0.3, 2.0) == pytest.approx(minutes)
