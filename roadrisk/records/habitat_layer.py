"""Habitat beside the roads: polygons of a map layer, each with its kind."""

from __future__ import annotations

from typing import TYPE_CHECKING

import geopandas as gpd
import numpy as np
import shapely

from roadrisk.records.polygon_layer import elsewhere, read_polygons
from roadrisk.records.raw_table import Notes

if TYPE_CHECKING:
    from collections.abc import Sequence
    from pathlib import Path

    import pyproj

    from roadrisk.records.folder_in_reading import FolderInReading
    from roadrisk.records.whereabouts import Box

_MOST_KINDS = 20


def study_habitat(work: FolderInReading, roads: Sequence[Box]) -> gpd.GeoDataFrame | None:
    """Read the habitat of a study folder; what is wrong goes to the folder's remarks.

    Parameters
    ----------
    work : FolderInReading
    roads : sequence of (west, south, east, north)
        Where the roads are [degrees, WGS 84].

    Returns
    -------
    geopandas.GeoDataFrame or None
        As `read_habitat` returns it; None too where the study names none.
    """
    section = work.settings.habitat
    path = None if section is None else work.find(section.file, "habitat.file")
    if section is None or path is None:
        return None
    notes = Notes(section.file)
    found = read_habitat(path, section.layer, section.column, notes, roads)
    work.remarks += notes.remarks
    work.describe(path, None if found is None else len(found))
    return found


def in_system(habitat: gpd.GeoDataFrame, crs: pyproj.CRS) -> gpd.GeoDataFrame:
    """Return habitat in the working system, without polygons that it can't express (far away).

    Parameters
    ----------
    habitat : geopandas.GeoDataFrame
    crs : pyproj.CRS

    Returns
    -------
    geopandas.GeoDataFrame
    """
    turned = habitat.to_crs(crs)
    return turned[np.isfinite(turned.bounds).all(axis=1)].reset_index(drop=True)


def read_habitat(
    path: Path, layer: str | None, column: str, notes: Notes, roads: Sequence[Box] = ()
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
        Takes errors and left-outs; feature i is row i + 2.
    roads : sequence of (west, south, east, north)
        Where the roads are [degrees, WGS 84]; a layer that misses them all is an error.

    Returns
    -------
    geopandas.GeoDataFrame or None
        Columns kind (text without spaces around it) and geometry, in the layer's own system;
        None if the layer can't be used. Features without a kind or a shape are left out.
    """
    found = read_polygons(path, layer, "habitat", notes)
    if found is None:
        return None
    shapes, columns = found
    if column not in columns:
        there = ", ".join(map(repr, sorted(columns))) or "(the layer has none)"
        notes.error(
            f"the layer has no column {column!r}.",
            f'write column = "…" in [habitat], with one of {there}',
            column=column,
        )
        return None
    kind = np.array(["" if _none(v) else str(v).strip() for v in columns[column]], dtype=object)
    table = gpd.GeoDataFrame({"kind": kind}, geometry=shapes.to_numpy(), crs=shapes.crs)
    used = _with_kind(table, column, notes)
    if used is None or elsewhere(used.geometry, roads, "this habitat", notes):
        return None
    return used


def _none(value: object) -> bool:
    return value is None or value != value  # noqa: PLR0124 (a missing number)


def _with_kind(table: gpd.GeoDataFrame, column: str, notes: Notes) -> gpd.GeoDataFrame | None:
    shapes = table.geometry.to_numpy()
    nowhere = shapely.is_missing(shapes) | shapely.is_empty(shapes)
    unnamed = (table["kind"] == "").to_numpy() & ~nowhere
    used = table[~nowhere & ~unnamed].reset_index(drop=True)
    kinds = used["kind"].nunique()
    if not kinds or kinds > _MOST_KINDS:
        notes.error(
            f"the layer has {kinds} kinds of habitat.",
            f"give each polygon one of a few kinds, {_MOST_KINDS} at most (wetland, forest, water)",
            column=column,
        )
        return None
    if unnamed.any():
        notes.doubt(
            f"{int(unnamed.sum())} of {len(table)} polygons have no kind of habitat: they count "
            "as none.",
            "fill in the kind, or take them out",
            row=int(np.argmax(unnamed)) + 2,
            column=column,
        )
    return used
