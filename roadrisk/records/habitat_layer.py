"""Habitat beside the roads: polygons of a map layer, each with its kind."""

from __future__ import annotations

from typing import TYPE_CHECKING

import geopandas as gpd
import numpy as np
import shapely

from roadrisk.records.layer_files import read_layer
from roadrisk.records.line_layer import KINDS

if TYPE_CHECKING:
    from pathlib import Path

    from roadrisk.records.raw_table import Notes

_POLYGON, _MULTI = 3, 6
_MOST_KINDS = 20


def read_habitat(
    path: Path, layer: str | None, column: str, notes: Notes
) -> gpd.GeoDataFrame | None:
    """Read polygons of habitat.

    Parameters
    ----------
    path : pathlib.Path
        GeoPackage, shapefile or GeoJSON that says its coordinate system.
    layer : str or None
        Needed where the file has several.
    column : str
        Holds the kind of habitat ("wetland", "forest", "water", ...); 20 kinds at most.
    notes : Notes
        Takes errors and doubts; feature i is row i + 2.

    Returns
    -------
    geopandas.GeoDataFrame or None
        Columns kind (text without spaces around it) and geometry, in the layer's own system;
        None if the layer can't be used. Features without a kind or a shape are left out.
    """
    if path.suffix.lower() not in KINDS:
        notes.error(
            f"files of type {path.suffix or '(none)'} are not read as habitat.",
            f"export the layer as {', '.join(KINDS)}",
        )
        return None
    found = read_layer(path, layer, notes)
    if found is None:
        return None
    meta, shapes, columns = found
    if meta["crs"] is None:
        notes.error("the layer doesn't say its coordinate system.", "export it with its system")
        return None
    if column not in columns:
        notes.error(
            f"the layer has no column {column!r}.",
            f"name one of {', '.join(map(repr, sorted(columns)))}",
        )
        return None
    shapes = np.zeros(0, object) if shapes is None else shapes
    kind = np.array(["" if _none(v) else str(v).strip() for v in columns[column]], dtype=object)
    return _checked(gpd.GeoDataFrame({"kind": kind}, geometry=shapes, crs=meta["crs"]), notes)


def _none(value: object) -> bool:
    return value is None or value != value  # noqa: PLR0124 (a missing number)


def _checked(table: gpd.GeoDataFrame, notes: Notes) -> gpd.GeoDataFrame | None:
    shapes = table.geometry.to_numpy()
    types = shapely.get_type_id(shapes)
    other = np.flatnonzero(~np.isin(types, (-1, _POLYGON, _MULTI)))
    if len(other):
        notes.error(
            f"the layer holds {shapes[other[0]].geom_type} where polygons are needed "
            f"({len(other)} of {len(table)} features).",
            "name a layer of polygons",
            row=int(other[0]) + 2,
        )
        return None
    bad = np.flatnonzero((types >= 0) & ~shapely.is_valid(shapes))
    if len(bad):
        notes.error(
            f"a polygon is broken ({shapely.is_valid_reason(shapes[bad[0]])}).",
            "repair it in a map program",
            row=int(bad[0]) + 2,
        )
        return None
    empty = (types < 0) | shapely.is_empty(shapes) | (table["kind"] == "").to_numpy()
    table = table[~empty].reset_index(drop=True)
    kinds = table["kind"].nunique()
    if not kinds or kinds > _MOST_KINDS:
        notes.error(
            f"the layer has {kinds} kinds of habitat.",
            f"give each polygon one of a few kinds, {_MOST_KINDS} at most (wetland, forest, water)",
        )
        return None
    return table
