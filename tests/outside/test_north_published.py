"""Magnetic and grid north against published values and geodesics."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pyproj
import pytest

from roadrisk.base.north import declination, grid_azimuth, model_covers
from roadrisk.errors import CoordinateSystemError


@pytest.mark.parametrize(("time", "lat", "lon", "expected"), [
    # NOAA, WMM2010testvalues.pdf, height 0 (as printed in the tests of github.com/boxpet/pygeomag)
    ("2010-01-01", 80, 0, -6.13), ("2010-01-01", 0, 120, 0.97), ("2010-01-01", -80, -120, 70.21),
    ("2012-07-02", 80, 0, -5.21), ("2012-07-02", 0, 120, 0.88),
    # NOAA, WMM2020testvalues.pdf, height 0 (likewise)
    ("2020-01-01", 80, 0, -1.28), ("2020-01-01", 0, 120, 0.16), ("2020-01-01", -80, -120, 69.36),
    ("2022-07-02", 80, 0, 0.01), ("2022-07-02", 0, 120, -0.06), ("2022-07-02", -80, -120, 69.13),
    # NOAA, WMM2025_TEST_VALUES.txt, height 0 (as quoted in tests of public repositories)
    ("2025-01-01", 80, 0, 1.28), ("2025-01-01", 0, 120, -0.16), ("2025-01-01", -80, -120, 68.78),
])  # fmt: skip
def test_declination(time: str, lat: float, lon: float, expected: float) -> None:
    found = declination(np.array([lon]), np.array([lat]), pd.DatetimeIndex([time], tz="UTC"))
    # Printed to 0.01; the dates stand for 2012.5 and 2022.5 to within a day.
    assert found == pytest.approx([expected], abs=0.011)


def test_years_without_a_model() -> None:
    times = pd.DatetimeIndex(["2009-12-31", "2010-01-01", "2029-12-31", "2030-01-01"], tz="UTC")
    assert model_covers(times).tolist() == [False, True, True, False]
    with pytest.raises(CoordinateSystemError, match="declination_degrees"):
        declination(np.zeros(1), np.zeros(1), times[3:])


@pytest.mark.parametrize("code", [32634, 32718, 2180, 26917])
def test_grid_azimuth_in_conformal_systems(code: int) -> None:
    """True bearing less the meridians' convergence that PROJ gives (pyproj.Proj.get_factors)."""
    crs = pyproj.CRS.from_epsg(code)
    box = crs.area_of_use
    assert box is not None
    lon = np.linspace(box.west, box.east, 5)[1:-1]
    lat = np.linspace(max(box.south, -60), min(box.north, 70), 5)[1:-1]
    turn = np.asarray(pyproj.Proj(crs).get_factors(lon, lat).meridian_convergence)
    assert np.abs(turn).max() > 0.5
    for true in (0.0, 77.0, 200.0):
        found = grid_azimuth(crs, lon, lat, np.full(3, true))
        assert np.abs((found - true + turn + 180) % 360 - 180).max() < 0.01


def test_grid_azimuth_where_angles_are_bent() -> None:
    """Lambert's equal-area projection of a sphere from the equator and 0° E, worked by hand at
    45° E: lines along the equator shrink by cos 22.5°, those across it grow by as much, so the
    bearing 45° gives atan(cos² 22.5°). The ellipsoid differs by hundredths of a degree."""
    crs = pyproj.CRS.from_proj4("+proj=laea +lat_0=0 +lon_0=0 +datum=WGS84 +units=m")
    found = grid_azimuth(crs, np.array([45.0]), np.zeros(1), np.array([45.0]))
    assert found == pytest.approx(np.degrees(np.arctan(np.cos(np.radians(22.5)) ** 2)), abs=0.2)
