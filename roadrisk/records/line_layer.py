"""An agency's centreline layer: lines with route, measures, traffic, speed and owner."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely

from roadrisk.base.units import M_PER_MILE
from roadrisk.records import schemas
from roadrisk.records.columns import Columns, find_columns, numbers
from roadrisk.records.layer_files import layer_crs, read_layer, text_frame
from roadrisk.records.raw_table import About, Bools, Floats, Notes, RawTable

if TYPE_CHECKING:
    from pathlib import Path

    from roadrisk.settings import AgencyRoads

KINDS = (".gpkg", ".shp", ".geojson", ".json")
_TEXTS = ("route", "direction", "owner", "layer_date", "name", "ref", "road_class")
_NUMBERS = ("begin_measure", "end_measure", "aadt", "aadt_year", "lanes")
_LINE, _MULTI = 1, 5


def read_lines(path: Path, settings: AgencyRoads, notes: Notes) -> gpd.GeoDataFrame | None:
    """Read an agency's centreline layer.

    Parameters
    ----------
    path : pathlib.Path
        GeoPackage, shapefile or GeoJSON.
    settings : AgencyRoads
        Layer, column mapping, units, and the system if the file names none.
    notes : Notes
        Takes errors, doubts and left-outs; feature i is row i + 2.

    Returns
    -------
    geopandas.GeoDataFrame or None
        Columns of `schemas.AGENCY_LINES` in the layer's own system: single two-dimensional
        lines of some length, measures in the agency's unit, speed in km/h. None if the layer
        can't be used.
    """
    if path.suffix.lower() not in KINDS:
        notes.error(
            f"files of type {path.suffix or '(none)'} are not read as roads of an agency.",
            f"export the layer as {', '.join(KINDS)}",
        )
        return None
    found = read_layer(path, settings.layer, notes)
    if found is None:
        return None
    meta, shapes, fields = found
    columns = find_columns("roads.agency", fields, settings.columns, notes)
    crs = layer_crs(meta["crs"], settings.crs, "roads.agency", notes)
    if shapes is None or not _are_lines(shapes, notes) or crs is None or notes.failed:
        if shapes is None:
            notes.error("the table has no geometry.", "name a layer of lines")
        return None
    rows = np.arange(len(shapes), dtype=np.int64) + 2
    raw = RawTable(notes.file, text_frame(fields, len(shapes)), rows)
    name = columns.text(raw, "route")
    about = About(raw.rows, name.where(name != "", columns.text(raw, "name")).tolist())
    table = _attributes(raw, columns, settings, about, notes)
    lines = gpd.GeoDataFrame(table, geometry=shapes, crs=crs)[_usable(shapes, about, notes)]
    if lines.empty:
        notes.error("the layer has no line of any length.", "export it again")
        return None
    return schemas.conform(_single(lines, about, notes), schemas.AGENCY_LINES)


def _are_lines(shapes: Any, notes: Notes) -> bool:
    kinds = shapely.get_type_id(shapes)
    other = np.flatnonzero(~np.isin(kinds, (-1, _LINE, _MULTI)))
    if not len(other):
        return True
    notes.error(
        f"the layer holds {shapes[other[0]].geom_type} where lines are needed "
        f"({len(other)} of {len(shapes)} features).",
        "name a layer of road centrelines",
        row=int(other[0]) + 2,
    )
    return False


def _usable(shapes: Any, about: About, notes: Notes) -> Bools:
    nothing = shapely.is_missing(shapes) | shapely.is_empty(shapes)
    notes.leave_out(nothing, about, "no geometry")
    with np.errstate(over="ignore", invalid="ignore"):  # corners beyond any place on Earth
        length = np.where(nothing, 1.0, shapely.length(shapes))
    endless = ~np.isfinite(length)
    notes.leave_out(endless, about, "coordinates that are no numbers")
    short = length == 0
    notes.leave_out(short, about, "a line of no length")
    return np.asarray(~(nothing | short | endless), dtype=bool)


def _attributes(
    raw: RawTable, columns: Columns, settings: AgencyRoads, about: About, notes: Notes
) -> pd.DataFrame:
    table = pd.DataFrame({t: columns.text(raw, t) for t in _TEXTS})
    for term in _NUMBERS:
        table[term] = _number(raw, columns, term, about, notes)
    # Layers write 0 for a count or a speed that nobody entered; 0 vehicles would be no road.
    table["aadt"] = table["aadt"].where(table["aadt"] > 0)
    table["aadt_year"] = table["aadt_year"].where(table["aadt_year"] > 0)
    term = "speed_limit" if "speed_limit" in columns else "speed_limit_kmh"
    speed = _number(raw, columns, term, about, notes)
    factor = M_PER_MILE / 1000 if settings.speed_unit == "mph" else 1.0
    table["speed_limit_kmh"] = np.where(speed > 0, speed * factor, np.nan)
    level = _number(raw, columns, "level", about, notes)
    table["level"] = np.where(np.isfinite(level), np.rint(level), 0).astype(np.int64)
    return table


def _number(raw: RawTable, columns: Columns, term: str, about: About, notes: Notes) -> Floats:
    text = columns.text(raw, term)
    value = numbers(text, decimal_comma=False)
    bad = (text != "").to_numpy() & np.isnan(value)
    example = text[bad].iloc[0] if bad.any() else ""
    notes.doubt_file(
        bad,
        about,
        lambda rows: (
            f"{rows} hold text where a number is needed, first {example!r}; taken as unknown."
        ),
        f"map {term} under [roads.agency.columns] to a column of plain numbers",
        column=columns.name(term),
    )
    return value


def _single(lines: gpd.GeoDataFrame, about: About, notes: Notes) -> gpd.GeoDataFrame:
    """Break up lines of several parts; parts that meet end to end become one line first."""
    several = (lines.geom_type == "MultiLineString").to_numpy()
    if not several.any():
        return lines
    lines = lines.copy()
    merged = shapely.line_merge(lines.geometry.to_numpy()[several], directed=True)
    lines.loc[several, "geometry"] = gpd.GeoSeries(
        merged, index=lines.index[several], crs=lines.crs
    )
    still = (lines.geom_type == "MultiLineString").to_numpy()
    measured = still & lines[["begin_measure", "end_measure"]].notna().all(axis=1).to_numpy()
    kept = About(about.rows[lines.index.to_numpy()], [about.records[i] for i in lines.index])
    notes.doubt_file(
        measured,
        kept,
        lambda rows: (
            f"{rows} are lines of several parts with one begin and end measure; the parts share it "
            "out by length."
        ),
        "give every part its own measures",
    )
    parts = lines.explode(index_parts=False)
    length = parts.length.to_numpy()
    by_line = pd.Series(length, index=parts.index).groupby(level=0)
    done, total = by_line.cumsum().to_numpy(), by_line.transform("sum").to_numpy()
    begin, end = (parts[c].to_numpy() for c in ("begin_measure", "end_measure"))
    parts["begin_measure"] = begin + (end - begin) * (done - length) / total
    parts["end_measure"] = np.where(
        done >= total * (1 - 1e-12), end, begin + (end - begin) * done / total
    )
    return parts[length > 0]
