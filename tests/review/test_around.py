"""Roads and reports near a place. By hand, and against going through all of them."""

from __future__ import annotations

import geopandas as gpd
import numpy as np
import pytest
import shapely

from roadrisk.review.around import MOST_REPORTS, Around

CRS = "EPSG:32634"
X0, Y0 = 390_000.0, 5_784_500.0


def made(count: int = 500) -> tuple[Around, gpd.GeoSeries]:
    lines = [shapely.LineString([(X0, Y0 + 500 * k), (X0 + 4000, Y0 + 500 * k)]) for k in range(5)]
    roads = gpd.GeoDataFrame(
        {"segment_id": [f"s{k}" for k in range(5)], "road": [f"Road {k}" for k in range(5)]},
        geometry=lines, crs=CRS,
    )  # fmt: skip
    rng = np.random.default_rng(4)
    places = gpd.GeoSeries(
        gpd.points_from_xy(X0 + rng.uniform(0, 4000, count), Y0 + rng.uniform(0, 2000, count)),
        crs=CRS,
    )
    wgs84 = places.to_crs("EPSG:4326")
    longitude = wgs84.x.to_numpy().copy()
    longitude[0] = np.nan
    return Around(roads, longitude, wgs84.y.to_numpy()), places


def test_near_reports_are_those_of_a_plain_search() -> None:
    around, places = made()
    here = np.array([X0 + 2000, Y0 + 1000])
    far = np.hypot(places.x - here[0], places.y - here[1])
    expected = sorted((d, k) for k, d in enumerate(far) if d <= 300 and k)
    found = around.reports_near(here, 300)
    assert [row for row, _ in found] == [k for _, k in expected]
    assert [d for _, d in found] == pytest.approx([d for d, _ in expected], abs=1e-3)


def test_a_moved_report_is_found_where_it_is_and_not_where_it_was() -> None:
    around, places = made()
    was = around.xy[7].copy()
    there = gpd.GeoSeries(gpd.points_from_xy([X0 + 9000], [Y0 + 9000]), crs=CRS).to_crs(4326)
    around.move(7, float(there.x.iloc[0]), float(there.y.iloc[0]))
    assert 7 not in [row for row, _ in around.reports_near(was, 50)]
    assert [row for row, _ in around.reports_near(np.array([X0 + 9000, Y0 + 9000]), 1)] == [7]
    around.move(7, float("nan"), float("nan"))
    assert around.reports_near(np.array([X0 + 9000, Y0 + 9000]), 1) == []
    assert around.reports_near(around.xy[7], 1e6) == []
    assert len(places) == len(around.xy)


def test_the_nearest_road_and_its_distance() -> None:
    around, _ = made()
    assert around.nearest_road(np.array([X0 + 100, Y0 + 980])) == ("Road 2", pytest.approx(20))
    name, far = around.nearest_road(np.array([np.nan, np.nan]))
    assert name == ""
    assert np.isnan(far)
    empty = gpd.GeoDataFrame({"segment_id": [], "road": []}, geometry=[], crs=CRS)
    name, far = Around(empty, np.array([19.4]), np.array([52.2])).nearest_road(np.array([X0, Y0]))
    assert name == ""
    assert np.isnan(far)


def test_a_wide_view_gives_nothing_and_a_full_one_says_that_it_is_cut() -> None:
    around, _ = made(2 * MOST_REPORTS)
    assert around.in_view((-180, -90, 180, 90)) == {
        "roads": [], "rows": [], "too_wide": True, "cut": False
    }  # fmt: skip
    box = (19.37, 52.19, 19.46, 52.23)
    seen = around.in_view(box)
    assert seen["cut"]
    assert len(seen["rows"]) == MOST_REPORTS
    assert {r["name"] for r in seen["roads"]} == {f"Road {k}" for k in range(5)}
    lat, lon = seen["roads"][0]["line"][0][0]
    assert box[1] < lat < box[3]
    assert box[0] < lon < box[2]
