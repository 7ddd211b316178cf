"""Lines of pieces, by hand."""

from __future__ import annotations

from itertools import pairwise

import numpy as np

from roadrisk.mitigation.lines import RoadLines, road_lines
from roadrisk.roads.bands import with_bands
from roadrisk.roads.lixels import lay_lixels
from roadrisk.roads.pieces import lay_pieces
from tests.roads.small import make_network

CROSS = [
    [(0, 0), (300, 0)],
    [(300, 0), (700, 10)],
    [(300, 0), (300, 250)],
    [(300, 0), (310, -350)],
]
NAMES = ["Long Road", "Long Road", "Short Lane", "Short Lane"]


def lines_of(lines, names, stops_at=(), **columns) -> RoadLines:
    network = make_network(lines, names, **columns)
    lixels = lay_lixels(network, 10.0)
    return road_lines(network, lixels, lay_pieces(network, lixels, 100.0), stops_at=stops_at)


def spans(lines: RoadLines) -> dict[str, list[float]]:
    out: dict[str, list[float]] = {}
    for k, road in enumerate(lines.road):
        out.setdefault(road, []).append(lines.length_m[lines.first[k] : lines.first[k + 1]].sum())
    return {road: sorted(round(x) for x in found) for road, found in out.items()}


def test_roads_go_straight_on_through_a_crossing() -> None:
    lines = lines_of(CROSS, NAMES, road_class=["tertiary"] * 2 + ["residential"] * 2)
    assert spans(lines) == {"Long Road": [700], "Short Lane": [600]}
    assert sorted(lines.piece) == list(range(len(lines.piece)))
    for k in range(len(lines)):
        part = slice(lines.first[k], lines.first[k + 1])
        assert np.allclose(lines.start_m[part][1:], np.cumsum(lines.length_m[part])[:-1])
        assert lines.start_m[part][0] == 0
    assert list(lines.place_of_piece[lines.piece]) == list(range(len(lines.piece)))


def test_a_busy_road_across_cuts_a_line_and_goes_on_itself() -> None:
    lines = lines_of(
        CROSS, NAMES, ["secondary"], road_class=["secondary"] * 2 + ["residential"] * 2
    )
    assert spans(lines) == {"Long Road": [700], "Short Lane": [250, 350]}


def test_of_three_arms_of_one_road_the_straightest_two_are_joined() -> None:
    lines = lines_of(CROSS[:3], ["Road"] * 3)
    assert spans(lines) == {"Road": [250, 700]}


def test_a_busy_road_that_divides_is_not_across_itself() -> None:
    """By hand: 470 m as one road, then two carriageways for some 930 m; a fence goes on."""
    divides = [
        [(-500, 10), (-30, 10)],
        [(-30, 10), (0, 0), (900, 0)],
        [(900, 20), (0, 20), (-30, 10)],
    ]
    network = with_bands(
        make_network(divides, ["High Road"] * 3, oneway=[0, 1, 1], road_class=["primary"] * 3)
    )
    lixels = lay_lixels(network, 10.0)
    pieces = lay_pieces(network, lixels, 100.0)
    lines = road_lines(network, lixels, pieces, stops_at=["primary"])
    assert spans(lines) == {"High Road": [1402]}


def test_a_ring_is_one_line() -> None:
    ring = [[(0, 0), (200, 0), (200, 200), (0, 200), (0, 0)]]
    assert spans(lines_of(ring, ["Ring"])) == {"Ring": [800]}


def test_neighbours_on_a_line_touch_on_the_ground() -> None:
    network = make_network(CROSS, NAMES)
    lixels = lay_lixels(network, 10.0)
    pieces = lay_pieces(network, lixels, 100.0)
    lines = road_lines(network, lixels, pieces)
    touching = {tuple(pair) for pair in pieces.neighbours.tolist()}
    for k in range(len(lines)):
        row = lines.piece[lines.first[k] : lines.first[k + 1]]
        assert all(tuple(sorted(p)) in touching for p in pairwise(row.tolist()))
    # Walked one way: the end of each piece is the beginning of the next.
    ends = np.column_stack([lixels.start_m[pieces.first], lixels.end_m[pieces.last]])
    for here, after in pairwise(range(len(lines.piece))):
        p, q = lines.piece[here], lines.piece[after]
        if lines.line[here] == lines.line[after] and pieces.edge[p] == pieces.edge[q]:
            out, into = (
                ends[p][0 if lines.backward[here] else 1],
                ends[q][1 if lines.backward[after] else 0],
            )
            assert out == into
