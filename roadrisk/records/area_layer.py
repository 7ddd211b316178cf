"""The outline of the study area: polygons of a map layer."""

from __future__ import annotations

from typing import TYPE_CHECKING

import geopandas as gpd
import shapely

from roadrisk.records.polygon_layer import elsewhere, read_polygons

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

    from roadrisk.records.raw_table import Notes
    from roadrisk.records.whereabouts import Box


def read_area(path: Path, roads: Sequence[Box], notes: Notes) -> gpd.GeoSeries | None:
    """Read the study area's outline.

    Parameters
    ----------
    path : pathlib.Path
        GeoPackage, shapefile or GeoJSON with one layer that says its coordinate system.
    roads : sequence of (west, south, east, north)
        Where the roads are [degrees, WGS 84]; an area that misses them all is an error.
    notes : Notes
        Takes errors and doubts; feature i is row i + 2.

    Returns
    -------
    geopandas.GeoSeries or None
        One polygon or multipolygon, all features together, in the layer's own system; None if
        the layer can't be used.
    """
    found = read_polygons(path, None, "an area", notes)
    if found is None:
        return None
    shapes, _ = found
    whole = shapely.union_all(shapes.to_numpy())
    if whole.is_empty:
        notes.error("the layer has no outline.", "name a layer of polygons")
        return None
    area = gpd.GeoSeries([whole], crs=shapes.crs)
    return None if elsewhere(area, roads, "this area", notes) else area
