"""Coordinate systems: WGS 84 outside, one projected metric system inside."""

from __future__ import annotations

import numpy as np
import pyproj

from roadrisk.errors import CoordinateSystemError

WGS84 = "EPSG:4326"


def utm_crs(longitude: float, latitude: float) -> pyproj.CRS:
    """Return the WGS 84 / UTM zone of a place.

    Parameters
    ----------
    longitude, latitude : float
        WGS 84 [degrees]; latitude between -80 and 84, where UTM is defined.

    Returns
    -------
    pyproj.CRS
        A projected system in metres. The exceptions of Norway and Svalbard are not followed:
        the plain 6 degree zone serves the purpose as well.

    Raises
    ------
    CoordinateSystemError
        If the place has no UTM zone.
    """
    if not (np.isfinite(longitude) and -80 <= latitude <= 84):
        raise CoordinateSystemError(
            f"no UTM zone at longitude {longitude}, latitude {latitude}: "
            "name a projected metric system in study.toml, key study.crs"
        )
    zone = int((longitude + 180) % 360 // 6) + 1
    return pyproj.CRS.from_epsg((32600 if latitude >= 0 else 32700) + zone)


def require_metric(crs: pyproj.CRS | str | None) -> pyproj.CRS:
    """Return `crs` as a pyproj CRS if it is projected and in metres.

    Raises
    ------
    CoordinateSystemError
        If it is missing, unknown, geographic, or not in metres.
    """
    if crs is None:
        raise CoordinateSystemError(
            "a layer has no coordinate system: name it in study.toml, key crs"
        )
    try:
        found = pyproj.CRS.from_user_input(crs)
    except pyproj.exceptions.CRSError as error:
        raise CoordinateSystemError(f"unknown coordinate system {crs!r}") from error
    if not found.is_projected or any(a.unit_conversion_factor != 1.0 for a in found.axis_info):
        raise CoordinateSystemError(
            f"{found.name} is not a projected system in metres: "
            'use "auto" or a UTM zone such as EPSG:32633'
        )
    return found
