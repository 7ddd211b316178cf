"""Resamples: by hand, by a known truth, and what they can't say."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from roadrisk.hotspots.drawn_masses import ExpectedMasses, drawn_masses, unit_weights
from roadrisk.hotspots.events import Events
from roadrisk.hotspots.ranking import Windows, best_windows, windows_of_mass
from roadrisk.hotspots.resampling import resamples, years_of
from roadrisk.hotspots.scan import find_ways
from roadrisk.hotspots.stability import Stability, ends_along, how_stable
from roadrisk.hotspots.stretch_years import reports_by_year
from roadrisk.roads.network import Ints
from roadrisk.telemetry.crossing_mass import CrossingMass
from tests.roads.small import make_network
from tests.truth.worlds import Ground, country_roads, events_of, ground, mixed

NONE = CrossingMass(*(np.zeros(0, np.int64),) * 3, np.zeros(0), np.zeros(0), (), 10)


@pytest.fixture(scope="module")
def line() -> Ground:
    return ground(make_network([[(0, 0), (5000, 0)]]))


def asked(on: Ground, events: Events, year: Ints, stretches: list[Ints],
          mass: CrossingMass = NONE, seed: int = 1) -> tuple[Windows, Stability]:  # fmt: skip
    windows = best_windows(on.network, on.lixels, events, np.zeros(len(on.lixels)),
                           window_m=100.0, rows=5)  # fmt: skip
    return windows, how_stable(
        on.network, on.lixels, events, on.strands, mass, year, on.kernel, windows, stretches,
        [True] * len(stretches), find_ways(on.network, on.lixels, 1000.0), window_m=100.0,
        shortest_m=200.0, level=0.9, rng=np.random.default_rng(seed),
    )  # fmt: skip


def test_expected_masses_are_the_mean_of_many_draws() -> None:
    """Against the draws themselves, on branching roads with folded groups."""
    on = ground(country_roads())
    events = mixed(on, np.random.default_rng(3))
    weight = unit_weights(events)
    rows = drawn_masses(
        events, on.strands, weight, draws=3000, rng=np.random.default_rng(4)
    ).toarray()
    due = ExpectedMasses(events, on.strands).of(weight)
    assert due.sum() == pytest.approx(weight.sum())
    error = rows.std(axis=0) / np.sqrt(3000)
    # 4,000 lixels: the largest of so many standard normals is about 3.6, rarely above 5.
    assert (np.abs(rows.mean(axis=0) - due) <= 6 * error + 1e-9).all()


def test_a_year_is_left_out_in_turn_and_the_others_scaled_up(line: Ground) -> None:
    """By hand: one observer with one report in each of three years, so only years differ."""
    events = events_of(line, [10, 100, 300], [(True, "o")] * 3, np.random.default_rng(1))
    year = np.array([2021, 2022, 2023])
    got = list(resamples(events, line.strands, NONE, year, count=4,
                         rng=np.random.default_rng(2)))  # fmt: skip
    assert years_of(year).tolist() == [2021, 2022, 2023]
    for one, gone in zip(got, [10, 100, 300, 10], strict=True):
        assert one.evidence[gone] == 0
        assert one.evidence[[10, 100, 300]].sum() == pytest.approx(3.0)
        assert one.voices.sum() == pytest.approx(1.0)
        assert one.expected.sum() == pytest.approx(1.0)


def test_animals_come_with_one_of_their_paths() -> None:
    """By hand: an animal whose two paths lie on different lixels shows one of them at a time."""
    on = ground(make_network([[(0, 0), (5000, 0)]]))
    events = events_of(on, [20, 21], [(False, "a")] * 2, np.random.default_rng(1))
    mass = CrossingMass(np.array([0, 0]), np.array([0, 1]), np.array([20, 21]),
                        np.array([4.0, 6.0]), np.full(2, 5.0), ("a",), 2)  # fmt: skip
    seen = [one.evidence[[20, 21]].tolist() for one in resamples(
        events, on.strands, mass, np.zeros(2, np.int64), count=40,
        rng=np.random.default_rng(1))]  # fmt: skip
    assert {tuple(s) for s in seen} == {(4.0, 0.0), (0.0, 6.0)}


def test_what_all_agree_on_is_kept_and_one_observers_place_is_not(line: Ground) -> None:
    """Known truth: 20 observers agree on one place; another is one observer's alone."""
    rng = np.random.default_rng(5)
    agreed = rng.integers(100, 110, 40)
    where = np.concatenate([agreed, np.full(12, 300), rng.integers(0, 500, 30)])
    who = [(True, f"o{i % 20}") for i in range(40)] + [(True, "alone")] * 12
    who += [(True, f"o{i}") for i in range(30)]
    events = events_of(line, where, who, rng)
    year = rng.integers(2021, 2024, len(where))
    windows, got = asked(line, events, year, [np.arange(100, 110), np.arange(290, 310)])
    table = got.windows
    top = int(np.flatnonzero((windows.first <= 105) & (windows.last > 105))[0])
    alone = int(np.flatnonzero((windows.first <= 300) & (windows.last > 300))[0])
    assert table["kept_of_100"][top] == 100
    assert (table["rank_low"][top], table["rank_high"][top]) == (1, 1)
    # An observer of 31 is drawn at least once in 1 - (30 / 31)^31 = 64 % of resamples.
    assert 45 <= table["kept_of_100"][alone] <= 80
    assert table["rank_high"][alone] > 5
    stretches = got.stretches
    assert stretches["kept_of_100"][0] == 100
    assert stretches["kept_of_100"][1] < 80
    row = stretches.iloc[0]
    assert row["begin_low_m"] <= row["begin_high_m"] < row["end_low_m"] <= row["end_high_m"]
    assert "2021, 2022, 2023, in turn" in got.words


def test_ends_along_a_stretch() -> None:
    """By hand: further out, further in, turned round, off by a side road."""
    length = np.full(100, 10.0)
    stretch = np.arange(20, 40)
    assert ends_along(stretch, np.arange(20, 40), length) == (0.0, 200.0)
    assert ends_along(stretch, np.arange(15, 30), length) == (-50.0, 100.0)
    assert ends_along(stretch, np.arange(15, 30)[::-1], length) == (-50.0, 100.0)
    assert ends_along(stretch, np.arange(25, 45), length) == (50.0, 250.0)
    aside = np.concatenate([np.arange(30, 40), np.arange(70, 73)])
    assert ends_along(stretch, aside, length) == (100.0, 230.0)
    assert ends_along(stretch, np.arange(39, 45), length) == (190.0, 250.0)
    assert ends_along(stretch, np.arange(44, 38, -1), length) == (190.0, 250.0)


def test_two_units_can_tell_nothing(line: Ground) -> None:
    events = events_of(line, [10, 12], [(True, "a"), (True, "b")], np.random.default_rng(1))
    _, got = asked(line, events, np.array([2021, 2022]), [np.arange(10, 13)])
    assert got.windows.isna().all(axis=None)
    assert got.stretches.isna().all(axis=None)
    assert "can't be told from 2 animals and observers" in got.words


def test_one_year_is_not_left_out(line: Ground) -> None:
    events = events_of(line, [10, 11, 12], [(True, c) for c in "abc"], np.random.default_rng(1))
    _, got = asked(line, events, np.full(3, 2022), [])
    assert "all are of 2022" in got.words
    assert len(got.stretches) == 0


def test_windows_of_a_mass_are_those_of_its_events(line: Ground) -> None:
    events = events_of(line, [10, 11, 300], [(True, c) for c in "abc"], np.random.default_rng(1))
    flat = np.zeros(len(line.lixels))
    a = best_windows(line.network, line.lixels, events, flat, window_m=100.0, rows=9)
    mass = np.bincount(events.lixel, events.weight, len(flat)).astype(float)
    b = windows_of_mass(line.lixels, mass, flat, window_m=100.0, rows=9)
    assert (a.first.tolist(), a.last.tolist()) == (b.first.tolist(), b.last.tolist())
    assert len(a.first) == 2


def test_reports_by_year_beside_those_of_everywhere(line: Ground) -> None:
    """By hand: four reports and one animal."""
    who = [(True, "a"), (True, "a"), (True, "b"), (True, "c"), (False, "x")]
    events = events_of(line, [10, 10, 11, 400, 10], who, np.random.default_rng(1))
    table = reports_by_year(events, np.array([2021, 2022, 2022, 2022, 0]),
                            [np.arange(8, 15), np.arange(390, 410)])  # fmt: skip
    expected = pd.DataFrame({
        "stretch": [1, 1, 2, 2], "year": [2021, 2022, 2021, 2022], "reports": [1.0, 2, 0, 1],
        "observers": [1, 2, 0, 1], "reports_everywhere": [1.0, 3, 1, 3],
        "reports_at_usual_share": [0.75, 2.25, 0.25, 0.75], "effort": "not known",
    })  # fmt: skip
    pd.testing.assert_frame_equal(table, expected)
