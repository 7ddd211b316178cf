"""Brownian bridges: limits and the draws between fixes."""

from __future__ import annotations

import numpy as np
import pytest

from roadrisk.roads.grid import PieceIndex
from roadrisk.telemetry.brownian import draw_bridge_crossings, motion_variance
from roadrisk.telemetry.movement_roads import road_field
from roadrisk.telemetry.movement_tracks import ActiveClock, MovementTrack, nodes_of
from tests.roads.small import make_network


def test_too_few_fixes_have_no_variance() -> None:
    """By hand: two fixes leave none out; a fix at the time of its neighbours tells nothing."""
    xy = np.array([[0.0, 0.0], [10.0, 0.0], [20.0, 0.0]])
    assert np.isnan(motion_variance(np.arange(2.0), xy[:2], np.zeros((2, 3))))
    assert np.isnan(motion_variance(np.zeros(3), xy, np.zeros((3, 3))))


def test_errors_that_explain_everything_leave_no_motion() -> None:
    """By hand: deviations of 1 m with errors of 50 m."""
    xy = np.array([[0.0, 0.0], [1.0, 0.0], [0.0, 0.0], [-1.0, 0.0], [0.0, 0.0]])
    error = np.tile([2500.0, 0.0, 2500.0], (5, 1))
    assert motion_variance(np.arange(5.0), xy, error) == 0.0


def test_reversing_time_or_units_changes_nothing() -> None:
    """Invariance: the same track backwards, and in minutes."""
    hours = np.array([0.0, 1, 4, 5, 9])
    xy = np.array([[0.0, 0], [10, 5], [20, 0], [28, 6], [40, 0]])
    error = np.tile([4.0, 0.0, 4.0], (5, 1))
    one = motion_variance(hours, xy, error)
    assert motion_variance(9 - hours[::-1], xy[::-1], error) == pytest.approx(one, rel=1e-6)
    assert motion_variance(hours * 60, xy, error) * 60 == pytest.approx(one, rel=1e-6)


def test_bridges_over_days_end_where_the_fixes_are() -> None:
    """Known truth: day beginnings between the fixes don't change how often a side is changed.

    Fixes on two sides cross an odd number of times in every draw, whatever lies between.
    """
    network = make_network([[(-5000.0, 0.0), (5000.0, 0.0)]])
    index = PieceIndex.build(network)
    field = road_field(network, index, np.array([6.0]))
    track = MovementTrack(
        "a", np.array([30.0, 101.0]), np.array([[0.0, 25.0], [40.0, -25.0]]), np.zeros((2, 3))
    )
    nodes = nodes_of(track, ActiveClock(((8.0, 18.0),)), 30.0)
    assert len(nodes.hours) == 4
    drawn = draw_bridge_crossings(track, nodes, 20.0, 300, field, index.origin, 3)
    times = np.bincount(drawn.draw, minlength=300)
    assert np.all(times % 2 == 1)
    assert set(drawn.day.tolist()) == {1, 2, 3}
    assert drawn.at_h.min() >= 0
    assert drawn.at_h.max() <= 10
