"""Home ranges against worked values, shapely, scipy and published sizes."""

from __future__ import annotations

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
import shapely
from scipy import integrate, spatial, stats

from roadrisk.species import built_in_profile
from roadrisk.telemetry.home_range import home_ranges, minimum_convex_polygon
from roadrisk.telemetry.kernel_range import (
    kernel_utilisation,
    least_squares_score,
    least_squares_sd,
    reference_sd,
)

ZIGZAG = np.array([[0, 0], [10, 5], [20, 0], [30, 5], [40, 0]], dtype=float)


@pytest.fixture(scope="module")
def box_turtles(open_data):
    """Florida box turtles (Hocking & Donini, CC0); their longitudes lack the minus sign."""
    table = pd.read_csv(
        open_data / "box_turtle_fixes" / "bauri_telemetry_data_Naples_Preserve_2019-2020.csv"
    )
    where = gpd.points_from_xy(-table["lon"], table["lat"])
    ids = table["id"].astype(str).to_numpy()
    fixes = gpd.GeoDataFrame({"organismID": ids}, geometry=where, crs="EPSG:4326")
    return fixes.to_crs("EPSG:32617")


def whitened(n, seed):
    """Draw fixes whose covariance is exactly the identity, so that scipy's kernel is round."""
    xy = np.random.default_rng(seed).gamma(2.0, 1.0, (n, 2))
    xy -= xy.mean(axis=0)
    return xy @ np.linalg.inv(np.linalg.cholesky(np.cov(xy.T))).T


def test_reference_bandwidth_worked_value():
    """8.677180, computed from Worton's formula apart from this project."""
    assert reference_sd(ZIGZAG) == pytest.approx(8.677180, abs=1e-6)


def test_reference_bandwidth_equals_scotts_rule():
    """scipy.stats.gaussian_kde, Scott's factor in two dimensions: n^(-1/6)."""
    xy = whitened(80, 1)
    assert reference_sd(xy) == pytest.approx(stats.gaussian_kde(xy.T).scotts_factor(), rel=1e-9)


@pytest.mark.parametrize("sd", [0.1, 0.35, 1.2])
def test_densities_equal_scipy(sd):
    """scipy.stats.gaussian_kde with the same bandwidth, at 400 places and over grid cells."""
    xy = whitened(60, 2)
    places = np.random.default_rng(3).uniform(-4, 4, (400, 2))
    expected = stats.gaussian_kde(xy.T, bw_method=sd)
    use = kernel_utilisation(xy, sd)
    assert use.density_at(places) == pytest.approx(expected(places.T), rel=1e-9)
    half_x, half_y = np.diff(use.x_m[:2])[0] / 2, np.diff(use.y_m[:2])[0] / 2
    for row, column in np.random.default_rng(4).integers(0, [len(use.y_m), len(use.x_m)], (5, 2)):
        x, y = use.x_m[column], use.y_m[row]
        mass = expected.integrate_box([x - half_x, y - half_y], [x + half_x, y + half_y])
        # The kernel's tail past the grid, less than 1e-5, is shared out over the cells.
        assert use.mass[row, column] == pytest.approx(mass, rel=2e-5, abs=1e-9)


def test_outline_holds_its_share_of_scipys_draws():
    """scipy.stats.gaussian_kde.resample: 95 and 50 % of 40,000 draws lie inside."""
    xy = whitened(60, 5)
    drawn = stats.gaussian_kde(xy.T, bw_method=0.3).resample(40_000, seed=6)
    use = kernel_utilisation(xy, 0.3)
    for percent in (95, 50):
        inside = shapely.contains_xy(use.outline(percent), *drawn).mean()
        assert inside == pytest.approx(percent / 100, abs=4 * np.sqrt(0.25 / 40_000))


@pytest.mark.parametrize("sd", [4.0, 8.677180, 20.0])
def test_least_squares_score_by_numerical_integration(sd):
    """scipy.integrate over the squared density, and each fix's density from the others."""
    use = kernel_utilisation(ZIGZAG, sd)

    def squared(y, x):
        return use.density_at(np.array([[x, y]]))[0] ** 2

    reach = 6 * sd
    area, _ = integrate.dblquad(squared, -reach, 40 + reach, -reach, 5 + reach, epsabs=1e-9)
    others = [
        kernel_utilisation(np.delete(ZIGZAG, i, axis=0), sd).density_at(ZIGZAG[[i]])[0]
        for i in range(len(ZIGZAG))
    ]
    expected = area - 2 * np.mean(others)
    assert least_squares_score(ZIGZAG, sd) == pytest.approx(expected, rel=1e-5)


def test_least_squares_minimum_is_lower_than_on_a_fine_grid():
    xy = whitened(70, 7)
    best = least_squares_sd(xy)
    assert best.found
    scores = [least_squares_score(xy, h) for h in reference_sd(xy) * np.linspace(0.1, 1.9, 600)]
    assert least_squares_score(xy, best.sd_m) <= min(scores) + 1e-9


def test_polygons_of_real_turtles_equal_hulls(box_turtles):
    """shapely's convex hull and scipy's (Qhull) area, all fixes and 95 % of them."""
    table = home_ranges(box_turtles, seed=1, draws=20).set_index("organismID")
    assert len(table) == 10
    for animal, some in box_turtles.groupby("organismID"):
        xy = shapely.get_coordinates(some.geometry.to_numpy())
        assert minimum_convex_polygon(xy).equals(some.geometry.union_all().convex_hull)
        assert table.loc[animal, "mcp100_ha"] * 1e4 == pytest.approx(
            spatial.ConvexHull(xy).volume, rel=1e-9
        )
        far = np.linalg.norm(xy - xy.mean(axis=0), axis=1)
        kept = xy[far <= np.sort(far)[len(xy) - 1 - int(0.05 * len(xy))]]
        assert table.loc[animal, "mcp95_ha"] * 1e4 == pytest.approx(
            spatial.ConvexHull(kept).volume, rel=1e-9
        )


def test_real_turtles_have_ranges_of_published_size(box_turtles):
    """Published for box turtles: polygons of 0.16-6.10 ha (Georgia, 20 animals) and
    1.88 ± 0.49 ha with 95 % kernels of 2.26 ± 0.76 ha (Donaldson & Echternacht 2005, Tennessee).
    """
    table = home_ranges(box_turtles, seed=1, draws=20)
    assert table["mcp100_ha"].between(0.16, 6.10).all()
    assert table["mcp100_ha"].mean() == pytest.approx(1.88, abs=0.49)
    assert table["kernel95_ha"].mean() == pytest.approx(2.26, abs=0.76)
    assert (table["note"] == "").all()
    area = built_in_profile("terrapene_carolina").home_range.area_ha
    assert table["kernel95_ha"].between(area.low, area.high).all()
