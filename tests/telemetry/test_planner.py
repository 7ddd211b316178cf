"""The planner of fixes: schedules, simulated animals and a small plan."""

from __future__ import annotations

import numpy as np
import pytest

from roadrisk.base.seeds import generator
from roadrisk.errors import RoadriskError
from roadrisk.telemetry.movement_prior import MovementPrior, mean_speed
from roadrisk.telemetry.movement_process import autocovariance
from roadrisk.telemetry.movement_tracks import ActiveClock
from roadrisk.telemetry.planner import Schedule, _fix_steps, plan_schedules, schedule_from
from roadrisk.telemetry.simulated_animals import (
    STEP_H,
    _crossings,
    active_days,
    draw_animals,
    walk,
)

CLOCK = ActiveClock(((8.0, 18.0),), ((4, 1), (6, 30)))
PRIOR = MovementPrior((3, 12), (0.1, 0.5), (15, 40))


@pytest.mark.parametrize(("text", "schedule"), [
    ("1", Schedule(1)), (" 7 ", Schedule(7)), ("3+8/14", Schedule(3, 8, 14)),
    ("10 + 2 / 1", Schedule(10, 2, 1)),
])  # fmt: skip
def test_schedules_are_read(text: str, schedule: Schedule) -> None:
    assert schedule_from(text) == schedule
    assert schedule_from(schedule.code) == schedule


@pytest.mark.parametrize("text", ["", "0", "-1", "3+8", "3+1/14", "3+8/0", "daily", "1.5", "9999"])
def test_no_schedules(text: str) -> None:
    with pytest.raises(RoadriskError, match="is no schedule: write 3 for"):
        schedule_from(text)


def test_schedules_in_words() -> None:
    assert Schedule(1).words == "a fix every day"
    assert Schedule(3, 8, 14).words == "a fix every 3 days, and 8 fixes 1 h apart every 14 days"


def test_active_days_begin_with_the_season() -> None:
    """1 April 1970 is day 90; 10 active hours of 120 steps each."""
    found = active_days(CLOCK, 3)
    assert list(found.day) == [90, 91, 92]
    assert list(found.begin_step) == [0, 1200, 2400, 3600]


@pytest.mark.parametrize(("season", "days"), [
    (((4, 1), (4, 30)), 30), (((12, 1), (1, 31)), 62), (None, 200), (((1, 1), (12, 31)), 200),
])  # fmt: skip
def test_no_more_days_than_a_season_has(
    season: tuple[tuple[int, int], tuple[int, int]] | None, days: int
) -> None:
    found = active_days(ActiveClock(((0.0, 24.0),), season), 200)
    assert len(found.day) == days
    assert (np.diff(found.day) == 1).all()


def test_crossings_go_from_clear_to_clear() -> None:
    """Half width 3: onto the road and back is none; over and back is two."""
    y = np.array([10.0, 2, 10, 2, -2, -4, -9, -1, 2, 5, 1, 4])
    assert list(_crossings(y, 3.0)) == [5, 9]


def test_walked_paths_have_the_process_s_covariance() -> None:
    """Spread and correlation of places after 1 h and 4 h, from closed forms.

    tau 5 h, tau_v 0.3 h, sigma 20 m, a round home; 6,000 h of path: standard errors 3 %.
    """
    pars = np.array([np.log(5.0), np.log(0.3), np.log(20.0), 0.0, 0.0])
    xy = walk(pars, 720_000, 30.0, 6.0, generator(1, "tests.walk")).xy
    assert xy.mean(axis=0) == pytest.approx([0, 30], abs=3.5)
    away = xy - [0.0, 30.0]
    assert (away**2).mean() == pytest.approx(400, rel=0.1)
    for hours in (1.0, 4.0):
        lag = round(hours / STEP_H)
        found = (away[lag:] * away[:-lag]).mean()
        assert found == pytest.approx(400 * autocovariance(hours, 5.0, 0.3), abs=40)


def test_animals_are_drawn_from_the_prior() -> None:
    """Medians over many species of one animal, and the speed where it is known."""
    prior = MovementPrior(speed_m_per_h=(30, 60))
    rng = generator(1, "tests.animals")
    plain = np.array([draw_animals(1, MovementPrior(), rng)[0] for _ in range(400)])
    mean, sd = MovementPrior().scales()
    assert plain[:, :3].mean(axis=0) == pytest.approx(mean, abs=0.2)
    assert plain[:, :3].std(axis=0) == pytest.approx(sd, rel=0.12)
    known = np.array([draw_animals(1, prior, rng)[0] for _ in range(400)])
    assert np.median(mean_speed(known)) == pytest.approx(42, rel=0.15)


def test_fixes_of_a_schedule() -> None:
    """Every 3 of 30 days and 4 an hour apart every 10 days, the first on day 5: 10 + 3 · 4."""
    season = active_days(CLOCK, 30)
    steps = _fix_steps(Schedule(3, 4, 10), season, generator(1, "tests.fixes"))
    assert len(steps) == 22
    days = np.floor(steps / 1200).astype(int)
    assert set(days) == set(range(0, 30, 3)) | {5, 15, 25}
    assert list(steps[days == 5]) == [6000, 6120, 6240, 6360]


def test_bursts_end_with_the_day() -> None:
    season = active_days(CLOCK, 20)
    steps = _fix_steps(Schedule(15, 24, 20), season, generator(1, "tests.fixes"))
    assert (np.floor(steps / 1200) == 10).sum() == 10


def test_closer_fixes_give_narrower_intervals_and_the_seed_the_same_table() -> None:
    """A small plan: 5 animals, 60 days, twice the same."""
    schedules = [Schedule(1), Schedule(7), Schedule(7, 8, 14)]
    first, second = (
        plan_schedules(
            schedules, PRIOR, CLOCK, generator(3, "tests.plan"), animals=5, days=60,
            distance_m=20.0, studies=1,
        )
        for _ in range(2)
    )  # fmt: skip
    assert first.equals(second)
    daily, weekly, bursts = (row for _, row in first.iterrows())
    assert daily["width"] < bursts["width"] < weekly["width"]
    assert daily["fixes"] == 60
    assert weekly["fixes"] == 9
    assert bursts["fixes"] == 9 + 4 * 8
    assert weekly["crossing_days"] == pytest.approx(daily["crossing_days"], rel=0.1)
    assert list(first["totals"]) == [
        "only under the prior", "not identified", "identified, by bursts",
    ]  # fmt: skip


def test_numbers_out_of_range_are_said_at_once() -> None:
    with pytest.raises(RoadriskError, match="animals 0 must lie between 1 and 200; days 3 must"):
        plan_schedules([], PRIOR, CLOCK, generator(1, "x"), animals=0, days=3)


def test_schedule_too_sparse_for_the_season() -> None:
    with pytest.raises(RoadriskError, match="fewer than two fixes in 91 active days"):
        plan_schedules([Schedule(100)], PRIOR, CLOCK, generator(1, "x"))
