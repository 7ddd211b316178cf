"""Which piece of road a row of a table is about: a route with measures, its two ends, a line."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import geopandas as gpd
import numpy as np
import pyproj
import shapely

from roadrisk.base.crs import WGS84
from roadrisk.records.columns import Columns, numbers
from roadrisk.records.layer_files import layer_crs, read_layer, text_frame
from roadrisk.records.positions import degrees
from roadrisk.records.raw_table import MOST_ALIKE, About, Bools, Floats, Gate, Notes, RawTable
from roadrisk.records.table_files import LAYER_KINDS, read_raw

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

    from roadrisk.table_settings import TableSection

    Say = str | Callable[[int], str]

_DEGREES = ("beginLongitude", "beginLatitude", "endLongitude", "endLatitude")
_METRES = ("begin_x", "begin_y", "end_x", "end_y")
_PLACE = (
    "fill in route (with begin_measure and end_measure), or the begin's and the end's coordinates, "
    "or footprintWKT"
)


def opened_table(
    path: Path, name: str, section: TableSection, kind: str, notes: Notes
) -> tuple[RawTable | None, Any]:
    """Open a table, or a layer of lines with its shapes in WGS 84.

    Parameters
    ----------
    path : pathlib.Path
        An existing file.
    name : str
        The file's name as the user knows it.
    section : TableSection
    kind : str
        The section's name.
    notes : Notes
        Takes errors.

    Returns
    -------
    raw : RawTable or None
    shapes : ndarray of shapely geometries or None
        None for a table.
    """
    if path.suffix.lower() not in LAYER_KINDS or path.stat().st_size == 0:
        return read_raw(path, name, section, notes), None
    found = read_layer(path, section.layer, notes)
    if found is None:
        return None, None
    meta, shapes, fields = found
    said = section.crs if "crs" in section.model_fields_set else None
    crs = None if shapes is None else layer_crs(meta["crs"], said, kind, notes)
    if shapes is None or len(shapes) == 0:
        notes.error("the layer has no shapes.", "name a layer with shapes, or a table")
    if notes.failed or crs is None:
        return None, None
    frame = text_frame(fields, len(shapes))
    rows = np.arange(len(shapes), dtype=np.int64) + 2
    return RawTable(name, frame, rows), gpd.GeoSeries(shapes, crs=crs).to_crs(WGS84).to_numpy()


def road_places(
    raw: RawTable,
    columns: Columns,
    section: TableSection,
    kind: str,
    shapes: Any,
    gate: Gate,
    about: About,
    notes: Notes,
) -> tuple[np.ndarray, np.ndarray, tuple[Floats, Floats]]:
    """Return how each row is placed, its line in WGS 84, and its measures.

    Parameters
    ----------
    raw : RawTable
    columns : Columns
    section : TableSection
    kind : str
        The section's name.
    shapes : ndarray of shapely geometries or None
        Of a layer of lines, WGS 84.
    gate : Gate
    about : About
    notes : Notes
        Takes errors.

    Returns
    -------
    placed_by : ndarray of str
        "route", "ends", "line", or "" where the row says nothing (an error).
    geometry : ndarray of shapely geometries or None
    measures : tuple of ndarray
        Begin and end; NaN where not given.
    """
    count = len(raw)
    placed = np.full(count, "", dtype=object)
    geometry = np.full(count, None, dtype=object)
    lines = _lines(raw, columns, section, shapes, gate, about, notes)
    ends = _ends(raw, columns, section, kind, gate, about, notes)
    begin, end = (
        numbers(columns.text(raw, t), decimal_comma=raw.decimal_comma)
        for t in ("begin_measure", "end_measure")
    )
    route = (columns.text(raw, "route") != "").to_numpy()
    half = route & (np.isnan(begin) != np.isnan(end)) & gate.keep
    row_errors(half, about, "the row has only one measure that can be read.",
            "write begin_measure and end_measure, or neither for the whole route",
            columns.name("begin_measure"), notes)  # fmt: skip
    placed[route] = "route"
    for found, name in ((ends, "ends"), (lines, "line")):
        there = np.array([g is not None for g in found], dtype=bool)
        placed[there], geometry[there] = name, found[there]
    if not notes.failed:
        nowhere = (placed == "") & gate.keep
        row_errors(nowhere, about, "the row doesn't say which road.", _PLACE, "", notes)
    return placed, geometry, (begin, end)


def row_errors(
    which: Bools, about: About, problem: Say, mend: str, column: str, notes: Notes
) -> None:
    """Note an error a row, for the first rows of a kind.

    Parameters
    ----------
    which : ndarray of bool
    about : About
    problem : str or callable
    mend : str
    column : str
    notes : Notes
    """
    for i in np.flatnonzero(which)[:MOST_ALIKE].tolist():
        said = problem if isinstance(problem, str) else problem(i)
        notes.error(said, mend, row=int(about.rows[i]), column=column)


def _shapes(texts: np.ndarray) -> np.ndarray:
    """Read shapes; None where a text is none, or one of arcs."""
    with np.errstate(over="ignore", invalid="ignore"):
        try:
            return np.asarray(shapely.from_wkt(texts, on_invalid="ignore"), dtype=object)
        except NotImplementedError:
            if len(texts) == 1:
                return np.array([None], dtype=object)
    half = len(texts) // 2
    return np.concatenate([_shapes(texts[:half]), _shapes(texts[half:])])


def _lines(
    raw: RawTable, columns: Columns, section: TableSection, shapes: Any, gate: Gate,
    about: About, notes: Notes,
) -> np.ndarray:  # fmt: skip
    found = np.full(len(raw), None, dtype=object)
    column = columns.name("footprintWKT") if shapes is None else "geometry"
    if shapes is not None:
        found[:] = shapes
    else:
        text = columns.text(raw, "footprintWKT")
        given = (text != "").to_numpy()
        if given.any():
            found[given] = _shapes(text[given].to_numpy(object))
            unread = given & shapely.is_missing(found) & gate.keep
            row_errors(unread, about, "the line can't be read.",
                    "write it as LINESTRING (longitude latitude, longitude latitude, ...)",
                    column, notes)  # fmt: skip
            system = gpd.GeoSeries(found, crs=pyproj.CRS.from_user_input(section.crs))
            found = system.to_crs(WGS84).to_numpy().copy()
    there = ~shapely.is_missing(found)
    with np.errstate(over="ignore", invalid="ignore"):  # corners beyond any place on Earth
        length = np.where(there, shapely.length(found), 1.0)
    kind = np.isin(shapely.get_type_id(found), (1, 5))
    bad = there & ~(kind & (length > 0) & np.isfinite(length)) & gate.keep
    row_errors(bad, about, "there is no line of any length where one is needed.",
            "give the line that was gone along", column, notes)  # fmt: skip
    found[bad] = None
    return found


def _ends(
    raw: RawTable, columns: Columns, section: TableSection, kind: str, gate: Gate, about: About,
    notes: Notes,
) -> np.ndarray:  # fmt: skip
    found = np.full(len(raw), None, dtype=object)
    terms = _DEGREES if any(t in columns for t in _DEGREES) else _METRES
    texts = [columns.text(raw, t) for t in terms]
    given = np.column_stack([(t != "").to_numpy() for t in texts])
    if not given.any():
        return found
    if terms is _METRES:
        values = [numbers(t, decimal_comma=raw.decimal_comma) for t in texts]
        system = pyproj.CRS.from_user_input(section.crs)
        if not system.is_projected:
            notes.error(
                "begin_x to end_y need the system they are in.",
                f'write crs = "EPSG:…" in [{kind}]',
                column=columns.name(terms[0]),
            )
            return found
        turn = pyproj.Transformer.from_crs(system, WGS84, always_xy=True)
        values = [
            *turn.transform(values[0], values[1]), *turn.transform(values[2], values[3])
        ]  # fmt: skip
    else:
        values = [degrees(t, "lon" if n % 2 == 0 else "lat") for n, t in enumerate(texts)]
        if section.swapped:
            values = [values[n] for n in (1, 0, 3, 2)]
        for n, value in enumerate(values):
            turned = section.longitude != "signed" if n % 2 == 0 else section.latitude != "signed"
            values[n] = np.where((value > 0) & turned, -value, value)
    xy = np.column_stack(values)
    sound = np.isfinite(xy).all(axis=1)
    sound &= (np.abs(xy[:, [0, 2]]) <= 180).all(axis=1) & (np.abs(xy[:, [1, 3]]) <= 90).all(axis=1)
    bad = given.any(axis=1) & ~sound & gate.keep
    row_errors(bad, about, "a coordinate of its begin or end is missing or no place on Earth.",
            "write both ends in decimal degrees such as 40.1234, 19.4321", columns.name(terms[0]),
            notes)  # fmt: skip
    good = given.all(axis=1) & sound
    found[good] = shapely.linestrings(xy[good].reshape(-1, 2, 2))
    return found
