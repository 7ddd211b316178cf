"""Labels on the map keep off each other: by hand, and on random places."""

from __future__ import annotations

import math
from itertools import combinations

import numpy as np
import shapely

from roadrisk.reporting.documents.map_labels import Room


def test_labels_at_one_place_lie_side_by_side() -> None:
    room, size = Room(300, 200), (20.0, 10.0)
    random = np.random.default_rng(3)
    places = [(150.0, 100.0)] * 6 + [tuple(at) for at in random.uniform(40, 160, (10, 2))]
    spots = [room.place((float(x), float(y)), size) for x, y in places]
    boxes = [shapely.box(x - 10, y - 5, x + 10, y + 5) for x, y in filter(None, spots)]
    assert len(boxes) == len(places)
    # A cell is a point wide.
    for one, other in combinations(boxes, 2):
        assert one.intersection(other).area <= 1.0 * max(size)


def test_a_label_keeps_off_a_line() -> None:
    room = Room(300, 200)
    room.weigh([shapely.LineString([(0, 115), (300, 115)])], 10.0)
    spot = room.place((150, 100), (30, 10))
    assert spot is not None
    assert abs(spot[1] - 115) > 5


def test_no_room_is_said() -> None:
    room = Room(25, 15)
    assert room.place((12, 7), (40, 10)) is None
    assert room.along(shapely.LineString([(0, 7), (25, 7)]), (40, 8), 5) is None


def test_a_name_runs_along_its_road_and_is_read_from_below() -> None:
    line = shapely.LineString([(250, 150), (50, 50)])
    spot = Room(300, 200).along(line, (60, 8), 7)
    assert spot is not None
    x, y, angle = spot
    assert math.isclose(angle, math.degrees(math.atan2(100, 200)), abs_tol=0.5)
    assert math.isclose(line.distance(shapely.Point(x, y)), 7, abs_tol=0.1)


def test_a_name_needs_a_straight_piece() -> None:
    bend = shapely.LineString([(100, 100), (130, 130), (160, 100), (190, 130)])
    assert Room(300, 200).along(bend, (80, 8), 7) is None
