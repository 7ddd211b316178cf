"""True, magnetic and grid north: how far apart they are at a place and a time."""

from __future__ import annotations

from functools import lru_cache
from typing import TYPE_CHECKING

import numpy as np
import pygeomag
import pyproj
from numpy.typing import NDArray

from roadrisk.base.crs import WGS84
from roadrisk.errors import CoordinateSystemError

if TYPE_CHECKING:
    import pandas as pd

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]

FIRST_YEAR, LAST_YEAR = 2010, 2029
"""Years for which a World Magnetic Model is at hand: those of 2010, 2015, 2020 and 2025."""


def model_covers(time: pd.DatetimeIndex) -> Bools:
    """Return which times lie within the World Magnetic Models at hand.

    Parameters
    ----------
    time : pandas.DatetimeIndex
        In UTC.

    Returns
    -------
    ndarray of bool
    """
    year = np.asarray(time.year)
    return (year >= FIRST_YEAR) & (year <= LAST_YEAR)


def declination(longitude: Floats, latitude: Floats, time: pd.DatetimeIndex) -> Floats:
    """Return the magnetic declination by the World Magnetic Model, at sea level.

    Parameters
    ----------
    longitude, latitude : ndarray, shape (n,)
        WGS 84 [degrees].
    time : pandas.DatetimeIndex, length n
        In UTC, within `FIRST_YEAR` and `LAST_YEAR`.

    Returns
    -------
    ndarray, shape (n,)
        [degrees], east positive: true bearing = magnetic bearing + declination.

    Raises
    ------
    CoordinateSystemError
        For a time without a model.

    Notes
    -----
    World Magnetic Model of NOAA/NCEI and the British Geological Survey, coefficients as shipped
    by the package pygeomag. The model leaves out local iron and magnetic storms; its own
    uncertainty is some 0.3 to 0.5 degrees at mid-latitudes, more near the magnetic poles.
    """
    if not model_covers(time).all():
        raise CoordinateSystemError(
            f"there is no World Magnetic Model before {FIRST_YEAR} or after {LAST_YEAR}: "
            "write declination_degrees in study.toml"
        )
    begin = np.asarray(time.year, dtype=np.float64)
    within = (np.asarray(time.day_of_year) - 1) / np.where(time.is_leap_year, 366, 365)
    # Declination moves by less than 0.01 degrees over 0.001 degrees of place and a day.
    return np.array(
        [
            _declination(round(float(x), 3), round(float(y), 3), round(float(t), 3))
            for x, y, t in zip(longitude, latitude, begin + within, strict=True)
        ],
        dtype=np.float64,
    )


def grid_azimuth(crs: pyproj.CRS, longitude: Floats, latitude: Floats, true: Floats) -> Floats:
    """Return the direction on the projected plane of bearings from true north.

    Parameters
    ----------
    crs : pyproj.CRS
        Projected.
    longitude, latitude : ndarray, shape (n,)
        Where the bearings are taken, WGS 84 [degrees].
    true : ndarray, shape (n,)
        [degrees, clockwise from true north]

    Returns
    -------
    ndarray, shape (n,)
        [degrees, clockwise from grid north], 0 to 360.

    Notes
    -----
    A geodesic of 100 m along the bearing is projected. In a conformal system, such as UTM, that
    is the bearing less the convergence of the meridians; in others angles are bent too, by a few
    degrees at the edges of an equal-area system of a continent's size.
    """
    lon, lat = np.asarray(longitude, dtype=np.float64), np.asarray(latitude, dtype=np.float64)
    step = np.full(len(lon), 100.0)
    end_lon, end_lat, _ = pyproj.Geod(ellps="WGS84").fwd(lon, lat, np.asarray(true), step)
    turn = pyproj.Transformer.from_crs(WGS84, crs, always_xy=True)
    (x, y), (u, v) = turn.transform(lon, lat), turn.transform(end_lon, end_lat)
    return np.asarray(np.degrees(np.arctan2(u - x, v - y)) % 360, dtype=np.float64)


@lru_cache(maxsize=4096)
def _declination(longitude: float, latitude: float, year: float) -> float:
    model = _model(int(year))
    return float(model.calculate(glat=latitude, glon=longitude, alt=0.0, time=year).d)


@lru_cache(maxsize=8)
def _model(year: int) -> pygeomag.GeoMag:
    return pygeomag.GeoMag(base_year=year)
