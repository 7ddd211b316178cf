"""Lines beside lines against shapely 2 (STRtree, line_locate_point, line_interpolate_point)."""

from __future__ import annotations

import numpy as np
import pandas as pd
import shapely

from roadrisk.roads.beside import lines_beside
from roadrisk.roads.lines import shapes_of


def crooked(seed: int, count: int) -> tuple[np.ndarray, np.ndarray]:
    """Lines of two to seven vertices on a square of 600 m, some on one straight line."""
    rng = np.random.default_rng(seed)
    size = rng.integers(2, 8, count)
    first = np.concatenate([[0], np.cumsum(size)])
    start = np.repeat(rng.uniform(0.0, 600.0, (count, 2)), size, axis=0)
    bent = start + np.cumsum(rng.normal(0.0, 25.0, (first[-1], 2)), axis=0)
    straight = np.repeat(rng.random(count) < 0.3, size)
    bent[straight, 1] = np.round(bent[straight, 1] / 50.0) * 50.0
    return bent + np.array([500_000.0, 5_000_000.0]), first


def headings(lines: np.ndarray, along: np.ndarray) -> np.ndarray:
    a = shapely.line_interpolate_point(lines, np.maximum(along - 2.0, 0.0))
    b = shapely.line_interpolate_point(lines, np.minimum(along + 2.0, shapely.length(lines)))
    step = shapely.get_coordinates(b) - shapely.get_coordinates(a)
    return np.degrees(np.arctan2(step[:, 1], step[:, 0]))


def test_lines_beside_against_shapely() -> None:
    """The same line at the same place for every sample; of lines equally near the first."""
    ours, theirs, within = crooked(1, 300), crooked(2, 300), 20.0
    found = lines_beside(*ours, *theirs, within)
    lines, others = shapes_of(*ours), shapes_of(*theirs)
    of = np.repeat(np.arange(len(lines)), found.places)
    np.testing.assert_array_equal(
        found.places, np.maximum(3, np.ceil(shapely.length(lines) / 10.0) + 1)
    )
    points = shapely.line_interpolate_point(lines[of], found.at_m)
    place, other = shapely.STRtree(others).query(points, predicate="dwithin", distance=within)
    along = shapely.line_locate_point(others[other], points[place])
    turn = headings(others[other], along) - headings(lines[of], found.at_m)[place]
    table = pd.DataFrame({
        "place": place, "other": other, "along": along,
        "near": np.round(shapely.distance(others[other], points[place]), 3),
    })  # fmt: skip
    table = table[np.abs((turn + 90.0) % 180.0 - 90.0) <= 30.0]
    table = table.sort_values(["place", "near", "other"]).drop_duplicates("place")
    assert 100 < len(table) < len(points)
    np.testing.assert_array_equal(np.flatnonzero(found.other >= 0), table["place"])
    np.testing.assert_array_equal(found.other[found.other >= 0], table["other"])
    np.testing.assert_array_equal(found.other_m[found.other >= 0], table["along"])
    assert found.hits.sum() == len(table)
