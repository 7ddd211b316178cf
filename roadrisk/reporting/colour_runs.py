"""Runs of lixels that are drawn as one line, and features of what the map draws."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import geopandas as gpd
import numpy as np
import shapely

from roadrisk.reporting.ranked_list import lines_wgs84

if TYPE_CHECKING:
    import pandas as pd
    from numpy.typing import NDArray

Layer = dict[str, Any]
# Coloured pieces keep their course to this many metres; more vertices than that are dropped.
_COURSE_M = 0.2


def runs_of(codes: pd.DataFrame) -> NDArray[np.int64]:
    """Return the first row of each run of equal rows, ascending; at least one row."""
    new_run = (codes.to_numpy()[1:] != codes.to_numpy()[:-1]).any(axis=1)
    return np.concatenate([[0], np.flatnonzero(new_run) + 1]).astype(np.int64)


def run_lines(lixels: gpd.GeoDataFrame, first: NDArray[np.int64]) -> list[list[list[float]]]:
    """Join the lixels of each run to one line, as [longitude, latitude].

    Parameters
    ----------
    lixels : geopandas.GeoDataFrame
        In network order, each beginning where the one before it ends.
    first : ndarray of int
        `runs_of`.

    Returns
    -------
    list
        A line a run.
    """
    points, owner = shapely.get_coordinates(lixels.geometry, return_index=True)
    run_of_lixel = np.zeros(len(lixels), dtype=np.int64)
    run_of_lixel[first[1:]] = 1
    run_of_point = np.cumsum(run_of_lixel)[owner]
    # A lixel begins where the one before it ends: that vertex is there twice.
    twice = (points[1:] == points[:-1]).all(axis=1) & (run_of_point[1:] == run_of_point[:-1])
    kept = np.concatenate([[True], ~twice])
    lines = shapely.linestrings(points[kept], indices=run_of_point[kept])
    simple = shapely.simplify(lines, _COURSE_M)
    return lines_wgs84(gpd.GeoDataFrame(geometry=simple, crs=lixels.crs))


def feature(kind: str, coordinates: list[Any], properties: dict[str, Any]) -> dict[str, Any]:
    """Return a GeoJSON feature."""
    return {
        "type": "Feature",
        "properties": properties,
        "geometry": {"type": kind, "coordinates": coordinates},
    }


def line(coordinates: list[list[float]], properties: dict[str, Any]) -> dict[str, Any]:
    """Return a GeoJSON feature of one line."""
    return feature("LineString", coordinates, properties)


def layer(features: list[dict[str, Any]]) -> Layer:
    """Return features as a GeoJSON FeatureCollection."""
    return {"type": "FeatureCollection", "features": features}
