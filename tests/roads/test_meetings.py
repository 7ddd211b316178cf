"""Where steps meet roads: by hand, and parity with the sides of a closed road."""

from __future__ import annotations

import itertools
from typing import Any

import numpy as np
import pytest
import shapely
from hypothesis import assume, given, settings

from roadrisk.roads.grid import PieceIndex
from roadrisk.roads.meetings import Meetings, step_meetings, within_reach
from roadrisk.roads.network import Network
from tests.roads.small import make_network
from tests.roads.strategies import STEADY, closed_lines, tracks

Track = list[tuple[float, float]]
STRAIGHT = [[(0, 0), (100, 0)]]
BENT = [[(0, 0), (50, 0), (100, 40)]]


def meet(net: Network, track: Track) -> Meetings:
    fixes = np.array(track, dtype=float)
    return step_meetings(net, PieceIndex.build(net), fixes[:-1], fixes[1:])


def test_one_meeting_by_hand() -> None:
    """By hand: place, edge and offset of a plain meeting."""
    found = meet(make_network(STRAIGHT), [(30, -10), (40, 10)])
    assert len(found) == 1
    assert (found.step[0], found.segment[0], found.edge[0]) == (0, 0, 0)
    assert found.offset_m[0] == pytest.approx(35.0)
    assert (found.x[0], found.y[0]) == pytest.approx((35.0, 0.0))
    assert not found.off_ground[0]


@pytest.mark.parametrize(
    "lines", [STRAIGHT, [[(100, 0), (0, 0)]], [[(0, 0), (50, 0)], [(50, 0), (100, 0)]]]
)
@pytest.mark.parametrize(
    ("track", "count"),
    [
        ([(20, -5), (20, 0), (20, 5)], 1),  # a fix exactly on the road
        ([(50, -5), (50, 0), (50, 5)], 1),  # a fix exactly on a vertex
        ([(50, -5), (50, 5)], 1),  # through a vertex
        ([(20, -5), (20, 0), (60, 0), (60, 5)], 1),  # along the road and away on the far side
        ([(20, 0), (60, 0)], 0),  # along the road
        ([(20, -5), (20, 0), (60, 0), (60, 0), (60, 5)], 1),  # and resting there
        ([(-5, -5), (-5, 5)], 0),  # past the end
    ],
)
def test_degenerate_steps(lines: list[Track], track: Track, count: int) -> None:
    """By hand: one side to the other is one meeting, whichever way the road is drawn."""
    assert len(meet(make_network(lines), track)) == count


@pytest.mark.parametrize("track", [[(20, 5), (20, 0), (30, 5)], [(20, -5), (20, 0), (30, -5)]])
def test_touching_is_even(track: Track) -> None:
    """By hand: there and back is none or two."""
    assert len(meet(make_network(STRAIGHT), track)) in (0, 2)


def test_two_meetings_in_order() -> None:
    """By hand: a step over both legs of a bend, in the order of walking."""
    found = meet(make_network(BENT), [(90, 50), (90, -10), (10, -10), (10, 10)])
    assert found.step.tolist() == [0, 2]
    found = meet(make_network([[(0, 0), (50, 0), (50, 50), (0, 50)]]), [(20, 60), (20, -10)])
    assert found.y.tolist() == [50.0, 0.0]


def test_missing_and_zero_steps() -> None:
    """By hand: no coordinates or no movement, no meeting."""
    net = make_network(STRAIGHT)
    assert len(meet(net, [(20, -5), (np.nan, np.nan), (20, 5)])) == 0
    assert len(meet(net, [(20, 0), (20, 0)])) == 0


def test_bridges_are_flagged() -> None:
    """By hand: a meeting on a bridge is off the ground."""
    net = make_network([[(0, 0), (40, 0)], [(40, 0), (60, 0)]], level=[0, 1], bridge=[False, True])
    found = meet(net, [(20, -5), (20, 5), (50, 5), (50, -5)])
    assert found.off_ground.tolist() == [False, True]


def test_far_away_fixes() -> None:
    """By hand: a fix thousands of kilometres off does not break the arithmetic."""
    assert len(meet(make_network(STRAIGHT), [(30, -9e6), (30, 9e6)])) == 1


def inside(ring: Track, x: float, y: float) -> bool:
    """Even-odd rule by a ray to the right, exact on whole numbers."""
    odd = False
    for (xa, ya), (xb, yb) in itertools.pairwise(ring):
        if (ya > y) != (yb > y):
            side = (xb - xa) * (y - ya) - (yb - ya) * (x - xa)
            odd ^= (side > 0) == (yb > ya)
    return odd


@settings(STEADY, max_examples=400)
@given(closed_lines(), tracks())
def test_parity(ring: Track, track: Track) -> None:
    """Property: meetings with a closed road are odd exactly when the track ends on the other
    side, even where fixes lie on the road, steps pass through vertices or run along it.
    """
    shape = shapely.LineString(ring)
    for end in (track[0], track[-1]):
        assume(shape.distance(shapely.Point(end)) > 1e-9)
    found = meet(make_network([ring]), track)
    changed = inside(ring, *track[0]) != inside(ring, *track[-1])
    assert len(found) % 2 == changed


@STEADY
@given(closed_lines(), tracks())
def test_turned_roads_meet_the_same_steps(ring: Track, track: Track) -> None:
    """Property: the direction in which a road is drawn changes no count."""
    net = make_network([ring])
    turned = make_network([ring[::-1]])
    assert meet(net, track).step.tolist() == meet(turned, track).step.tolist()


def test_within_reach() -> None:
    """By hand: pairs of steps and lines at most 10 m apart."""
    lines = shapely.linestrings([[[0, 0], [100, 0]], [[0, 50], [100, 50]]])
    steps = shapely.linestrings([[[0, 10], [100, 10]], [[0, 41], [50, 60]], [[0, 25], [9, 25]]])
    step, line = within_reach(lines, steps, 10.0)
    assert list(zip(step.tolist(), line.tolist(), strict=True)) == [(0, 0), (1, 1)]


def test_many_steps_against_every_pair() -> None:
    """Against plain sides of every step and road: 20,500 steps that cross several of 30 roads.

    So many are shared out among cores and need more room than there is at first.
    """
    rng = np.random.default_rng(6)
    roads = rng.uniform(0, 3000, (30, 2, 2))
    net = make_network([[tuple(a), tuple(b)] for a, b in roads])
    fixes = rng.uniform(-200, 3200, (20_501, 2))
    found = step_meetings(net, PieceIndex.build(net), fixes[:-1], fixes[1:])
    p, q = net.edge_xy[::2][None], net.edge_xy[1::2][None]
    a, b = fixes[:-1, None], fixes[1:, None]

    def side(u: Any, v: Any, w: Any) -> Any:
        return (v - u)[..., 0] * (w - u)[..., 1] - (v - u)[..., 1] * (w - u)[..., 0] > 0

    crossed = (side(p, q, a) != side(p, q, b)) & (side(a, b, p) != side(a, b, q))
    assert crossed.sum() > 3 * 20_500
    step, edge = np.nonzero(crossed)
    order = np.lexsort((found.edge, found.step))
    np.testing.assert_array_equal(found.step[order], step)
    np.testing.assert_array_equal(found.edge[order], edge)
    steps = fixes[1:] - fixes[:-1]
    steps /= np.hypot(*steps.T)[:, None]
    from_start = np.column_stack([found.x, found.y]) - fixes[:-1][found.step]
    along_m = (from_start * steps[found.step]).sum(axis=1)
    same = np.diff(found.step) == 0
    # Places are told to the millimetre across, so to some millimetres where lines nearly agree.
    assert (np.diff(along_m)[same] > -0.05).all()
