"""The system of coordinates that a study works in: as stated, or the UTM zone of its points."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pandas as pd

from roadrisk.base.crs import require_metric, utm_crs
from roadrisk.errors import CoordinateSystemError, Remark
from roadrisk.records.settings_file import NAME

if TYPE_CHECKING:
    import pyproj

    from roadrisk.records.whereabouts import Whereabouts

_KEY = "study.crs"
_MEND = "write the EPSG code of a projected system in metres"
# Points whose middle lies further from the roads than this are no guide to the UTM zone.
_ASTRAY_DEGREES = 5.0


def working_crs(
    stated: str, places: list[pd.DataFrame], where: Whereabouts
) -> tuple[pyproj.CRS | None, Remark | None]:
    """Choose the working system.

    Parameters
    ----------
    stated : str
        Of the settings; "auto" for the UTM zone of the points' middle.
    places : list of pandas.DataFrame
        Columns lon and lat, WGS 84 [degrees]; NaN where unknown.
    where : Whereabouts
        Decides where there are no points, or where they lie far from the roads.

    Returns
    -------
    crs : pyproj.CRS or None
        Projected, in metres.
    remark : Remark or None
        The error, where there is no system.
    """
    try:
        if stated != "auto":
            return require_metric(stated), None
        middle = _middle(places, where)
        if middle is None:
            said = "no table gives coordinates, so that there is no UTM zone to choose."
            return None, Remark(NAME, None, _KEY, said, _MEND)
        return utm_crs(*middle), None
    except CoordinateSystemError as error:
        return None, Remark(NAME, None, _KEY, f"{error}.", _MEND)


def _middle(places: list[pd.DataFrame], where: Whereabouts) -> tuple[float, float] | None:
    """Middle of the points (median), or of the roads where the points are astray."""
    roads = where.roads and ((where.roads[0] + where.roads[2]) / 2,
                             (where.roads[1] + where.roads[3]) / 2)  # fmt: skip
    known = pd.concat(places).dropna() if places else pd.DataFrame()
    if known.empty:
        return roads
    lon, lat = float(known["lon"].median()), float(known["lat"].median())
    if where.roads is not None and roads is not None:
        west, south, east, north = where.roads
        off = max(west - lon, lon - east, south - lat, lat - north)
        if off > _ASTRAY_DEGREES:
            return roads
    return lon, lat
