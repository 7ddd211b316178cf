"""A half-width chosen from the records: by hand, and without false alarms."""

from __future__ import annotations

import numpy as np
import pytest

from roadrisk.hotspots.chance import PEAK
from roadrisk.hotspots.chance_chosen import TRIED_M, Chosen, compare_with_bandwidth_chosen
from roadrisk.hotspots.events import Events
from roadrisk.hotspots.unit_sums import UnitSums
from tests.truth.worlds import Ground, compared, events_of, ground, line_30_km, planted, repeaters


@pytest.fixture(scope="module")
def line() -> Ground:
    return ground(line_30_km())


def chosen(on: Ground, events: Events, rng: np.random.Generator, draws: int = 39) -> Chosen:
    return compare_with_bandwidth_chosen(
        on.network, on.lixels, events, on.strands, fallback_m=200.0, least_units=3, draws=draws,
        rng=rng,
    )  # fmt: skip


def test_few_false_alarms_with_a_half_width_chosen_in_each_draw(line: Ground) -> None:
    """Known truth: 40 worlds of repeat observers without a stretch; more than 6 shown at 5 %
    has a chance of 0.3 % (binomial)."""
    shown = 0
    for seed in range(40):
        rng = np.random.default_rng([seed, 8])
        shown += chosen(line, repeaters(line, rng, 60), rng, 19).chance.p_value.min() <= 0.05
    assert shown <= 6


def test_a_strong_stretch_is_found(line: Ground) -> None:
    """Recovery: 250 observers, 500 m at five times the rest, in most of 6 worlds."""
    found = 0
    for seed in range(6):
        rng = np.random.default_rng([seed, 9])
        events, here = planted(line, rng, 250, 500.0, 5.0)
        got = chosen(line, events, rng, 19)
        assert got.bandwidth_m in {*TRIED_M, 200.0}
        found += got.chance.p_value[here].min() <= 0.05
    assert found >= 3


def test_two_observers_can_choose_nothing(line: Ground) -> None:
    """By hand: the set half-width stays, and the words say why."""
    events = events_of(line, [10, 12], [(True, "a"), (True, "b")], np.random.default_rng(1))
    got = chosen(line, events, np.random.default_rng(1))
    assert got.bandwidth_m == 200.0
    assert "Not identified" in got.words
    assert "200 m taken as set" in got.words
    assert (got.chance.p_value == 1.0).all()


def test_sums_are_those_of_the_comparison(line: Ground) -> None:
    """Against the other test: same sums for the observed events, so its statistic plus a mean."""
    events, _ = planted(line, np.random.default_rng(3), 100, 500.0, 5.0)
    sums = UnitSums(
        events, line.kernel, line.lixels.length_m, peak_per_m=PEAK / 200.0, least_units=3
    ).of(events.lixel)
    other = compared(line, events, np.random.default_rng(4), 99).statistic
    assert (other <= sums + 1e-12).all()
    assert np.corrcoef(other, sums)[0, 1] > 0.7
