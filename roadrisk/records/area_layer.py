"""The outline of the study area: polygons of a map layer."""

from __future__ import annotations

from typing import TYPE_CHECKING

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
    if path.suffix.lower() not in KINDS:
        notes.error(
            f"files of type {path.suffix or '(none)'} are not read as an area.",
            f"export the outline as {', '.join(KINDS)}",
        )
        return None
    found = read_layer(path, None, notes)
    if found is None:
        return None
    meta, shapes, _ = found
    if meta["crs"] is None:
        notes.error("the layer doesn't say its coordinate system.", "export it with its system")
    if not _are_polygons(np.zeros(0, object) if shapes is None else shapes, notes):
        return None
    area = gpd.GeoSeries([shapely.union_all(shapes)], crs=meta["crs"])
    west, south, east, north = area.to_crs(WGS84).total_bounds.tolist()
    if roads and not any(
        west <= r[2] and east >= r[0] and south <= r[3] and north >= r[1] for r in roads
    ):
        notes.error(
            "none of the roads lies in or near this area.",
            "look whether it is the right layer, and whether its coordinate system is right",
        )
        return None
    return area


def _are_polygons(shapes: np.ndarray, notes: Notes) -> bool:
    """Check that there are polygons and nothing else, and that none crosses itself."""
    if shapely.is_empty(shapes[~shapely.is_missing(shapes)]).all():
        notes.error("the layer has no outline.", "name a layer of polygons")
    kinds = shapely.get_type_id(shapes)
    other = np.flatnonzero(~np.isin(kinds, (-1, _POLYGON, _MULTI)))
    if len(other):
        notes.error(
            f"the layer holds {shapes[other[0]].geom_type} where polygons are needed "
            f"({len(other)} of {len(shapes)} features).",
            "name a layer of polygons, or close the outline to one",
            row=int(other[0]) + 2,
        )
    bad = np.flatnonzero((kinds >= 0) & ~shapely.is_valid(shapes))
    if len(bad):
        notes.error(
            f"the outline is broken ({shapely.is_valid_reason(shapes[bad[0]])}).",
            "draw it anew without crossing itself, or repair it in a map program",
            row=int(bad[0]) + 2,
        )
    return not notes.failed
