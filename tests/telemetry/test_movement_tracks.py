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
            "error_xx": [np.nan, 9.0, np.nan],
            "error_xy": [np.nan, 1.0, np.nan],
            "error_yy": [np.nan, 4.0, np.nan],
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
