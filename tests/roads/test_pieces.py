"""Pieces of road: by hand."""

from __future__ import annotations

import numpy as np
import pytest

from roadrisk.roads.bands import with_bands
from roadrisk.roads.lixels import lay_lixels
from roadrisk.roads.pieces import lay_pieces
from tests.roads.small import make_network


def test_a_junction_of_three_roads() -> None:
    """By hand: 500, 250 and 40 m of road that meet in one place."""
    net = make_network([[(0, 0), (500, 0)], [(500, 0), (750, 0)], [(500, 0), (500, 40)]])
    lixels = lay_lixels(net, 10.0)
    pieces = lay_pieces(net, lixels, 100.0)
    # 250 m is as near to two as to three pieces: a half is rounded up.
    assert sorted(pieces.length_m.round(6).tolist()) == [40.0, 80.0, 80.0, 90.0] + [100.0] * 5
    assert pieces.length_m.sum() == pytest.approx(net.length_m)
    assert np.array_equal(np.bincount(pieces.of_lixel), pieces.last - pieces.first + 1)
    # Along the edges 4 + 2 + 0 joints; the three ends at the junction make three pairs.
    assert len(pieces.neighbours) == 9
    degree = np.bincount(pieces.neighbours.ravel(), minlength=len(pieces))
    # Far ends touch one piece, the stub two, the two roads' pieces at the junction three.
    assert sorted(degree.tolist()) == [1, 1, 2, 2, 2, 2, 2, 3, 3]


def test_a_dual_carriageway_is_one_road() -> None:
    """By hand: two bands of 500 m, 20 m apart, are five pieces and not ten."""
    net = with_bands(
        make_network(
            [[(0, 0), (500, 0)], [(500, 20), (0, 20)], [(-200, 10), (0, 0)], [(-200, 10), (0, 20)]],
            names=["High Road"] * 4,
            oneway=[1, 1, 0, 0],
        )
    )
    lixels = lay_lixels(net, 10.0)
    pieces = lay_pieces(net, lixels, 100.0)
    on_band = net.segments["band_of"].to_numpy(object)[lixels.segment] != ""
    assert on_band.any()
    assert set(pieces.of_lixel[on_band]) <= set(pieces.of_lixel[~on_band])
    # A count on either carriageway lands on the same piece.
    assert pieces.sums(np.ones(len(lixels))).sum() == len(lixels)
    assert pieces.length_m.sum() < net.length_m - 450.0
    assert (pieces.neighbours[:, 0] < pieces.neighbours[:, 1]).all()


def test_pieces_longer_than_every_road() -> None:
    """By hand: one piece an edge; a ring touches nothing but itself."""
    net = make_network([[(0, 0), (100, 0), (100, 100), (0, 0)]])
    pieces = lay_pieces(net, lay_lixels(net, 10.0), 5000.0)
    assert len(pieces) == 1
    assert pieces.neighbours.shape == (0, 2)
    assert pieces.middle[0] in range(pieces.first[0], pieces.last[0] + 1)
