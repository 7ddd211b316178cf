"""Arms of other roads at which a fence must open: by hand."""

from __future__ import annotations

import numpy as np
import pytest

from roadrisk.mitigation.fence_openings import junction_arms
from roadrisk.mitigation.lines import RoadLines, road_lines
from roadrisk.mitigation.site_rows import SiteRows
from roadrisk.roads.bands import with_bands
from roadrisk.roads.lixels import lay_lixels
from roadrisk.roads.pieces import lay_pieces
from tests.roads.small import make_network

# A dual road of two bands 20 m apart, from x = 0 to 900 m, cut at x = 400 m.
BANDS = [[(0, 0), (400, 0)], [(400, 0), (900, 0)], [(900, 20), (400, 20)], [(400, 20), (0, 20)]]
SOUTH, NORTH = [(400, 0), (400, -300)], [(400, 20), (400, 300)]
LINK = [(400, 0), (400, 20)]


def dual(*others):
    return with_bands(make_network(
        [*BANDS, *others],
        ["High Road"] * 4 + [f"Lane {k}" for k in range(len(others))],
        oneway=[1] * 4 + [0] * len(others),
    ))  # fmt: skip


def arms_of(network, stops_at=()):
    lixels = lay_lixels(network, 10.0)
    pieces = lay_pieces(network, lixels, 100.0)
    lines = road_lines(network, lixels, pieces, stops_at=stops_at)
    return junction_arms(network, lixels, pieces, lines), lines


def on(lines: RoadLines, road: str) -> np.ndarray:
    return np.flatnonzero(lines.road[lines.line] == road)


@pytest.mark.parametrize(
    ("others", "lanes"),
    [
        ([SOUTH], ["Lane 0"]),
        ([NORTH], ["Lane 0"]),  # reaches only one of the bands, whichever leads
        ([SOUTH, NORTH], ["Lane 0", "Lane 1"]),
        ([SOUTH, NORTH, LINK], ["Lane 0", "Lane 1"]),  # the link leaves neither side
    ],
)
def test_arms_of_a_dual_road_are_counted_once_on_either_band(others, lanes) -> None:
    """By hand: a side road is one opening, whether or not the bands are joined there."""
    arms, lines = arms_of(dual(*others))
    here = arms[arms["place"].isin(on(lines, "High Road"))]
    assert sorted(here["road"]) == lanes


def test_a_place_on_the_other_band_stands_opposite() -> None:
    """By hand: x = 230 m on either band is one place, to half a lixel."""
    network = dual()
    lixels = lay_lixels(network, 10.0)
    pieces = lay_pieces(network, lixels, 100.0)
    rows = SiteRows(network, lixels, pieces, road_lines(network, lixels, pieces), None)
    at = {}
    for edge in range(network.edges):
        x = network.edge_xy[network.edge_first[edge] : network.edge_first[edge + 1], 0]
        if x.min() <= 230 <= x.max():
            offset = abs(230.0 - x[0])
            at[edge] = rows.along_line(np.array([edge]), np.array([offset]))
    (place_a, at_a), (place_b, at_b) = at.values()
    assert place_a == place_b
    assert at_a == pytest.approx(at_b, abs=5.1)
    assert min(abs(at_a - 230), abs(at_a - 670)) <= 5.1


def test_a_road_that_crosses_itself_opens_for_itself() -> None:
    """By hand: where a line meets itself, the arms of its other pass are in the way of a fence."""
    loop = [
        [(0, 0), (300, 0)],
        [(300, 0), (500, 0), (500, 200), (300, 200), (300, 0)],
        [(300, 0), (300, -300)],
    ]
    arms, lines = arms_of(make_network(loop, ["Loop Road"] * 3))
    assert set(arms["road"]) == {"Loop Road"}
    assert len(arms) == 2 * len(np.unique(arms["place"]))
    assert len(lines) == 1


def test_no_arms_without_junctions() -> None:
    arms, _ = arms_of(make_network([[(0, 0), (300, 0)]], ["Road"]))
    assert arms.empty
    ring = [[(0, 0), (200, 0), (200, 200), (0, 200), (0, 0)]]
    arms, _ = arms_of(make_network(ring, ["Ring"]))
    assert arms.empty
