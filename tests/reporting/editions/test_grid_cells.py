"""Cells of the decimal grid, by hand."""

import numpy as np
import pytest
import shapely
from hypothesis import given
from hypothesis import strategies as st

from roadrisk.reporting.editions.grid_cells import (
    LEVELS,
    corner_words,
    finest,
    parent,
    shape_of,
    size_degrees,
    square_of,
)


def cell(longitude, latitude):
    return tuple(finest(np.array([longitude]), np.array([latitude]))[0].tolist())


def test_sides_of_the_classes():
    sides = {kind: None if level is None else size_degrees(level) for kind, level in LEVELS.items()}
    assert sides == {"extreme": None, "high": 0.1, "medium": 0.01, "low": 0.001}


@pytest.mark.parametrize(
    ("longitude", "latitude", "expected"),
    [
        (19.403, 52.196, (19403, 52196)),
        (19.4029999, 52.1959999, (19402, 52195)),
        (0.0, 0.0, (0, 0)),
        (-0.0001, -0.0001, (-1, -1)),
        (-19.403, -52.196, (-19403, -52196)),
        (-19.4031, -52.1961, (-19404, -52197)),
    ],
)
def test_a_place_on_an_edge_belongs_to_the_cell_east_and_north(longitude, latitude, expected):
    assert cell(longitude, latitude) == expected


def test_names_are_corners():
    assert corner_words(square_of(cell(19.4567, 52.1987), 1)) == "52.19 19.45"
    assert corner_words(square_of(cell(-19.4567, -52.1987), 2)) == "-52.2 -19.5"
    assert corner_words(square_of(cell(-0.5, 0.5), 3)) == "0 -1"


@given(st.floats(-179.9, 179.9), st.floats(-89.9, 89.9), st.integers(0, 3))
def test_a_place_lies_in_its_square_and_that_in_its_parent(longitude, latitude, level):
    square = square_of(cell(longitude, latitude), level)
    # A millionth of a cell is what mending decimals may move an edge.
    assert shape_of(square).buffer(2e-9).covers(shapely.Point(longitude, latitude))
    assert shape_of(parent(square)).covers(shape_of(square))


def test_what_is_left_of_a_square():
    whole = (1, 1940, 5219)
    rest = shape_of(whole, [(0, 19400, 52190), (0, 19405, 52193)])
    assert rest.area == pytest.approx(98 * 0.001**2)
