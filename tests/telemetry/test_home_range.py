"""Home ranges: by hand, and by recovering a known range."""

from __future__ import annotations

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
import shapely
from shapely import MultiPolygon, Point, box

from roadrisk.errors import CoordinateSystemError
from roadrisk.telemetry.home_range import COLUMNS, home_ranges, minimum_convex_polygon, roads_cut
from roadrisk.telemetry.kernel_range import (
    TooFewFixesError,
    kernel_utilisation,
    least_squares_sd,
    reference_sd,
)
from tests.roads.small import make_network

CRS = "EPSG:32633"


def fixes_of(**animals):
    parts = [
        gpd.GeoDataFrame(
            {"organismID": [name] * len(xy)}, geometry=gpd.points_from_xy(*xy.T), crs=CRS
        )
        for name, xy in animals.items()
    ]
    return pd.concat(parts, ignore_index=True)


def normal(n, sd, seed, centre=(500_000.0, 5_000_000.0)):
    return np.random.default_rng(seed).normal(centre, sd, (n, 2))


def test_polygon_of_a_unit_square():
    """By hand: area 1, with a fix inside or not."""
    square = np.array([[0, 0], [1, 0], [1, 1], [0, 1], [0.3, 0.6]], dtype=float)
    assert minimum_convex_polygon(square).equals(box(0, 0, 1, 1))


def test_the_farthest_fixes_are_dropped_from_a_95_percent_polygon():
    """By hand: of 40 fixes two go, of 39 one, of 19 none; equally far ones from the end."""
    grid = np.stack(np.meshgrid(np.arange(6.0), np.arange(6.0)), axis=-1).reshape(-1, 2)
    strays = np.array([[30, 2.5], [-24, 2.5], [2.5, 20], [2.5, -15]])
    of_40 = np.concatenate([grid, strays])
    expected = shapely.MultiPoint(np.concatenate([grid, strays[2:]])).convex_hull
    assert minimum_convex_polygon(of_40, 95).equals(expected)
    assert minimum_convex_polygon(of_40[:-1], 95).equals(
        shapely.MultiPoint(np.concatenate([grid, strays[1:3]])).convex_hull
    )
    assert minimum_convex_polygon(of_40[21:], 95).equals(shapely.MultiPoint(of_40[21:]).convex_hull)
    tied = np.array([[0.0, 1], [0, -1], [1, 0], [-1, 0]])
    assert minimum_convex_polygon(tied, 75).equals(shapely.MultiPoint(tied[:3]).convex_hull)


def test_the_mean_and_not_the_median_decides_which_fix_is_farthest():
    """By hand: the mean lies at 4, from where the fix at -2.5 is farther than those at 10."""
    x = np.array([-2.5] + [0.0] * 11 + [10.0] * 8)
    kept = minimum_convex_polygon(np.column_stack([x, np.zeros(20)]), 95)
    assert kept.bounds == (0, 0, 10, 0)


def test_grid_holds_all_the_use_and_contours_have_the_right_area():
    """By hand: one place used once is a bivariate normal, areas 18.82274 and 4.355172 sd²."""
    use = kernel_utilisation(np.array([[500_000.0, 5_000_000.0]]), 25.0)
    assert use.mass.sum() == pytest.approx(1)
    for percent, factor in ((95, 18.82274), (50, 4.355172)):
        assert use.area_m2(percent) == pytest.approx(factor * 625, rel=2e-3)
        outline = use.outline(percent)
        assert outline.area == pytest.approx(factor * 625, rel=4e-3)
        assert outline.centroid.distance(Point(500_000, 5_000_000)) < 0.1


def test_two_distant_places_give_two_patches():
    """By hand: each holds half, so each is the 95 % area of one normal hump."""
    use = kernel_utilisation(np.array([[0.0, 0], [4000.0, 0]]), 20.0)
    outline = use.outline(95)
    assert len(outline.geoms) == 2
    assert [p.area for p in outline.geoms] == pytest.approx([18.82274 * 400] * 2, rel=0.01)


def test_a_ring_of_fixes_leaves_a_hole():
    angles = np.linspace(0, 2 * np.pi, 60, endpoint=False)
    ring = 300 * np.column_stack([np.cos(angles), np.sin(angles)])
    use = kernel_utilisation(ring, 20.0)
    (patch,) = use.outline(95).geoms
    assert len(patch.interiors) == 1
    assert not patch.contains(Point(0, 0))
    assert use.outline(95).area == pytest.approx(use.area_m2(95), rel=2e-3)


def test_area_of_a_round_normal_range_is_recovered():
    """Truth: 18.82 sd², and the kernel's own widening by sd² -> sd² + h², h² = sd²·n^(-1/3)."""
    sd, n, times = 40.0, 120, 60
    areas = np.array([
        [kernel_utilisation(xy).area_m2(p) for p in (95, 50)]
        for xy in (normal(n, sd, seed) for seed in range(times))
    ])  # fmt: skip
    expected = np.array([18.82274, 4.355172]) * sd**2 * (1 + n ** (-1 / 3))
    error = areas.std(axis=0) / np.sqrt(times) / expected
    assert error.max() < 0.02
    # Half a percent is allowed for small-sample bias besides four standard errors.
    assert areas.mean(axis=0) / expected == pytest.approx(1, abs=4 * error.max() + 0.005)


def test_intervals_are_as_wide_as_areas_really_vary():
    """Truth: the spread and mean of areas over 300 fresh samples, beside 30 intervals.

    A bootstrap is somewhat narrow with 60 fixes; it must hold the mean area in most cases.
    """
    sd, n = 40.0, 60
    fresh = [kernel_utilisation(normal(n, sd, s)).area_m2(95) / 1e4 for s in range(300)]
    animals = {f"a{s:02d}": normal(n, sd, 1000 + s) for s in range(30)}
    table = home_ranges(fixes_of(**animals), seed=1, draws=100)
    width = (table["kernel95_ha_high"] - table["kernel95_ha_low"]).mean()
    low, high = np.quantile(fresh, [0.05, 0.95])
    assert 0.65 < width / (high - low) < 1.05
    held = (table["kernel95_ha_low"] < np.mean(fresh)) & (
        np.mean(fresh) < table["kernel95_ha_high"]
    )
    assert held.mean() > 0.7
    assert (table["kernel95_ha_low"] < table["kernel95_ha"]).all()
    assert (table["kernel95_ha"] < table["kernel95_ha_high"]).all()


def test_least_squares_finds_tight_patches_and_says_where_there_is_no_minimum():
    """Two tight patches: the reference bandwidth smears them; tied fixes have no minimum."""
    two = np.concatenate([normal(60, 15, 1, (0, 0)), normal(60, 15, 2, (800, 0))])
    found = least_squares_sd(two)
    assert found.found
    assert 4 < found.sd_m < 15 < reference_sd(two)
    narrow = kernel_utilisation(two, rule="least squares")
    assert narrow.rule == "least-squares cross-validation"
    assert narrow.area_m2(95) < kernel_utilisation(two).area_m2(95) / 3

    tied = np.repeat(normal(12, 50, 3), 5, axis=0)
    assert not least_squares_sd(tied).found
    use = kernel_utilisation(tied, rule="least squares")
    assert use.sd_m == reference_sd(tied)
    assert "no minimum" in use.rule
    (row,) = home_ranges(fixes_of(a=tied), seed=1, rule="least squares", draws=20).itertuples()
    assert "no minimum" in row.note


def test_no_bandwidth_for_one_place():
    with pytest.raises(TooFewFixesError, match="one place"):
        reference_sd(np.zeros((9, 2)))
    with pytest.raises(TooFewFixesError):
        kernel_utilisation(np.zeros((1, 2)))


def test_table_of_ranges():
    same = np.full((8, 2), 500.0)
    fixes = fixes_of(b=normal(40, 30, 1), a=normal(12, 30, 2), few=normal(4, 30, 3), one=same)
    unplaced = fixes.iloc[:2].assign(geometry=[Point(), None], organismID=["b", "lost"])
    fixes = pd.concat([fixes, unplaced], ignore_index=True)
    before = fixes.copy()
    table = home_ranges(fixes, seed=7, draws=40)
    assert tuple(table.columns) == COLUMNS
    assert table.crs == CRS
    assert list(table["organismID"]) == ["a", "b", "few", "lost", "one"]
    assert list(table["fixes"]) == [12, 40, 4, 0, 8]
    notes = table.set_index("organismID")["note"]
    assert notes["b"] == ""
    assert notes["a"].startswith("12 fixes: below about 30 the area still grows")
    assert notes["few"] == notes["lost"] == "fewer than 5 fixes: no home range"
    assert notes["one"] == "all fixes lie at one place: no home range"
    none = table.iloc[2:]
    assert none.filter(like="_ha").isna().all().all()
    assert none.geometry.is_empty.all()
    some = table.iloc[:2]
    assert some.geometry.map(lambda g: isinstance(g, MultiPolygon) and g.is_valid).all()
    assert np.allclose(some.geometry.area / 1e4, some["kernel95_ha"])
    assert (some["mcp95_ha"] <= some["mcp100_ha"]).all()
    assert (some["kernel50_ha"] < some["kernel95_ha"]).all()
    pd.testing.assert_frame_equal(fixes, before)

    again = home_ranges(fixes[fixes["organismID"] == "b"], seed=7, draws=40)
    pd.testing.assert_frame_equal(
        pd.DataFrame(again), pd.DataFrame(table.iloc[[1]]).reset_index(drop=True)
    )  # one animal's draws don't hang on the others


def test_no_fixes_give_an_empty_table_and_degrees_are_refused():
    empty = home_ranges(fixes_of(a=normal(5, 3, 1)).iloc[:0], seed=1)
    assert len(empty) == 0
    assert tuple(empty.columns) == COLUMNS
    with pytest.raises(CoordinateSystemError):
        home_ranges(fixes_of(a=normal(5, 3, 1)).to_crs(4326), seed=1)


def test_roads_that_cut_a_range():
    """By hand: a road through a square of 100 m, one that ends in it, touches it, passes over."""
    network = make_network(
        [
            [(-50, 40), (150, 40)],
            [(30, 60), (30, 300)],
            [(-50, 100), (150, 100.0)],
            [(-50, 20), (150, 20)],
            [(200, 0), (200, 100)],
            [(20, -50), (20, -1e-9)],
        ],
        names=["through", "into", "along the edge", "bridge", "beside", "up to it"],
        level=[0, 0, 0, 1, 0, 0],
        bridge=[False, False, False, True, False, False],
    )
    ranges = gpd.GeoDataFrame(
        {"organismID": ["b", "a", "none"]},
        geometry=[MultiPolygon([box(0, 0, 100, 100)]), box(0, 0, 10, 100), MultiPolygon()],
        crs=CRS,
    )
    cut = roads_cut(ranges, network.segments)
    assert list(cut.columns) == ["organismID", "segment", "segment_id", "road", "metres_inside"]
    found = {(r.organismID, r.road): r.metres_inside for r in cut.itertuples()}
    inside = {key: m for key, m in found.items() if key[1] != "along the edge"}
    assert inside == {
        ("a", "through"): pytest.approx(10),
        ("b", "through"): pytest.approx(100),
        ("b", "into"): pytest.approx(40),
    }
    assert (cut["segment_id"] == network.segments["segment_id"].to_numpy()[cut["segment"]]).all()
    assert roads_cut(ranges.iloc[2:], network.segments).empty


def test_fixes_close_in_time_are_said_to_make_intervals_too_narrow():
    """By hand: ten fixes an hour apart make nine close steps; daily ones make none."""
    xy = normal(10, 20.0, 3)
    start = pd.Timestamp("2024-05-01 08:00", tz="UTC")
    hourly = fixes_of(a=xy).assign(time=pd.date_range(start, periods=10, freq="h"))
    daily = fixes_of(a=xy).assign(time=pd.date_range(start, periods=10, freq="D"))
    said = "9 steps of 2 h or less: the intervals are too narrow"
    assert said in home_ranges(hourly, seed=1)["note"][0]
    assert "2 h or less" not in home_ranges(daily, seed=1)["note"][0]
