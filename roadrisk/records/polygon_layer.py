"""Polygons of a map layer: what an outline and a layer of habitat have in common."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import geopandas as gpd
import numpy as np
import shapely

from roadrisk.base.crs import WGS84
from roadrisk.records.layer_files import read_layer
from roadrisk.records.line_layer import KINDS

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

    from roadrisk.records.raw_table import Notes
    from roadrisk.records.whereabouts import Box

_POLYGON, _MULTI = 3, 6


def read_polygons(
    path: Path, layer: str | None, what: str, notes: Notes
) -> tuple[gpd.GeoSeries, dict[str, Any]] | None:
    """Read a layer in which every feature is a polygon, or has no shape.

    Parameters
    ----------
    path : pathlib.Path
        GeoPackage, shapefile or GeoJSON that says its coordinate system.
    layer : str or None
        Needed where the file has several.
    what : str
        What it is read as, such as "an area".
    notes : Notes
        Takes errors; feature i is row i + 2.

    Returns
    -------
    shapes : geopandas.GeoSeries
        In the layer's own system; None for a feature without a shape.
    columns : dict of str to ndarray
        Or None instead of both, if the layer can't be used.
    """
    if path.suffix.lower() not in KINDS:
        notes.error(
            f"files of type {path.suffix or '(none)'} are not read as {what}.",
            f"export the layer as {', '.join(KINDS)}",
        )
        return None
    found = read_layer(path, layer, notes)
    if found is None:
        return None
    meta, shapes, columns = found
    if meta["crs"] is None:
        notes.error("the layer doesn't say its coordinate system.", "export it with its system")
    shapes = np.zeros(0, object) if shapes is None else shapes
    _only_polygons(shapes, notes)
    if notes.failed:
        return None
    return gpd.GeoSeries(shapes, crs=meta["crs"]), columns


def elsewhere(shapes: gpd.GeoSeries, roads: Sequence[Box], what: str, notes: Notes) -> bool:
    """Note an error if polygons and roads lie in different places.

    Parameters
    ----------
    shapes : geopandas.GeoSeries
    roads : sequence of (west, south, east, north)
        Where the roads are [degrees, WGS 84]; none known: nothing is said.
    what : str
        Such as "this area".
    notes : Notes

    Returns
    -------
    bool
    """
    west, south, east, north = shapes.to_crs(WGS84).total_bounds.tolist()
    if not roads or any(
        west <= r[2] and east >= r[0] and south <= r[3] and north >= r[1] for r in roads
    ):
        return False
    notes.error(
        f"none of the roads lies in or near {what}.",
        "look whether it is the right layer, and whether its coordinate system is right",
    )
    return True


def _only_polygons(shapes: np.ndarray, notes: Notes) -> None:
    types = shapely.get_type_id(shapes)
    other = np.flatnonzero(~np.isin(types, (-1, _POLYGON, _MULTI)))
    if len(other):
        notes.error(
            f"the layer holds {shapes[other[0]].geom_type} where polygons are needed "
            f"({len(other)} of {len(shapes)} features).",
            "name a layer of polygons, or close the lines to polygons",
            row=int(other[0]) + 2,
        )
        return
    bad = np.flatnonzero((types >= 0) & ~shapely.is_valid(shapes))
    if len(bad):
        notes.error(
            f"a polygon is broken ({shapely.is_valid_reason(shapes[bad[0]])}).",
            "draw it anew without crossing itself, or repair it in a map program",
            row=int(bad[0]) + 2,
        )
