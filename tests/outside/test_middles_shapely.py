"""Lengths and places along many lines against shapely 2 (GEOS), to the last digit."""

import numpy as np
import pytest
import shapely

from roadrisk.roads.lines import shapes_of
from roadrisk.roads.middles import lengths_of, shares_along


@pytest.mark.parametrize("share", [0.0, 0.25, 0.5, 0.75, 1.0])
def test_places_by_share(share: float) -> None:
    """Against `shapely.length` and `shapely.line_interpolate_point`: segment ids hang on these."""
    rng = np.random.default_rng(8)
    count = rng.integers(2, 9, 5000)
    first = np.concatenate([[0], np.cumsum(count)])
    xy = np.array([500_000.0, 5_000_000.0]) + rng.uniform(0.0, 400.0, (first[-1], 2))
    lines = shapes_of(xy, first)
    np.testing.assert_array_equal(lengths_of(xy, first), shapely.length(lines))
    theirs = shapely.get_coordinates(shapely.line_interpolate_point(lines, share, normalized=True))
    np.testing.assert_array_equal(shares_along(xy, first, share), theirs)
