"""What is there at or along roads: structures, fences, openings, land, crashes, planned works."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely

from roadrisk.base.crs import WGS84
from roadrisk.records.columns import PLACE_TERMS, Columns, find_columns
from roadrisk.records.ids import note_spoiled
from roadrisk.records.polygon_layer import elsewhere, read_polygons
from roadrisk.records.positions import read_positions
from roadrisk.records.raw_table import About, Bools, Floats, Gate, Notes, RawTable
from roadrisk.records.report_keys import made_id
from roadrisk.records.road_pieces import opened_table, road_places, row_errors
from roadrisk.records.site_schemas import SITE_TABLES, SiteTable, site_schema
from roadrisk.records.site_values import site_values

if TYPE_CHECKING:
    from collections.abc import Mapping, Sequence
    from pathlib import Path
    from zoneinfo import ZoneInfo

    import pyproj

    from roadrisk.records.folder_in_reading import FolderInReading
    from roadrisk.records.whereabouts import Box
    from roadrisk.table_settings import TableSection

_POINT, _MULTI_POINT = 0, 4


def study_sites(work: FolderInReading, roads: Sequence[Box]) -> dict[str, gpd.GeoDataFrame]:
    """Read what is there at or along roads; what is wrong goes to the folder's remarks.

    Parameters
    ----------
    work : FolderInReading
    roads : sequence of (west, south, east, north)
        Where the roads are [degrees, WGS 84].

    Returns
    -------
    dict of str to geopandas.GeoDataFrame
        Section of study.toml to its table as `read_site_table` returns it.
    """
    found: dict[str, gpd.GeoDataFrame] = {}
    for kind in SITE_TABLES:
        section: TableSection | None = getattr(work.settings, kind)
        if section is None or not work.crs_is_known(kind):
            continue
        tables = []
        for name in section.file:
            path = work.find(name, f"{kind}.file")
            if path is None:
                continue
            notes = Notes(name)
            table = read_site_table(path, name, kind, section, work.settings.study.zone, notes)
            if table is not None and SITE_TABLES[kind].places == "areas":
                elsewhere(table.geometry, roads, f"these {kind}", notes)
            work.remarks += notes.remarks
            work.describe(path, None if table is None else len(table))
            tables += [] if table is None else [table]
        if tables:
            found[kind] = gpd.GeoDataFrame(pd.concat(tables, ignore_index=True))
    return found


def sites_in(found: Mapping[str, gpd.GeoDataFrame], crs: pyproj.CRS) -> dict[str, gpd.GeoDataFrame]:
    """Return tables in the working system.

    Parameters
    ----------
    found : mapping of str to geopandas.GeoDataFrame
    crs : pyproj.CRS

    Returns
    -------
    dict of str to geopandas.GeoDataFrame
        What the system can't express (far away) has coordinates that are no finite numbers.
    """
    return {kind: table.to_crs(crs) for kind, table in found.items()}


def read_site_table(
    path: Path, name: str, kind: str, section: TableSection, zone: ZoneInfo, notes: Notes
) -> gpd.GeoDataFrame | None:
    """Read one table, or a layer of points, lines or polygons.

    Parameters
    ----------
    path : pathlib.Path
        An existing file.
    name : str
        The file's name as the user knows it.
    kind : str
        Key of `SITE_TABLES`.
    section : TableSection
    zone : zoneinfo.ZoneInfo
        The study's.
    notes : Notes
        Takes an error for each cell that can't be read, and doubts.

    Returns
    -------
    geopandas.GeoDataFrame or None
        Columns of `site_schema`, WGS 84; None if the file can't be used.
    """
    table = SITE_TABLES[kind]
    raw, shapes = _opened(path, name, kind, table, section, notes)
    if raw is None:
        return None
    columns = find_columns(kind, raw.frame.columns, section.columns, notes, needed=table.needed)
    if notes.failed:
        return None
    given = columns.text(raw, "id")
    note_spoiled(given, raw, columns, "id", notes)
    made = pd.Series([made_id(raw.file, row) for row in raw.rows], index=given.index, dtype=str)
    ids = given.mask(given == "", made)
    about = About(raw.rows, ids.tolist())
    notes.doubt_rows(
        ids.duplicated().to_numpy(), about, lambda i: f"{ids.iloc[i]!r} stands in an earlier row.",
        "give each row an id of its own", column=columns.name("id"),
    )  # fmt: skip
    values = site_values(raw, columns, table, section, zone, about, notes)
    if table.places == "areas":
        placed, geometry = np.full(len(raw), "area", dtype=object), shapes
        measures: tuple[Floats, ...] = (np.full(len(raw), np.nan),) * 3
    else:
        placed, geometry, measures = _places(
            raw, columns, table, section, kind, shapes, about, notes
        )
    if notes.failed:
        return None
    out = gpd.GeoDataFrame(
        {
            "source_file": raw.file, "source_row": raw.rows, "id": ids, **values,
            "placed_by": placed, "route": columns.text(raw, "route"),
            "route_measure": measures[0], "begin_measure": measures[1],
            "end_measure": measures[2],
        },
        geometry=gpd.GeoSeries(geometry, crs=WGS84), crs=WGS84,
    )  # fmt: skip
    out = out[placed != ""].reset_index(drop=True)
    return gpd.GeoDataFrame(site_schema(kind).validate(out))


def _opened(
    path: Path, name: str, kind: str, table: SiteTable, section: TableSection, notes: Notes
) -> tuple[RawTable | None, Any]:
    if table.places != "areas":
        return opened_table(path, name, section, kind, notes)
    found = read_polygons(path, section.layer, kind, notes)
    if found is None:
        return None, None
    from roadrisk.records.layer_files import text_frame

    shapes, fields = found
    nothing = shapely.is_missing(shapes.to_numpy()) | shapely.is_empty(shapes.to_numpy())
    rows = np.arange(len(shapes), dtype=np.int64) + 2
    if nothing.all():
        notes.error("the layer has no polygons.", "export it again")
        return None, None
    notes.leave_out(np.asarray(nothing), About(rows, [""] * len(rows)), "no geometry")
    frame = text_frame(fields, len(shapes))
    kept = frame[~nothing].reset_index(drop=True)
    return RawTable(name, kept, rows[~nothing]), shapes[~nothing].to_crs(WGS84).to_numpy()


def _places(
    raw: RawTable, columns: Columns, table: SiteTable, section: TableSection, kind: str,
    shapes: Any, about: About, notes: Notes,
) -> tuple[Any, Any, tuple[Floats, ...]]:  # fmt: skip
    """Return how each row is placed, its geometry, and its three measures."""
    count = len(raw)
    placed, geometry = np.full(count, "", object), np.full(count, None, object)
    at = np.full(count, np.nan)
    measures = np.full(count, np.nan), np.full(count, np.nan)
    if table.places != "roads":
        placed, geometry, at = _points(raw, columns, table, section, kind, shapes, about, notes)
    if table.places != "points":
        gate = Gate(np.asarray(placed == "", dtype=bool))
        lines = shapes
        if shapes is not None:
            lines = np.where(gate.keep, shapes, None)
        by, found, measures = road_places(raw, columns, section, kind, lines, gate, about, notes)
        placed = np.where(gate.keep, by, placed)
        geometry = np.where(gate.keep, found, geometry)
    return placed, geometry, (at, *measures)


def _points(
    raw: RawTable, columns: Columns, table: SiteTable, section: TableSection, kind: str,
    shapes: Any, about: About, notes: Notes,
) -> tuple[Any, Any, Floats]:  # fmt: skip
    count, strict = len(raw), table.places == "points"
    placed, geometry = np.full(count, "", object), np.full(count, None, object)
    if shapes is not None:
        return _layer_points(shapes, strict, about, notes)
    asked = strict or raw.xy is not None
    asked = asked or any(t in columns for t in (*PLACE_TERMS, "route_measure"))
    found = None
    if asked and _mapped_there(columns, section):
        found = read_positions(raw, columns, section, kind, notes)
    if found is None:
        return placed, geometry, np.full(count, np.nan)
    names = " and ".join(dict.fromkeys(found.columns))
    on_earth = (np.abs(found.lon) <= 180) & (np.abs(found.lat) <= 90)
    sound = found.given & ~found.unreadable & on_earth
    row_errors(found.given & ~sound, about, f"{names} hold no place on Earth that can be read.",
               "write both in decimal degrees such as 40.1234, 19.4321", found.columns[0],
               notes)  # fmt: skip
    measure_text = columns.text(raw, "route_measure")
    unread = (measure_text != "").to_numpy() & np.isnan(found.route_measure)
    row_errors(unread, about, lambda i: f"{measure_text.iloc[i]!r} is no measure.",
               "write a plain number", columns.name("route_measure"), notes)  # fmt: skip
    geometry[sound] = shapely.points(found.lon[sound], found.lat[sound])
    placed[sound] = "point"
    placed[found.by_route & ~found.given] = "route point"
    nowhere: Bools = np.asarray((placed == "") & ~found.given & ~unread, dtype=bool)
    if strict:
        notes.leave_out(nowhere, about, "no place: neither coordinates nor route and measure")
        if nowhere.all():
            notes.error(f"none of the {count} rows has a place.",
                        "fill in coordinates, or route and route_measure")  # fmt: skip
    return placed, geometry, np.where(placed == "route point", found.route_measure, np.nan)


def _layer_points(shapes: Any, strict: bool, about: About, notes: Notes) -> tuple[Any, Any, Floats]:
    count = len(shapes)
    placed, geometry = np.full(count, "", object), np.full(count, None, object)
    types = shapely.get_type_id(shapes)
    nothing = shapely.is_missing(shapes) | shapely.is_empty(shapes)
    single = np.isin(types, (_POINT, _MULTI_POINT)) & ~nothing
    if strict:
        other = np.flatnonzero(~single & ~nothing)
        if len(other):
            notes.error(
                f"the layer holds {shapes[other[0]].geom_type} where points are needed "
                f"({len(other)} of {count} features).",
                "name a layer of points", row=int(about.rows[other[0]]),
            )  # fmt: skip
        notes.leave_out(np.asarray(nothing, dtype=bool), about, "no geometry")
    geometry[single] = shapely.centroid(shapes[single])
    placed[single] = "point"
    return placed, geometry, np.full(count, np.nan)


def _mapped_there(columns: Columns, section: TableSection) -> bool:
    """Whether the place columns that study.toml maps exist: if not, an error is noted already."""
    return all(t in columns for t in section.columns if t in (*PLACE_TERMS, "route_measure"))
