"""Active hours, nodes and days of tracks."""

from __future__ import annotations

from zoneinfo import ZoneInfo

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
from shapely import Point

from roadrisk.telemetry.movement_tally import path_scale_of
from roadrisk.telemetry.movement_tracks import (
    RADIUS_95_PER_SD,
    ActiveClock,
    MovementTrack,
    Windows,
    isotropic_error,
    nodes_of,
    tracks_from_fixes,
)

DAY = ActiveClock(((8.0, 18.0),))


def _track(hours: list[float]) -> MovementTrack:
    n = len(hours)
    return MovementTrack("a", np.array(hours), np.zeros((n, 2)), isotropic_error(np.ones(n)))


def test_nights_take_no_time() -> None:
    """By hand: 10 h a day; fixes at night are at the end of the day or at its beginning."""
    nodes = nodes_of(_track([10.0, 20.0, 24 + 3.0, 24 + 9.5, 3 * 24 + 18.0]), DAY, 30.0)
    np.testing.assert_allclose(nodes.fix_hours, [2, 10, 10, 11.5, 40])
    np.testing.assert_allclose(np.unique(nodes.hours), [2, 10, 11.5, 20, 30, 40])
    on_the_way = np.concatenate([[False], np.diff(nodes.hours) > 0])
    np.testing.assert_array_equal(nodes.day[on_the_way], [0, 1, 1, 2, 3])
    np.testing.assert_allclose(nodes.day_begin[on_the_way], [0, 10, 10, 20, 30])
    assert nodes.days_watched == pytest.approx(3.8)


def test_animals_of_the_night_keep_their_date() -> None:
    """By hand: two windows; hour_of undoes within_day."""
    clock = ActiveClock(((0.0, 5.0), (20.0, 24.0)))
    assert clock.hours_a_day == 9.0
    np.testing.assert_allclose(clock.within_day(np.array([0, 3, 12, 22, 24.0])), [0, 3, 5, 7, 9])
    np.testing.assert_allclose(clock.hour_of(np.array([1.0, 4.9, 5.5, 8.9])), [1, 4.9, 20.5, 23.9])


def test_seasons() -> None:
    """By hand: days of the year, over the new year too; outside no time passes."""
    summer = ActiveClock(((8.0, 18.0),), ((4, 1), (10, 31)))
    winter = ActiveClock(((8.0, 18.0),), ((11, 1), (3, 31)))
    assert summer.days_a_year == 214
    assert winter.days_a_year == 151
    # From 31 October to 2 April, 1970/71: the rest of one day, and two days.
    begin = 24.0 * (pd.Timestamp("1970-10-31") - pd.Timestamp(0)).days
    end = 24.0 * (pd.Timestamp("1971-04-02") - pd.Timestamp(0)).days
    nodes = nodes_of(_track([begin + 13, end + 18]), summer, 200.0)
    np.testing.assert_allclose(nodes.fix_hours, [5, 30])
    assert nodes.days_watched == pytest.approx(2.5)


def test_long_gaps_do_not_count() -> None:
    nodes = nodes_of(_track([9.0, 24 * 2 + 9, 24 * 40 + 9, 24 * 41 + 9]), DAY, 7.0)
    assert nodes.days_watched == pytest.approx(3.0)
    between = (nodes.hours > nodes.fix_hours[1]) & (nodes.hours <= nodes.fix_hours[2])
    assert between.sum() > 30
    assert not nodes.counted[between].any()


MAY = ((6.0, 10.0), (16.0, 18.0))
BY_MONTH = ActiveClock(((8.0, 18.0),), ((4, 1), (5, 31)), ((5, MAY),))


def _day(date: str) -> int:
    return (pd.Timestamp(date) - pd.Timestamp(0)).days


def test_hours_that_differ_by_month() -> None:
    """By hand: 10 h on 30 April, 6 h on 1 and 2 May; 30 days of 10 h and 31 of 6 h a year."""
    begin = 24.0 * _day("1970-04-30")
    nodes = nodes_of(_track([begin + 13, begin + 24 + 17, begin + 48 + 12]), BY_MONTH, 30.0)
    np.testing.assert_allclose(nodes.fix_hours, [5, 15, 20])
    np.testing.assert_allclose(np.unique(nodes.hours), [5, 10, 15, 16, 20])
    moving = np.concatenate([[False], np.diff(nodes.hours) > 0])
    first = _day("1970-04-30")
    np.testing.assert_array_equal(nodes.day[moving], [first, first + 1, first + 1, first + 2])
    np.testing.assert_allclose(nodes.day_begin[moving], [0, 10, 10, 16])
    assert nodes.days_watched == pytest.approx(5 / 10 + 5 / 6 + 1 / 6 + 4 / 6)
    assert BY_MONTH.hours_a_day == pytest.approx((30 * 10 + 31 * 6) / 61)
    assert BY_MONTH.days_a_year == 61
    days = np.array([first, first + 1, _day("1970-06-01")])
    np.testing.assert_allclose(BY_MONTH.hours_on(days), [10, 6, 0])


def test_the_hour_needs_the_day_where_months_differ() -> None:
    """By hand; `hour_of` undoes `within_day`."""
    day = np.array([_day("2024-04-30"), _day("2024-05-01"), _day("2024-05-01"), _day("2024-05-02")])
    hour = np.array([9.0, 9.0, 17.5, 6.25])
    within = BY_MONTH.within_day(hour, day)
    np.testing.assert_allclose(within, [1, 3, 5.5, 0.25])
    np.testing.assert_allclose(BY_MONTH.hour_of(within, day), hour)
    # The end of a day is the end of its last window.
    np.testing.assert_allclose(BY_MONTH.hour_of(np.array([10.0, 6.0]), day[:2]), [18, 18])
    with pytest.raises(ValueError, match="days must be given"):
        BY_MONTH.within_day(hour)


def test_months_that_are_alike_change_nothing() -> None:
    """The same clock written out by month gives the same numbers to the last digit."""
    plain = ActiveClock(((8.1, 12.3), (15.5, 19.0)), ((4, 1), (10, 31)))
    written = ActiveClock(plain.windows, plain.season, tuple((m, plain.windows) for m in (4, 7)))
    begin = 24.0 * _day("1970-04-10")
    hours = begin + np.cumsum(np.random.default_rng(5).uniform(3, 90, 40))
    one, other = (nodes_of(_track(hours.tolist()), c, 3.0) for c in (plain, written))
    for name in ("fix_hours", "hours", "fix", "day", "counted", "day_begin"):
        np.testing.assert_array_equal(getattr(one, name), getattr(other, name))
    assert one.days_watched == other.days_watched
    span = np.diff(one.hours)[one.counted[1:]]
    assert one.days_watched == pytest.approx(span.sum() / plain.hours_a_day, rel=1e-14)


@pytest.mark.parametrize(
    "by_month", [((13, MAY),), ((0, MAY),), ((5, MAY), (5, MAY)), ((5, ((9.0, 8.0),)),)]
)
def test_months_that_are_none_are_refused(by_month: tuple[tuple[int, Windows], ...]) -> None:
    with pytest.raises(ValueError, match=r"active hours|months"):
        ActiveClock(by_month=by_month)


@pytest.mark.parametrize(
    "windows", [(), ((8.0, 8.0),), ((9.0, 12.0), (11.0, 15.0)), ((20.0, 25.0),)]
)
def test_hours_out_of_order_are_refused(windows: tuple[tuple[float, float], ...]) -> None:
    with pytest.raises(ValueError, match="active hours"):
        ActiveClock(windows)


def test_tracks_are_on_local_clocks() -> None:
    """By hand: 10:00 UTC is noon in Warsaw in July; a date alone is taken at noon."""
    time = pd.to_datetime(["2024-07-02 10:00", "2024-07-01 22:00", "2024-07-05 10:00"], utc=True)
    fixes = gpd.GeoDataFrame(
        {
            "organismID": ["a", "a", "b"],
            "time": time,
            "time_known": [True, False, True],
            "coordinateUncertaintyInMeters": [10.0, 10.0, 10.0],
            "cov_xx": [np.nan, 9.0, np.nan],
            "cov_xy": [np.nan, 1.0, np.nan],
            "cov_yy": [np.nan, 4.0, np.nan],
        },
        geometry=[Point(1, 2), Point(3, 4), Point()],
        crs="EPSG:32633",
    )
    (track,) = tracks_from_fixes(fixes, ZoneInfo("Europe/Warsaw"))
    midnight = 24.0 * (pd.Timestamp("2024-07-02") - pd.Timestamp(0)).days
    np.testing.assert_allclose(track.hours, [midnight + 12, midnight + 12])
    np.testing.assert_allclose(track.xy, [[1, 2], [3, 4]])
    variance = (10 / RADIUS_95_PER_SD) ** 2
    np.testing.assert_allclose(track.error, [[variance, 0, variance], [9, 1, 4]])


def test_where_the_path_scale_comes_from() -> None:
    """By hand: hourly bursts show it; daily fixes need the prior; weekly ones tell no totals."""
    hourly = [24.0 * d + h for d in (0, 14) for h in range(9, 15)]
    daily, weekly = [24.0 * d + 12 for d in range(20)], [168.0 * w + 12 for w in range(10)]
    found = [
        path_scale_of(_track(h), nodes_of(_track(h), DAY, 30.0)) for h in (hourly, daily, weekly)
    ]
    assert [f.source for f in found] == ["bursts", "prior", "prior"]
    assert [f.identified for f in found] == [True, True, False]
    assert "not identified from these fixes" in found[2].totals_note
