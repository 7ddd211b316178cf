"""Reading points from map layers (GeoPackage, shapefile, GeoJSON) and GPX files as text."""

from __future__ import annotations

import struct
import warnings
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd
import pyproj

from roadrisk.records.raw_table import Notes, RawTable
from roadrisk.records.table_files import BLANKS

if TYPE_CHECKING:
    from collections.abc import Iterable
    from pathlib import Path

    from gpxpy.gpx import GPX

_FAULTS = (OSError, ValueError, KeyError, TypeError, AttributeError, SyntaxError, RuntimeError)
_STARTS = {".gpkg": b"SQLite format 3\0", ".shp": struct.pack(">i", 9994)}


def read_layer(
    path: Path, layer: str | None, notes: Notes
) -> tuple[dict[str, Any], Any, Any] | None:
    """Read a layer by pyogrio, values as they are.

    Parameters
    ----------
    path : pathlib.Path
    layer : str or None
        Needed where the file has several.
    notes : Notes
        Takes errors.

    Returns
    -------
    (meta, shapes, columns) or None
        `shapes` is an array of shapely geometries (None where a feature has none), Z and M
        dropped; `columns` a dict of arrays.
    """
    import pyogrio
    import pyogrio.errors
    import pyogrio.raw
    import shapely

    kind = path.suffix.lower()
    if not _looks_like(path, kind):
        # The reading library would go by the content and might open something else entirely.
        notes.error(
            f"the content is not that of a {kind} file: it is damaged or has the wrong name.",
            "export the layer again",
        )
        return None
    try:
        names = [str(n) for n, _ in pyogrio.list_layers(path)]
        if layer is None and len(names) > 1:
            notes.error(
                f"the file has {len(names)} layers and study.toml names none.",
                f"write layer = … with one of {', '.join(map(repr, names))}",
            )
            return None
        if layer is not None and layer not in names:
            notes.error(
                f"the file has no layer {layer!r}.", f"layers here: {', '.join(map(repr, names))}"
            )
            return None
        with warnings.catch_warnings():
            # That measures inside the geometry are dropped is what is wanted; a geometry that
            # can't be read comes as none, and is left out with that reason.
            warnings.filterwarnings("ignore", category=UserWarning)
            warnings.filterwarnings("ignore", category=RuntimeWarning)
            # GeoJSON has no dates; without this, text that looks like one gets a time of day.
            more = {} if kind in _STARTS else {"DATE_AS_STRING": "YES"}
            meta, _, wkb, data = pyogrio.raw.read(
                path, layer=layer, datetime_as_string=True, force_2d=True, **more
            )
        shapes = None if wkb is None else shapely.from_wkb(wkb)
    except (pyogrio.errors.DataSourceError, shapely.errors.ShapelyError, *_FAULTS) as error:
        reason = str(error).strip().splitlines()
        notes.error(
            f"the layer can't be read ({reason[0][:160] if reason else 'no reason given'}).",
            "export it again (GeoPackage is the safest), a shapefile with .shx and .dbf beside it",
        )
        return None
    return meta, shapes, dict(zip(map(str, meta["fields"]), data, strict=True))


def read_points(path: Path, name: str, layer: str | None, notes: Notes) -> RawTable | None:
    """Read a layer of points, or a layer without geometry, as text.

    Parameters
    ----------
    path : pathlib.Path
    name : str
        The file's name as the user knows it.
    layer : str or None
    notes : Notes
        Takes errors.

    Returns
    -------
    RawTable or None
        Feature i is row i + 2, as the layer's table looks with a header.
    """
    import shapely

    found = read_layer(path, layer, notes)
    if found is None:
        return None
    meta, shapes, columns = found
    count = (
        len(next(iter(columns.values()))) if columns else len(shapes if shapes is not None else [])
    )
    if not count:
        notes.error("the layer has no features.", "export it again")
        return None
    frame = pd.DataFrame({c: as_text(v) for c, v in columns.items()}, index=range(count))
    rows = np.arange(count, dtype=np.int64) + 2
    if shapes is None:
        return RawTable(name, frame, rows)
    kinds = shapely.get_type_id(shapes)
    single = np.array([s.geoms[0] if k == 4 and len(s.geoms) == 1 else s
                       for s, k in zip(shapes, kinds, strict=True)], dtype=object)  # fmt: skip
    other = np.flatnonzero(~np.isin(shapely.get_type_id(single), (-1, 0)))
    if len(other):
        notes.error(
            f"the layer holds {single[other[0]].geom_type} where points are needed "
            f"({len(other)} of {count} features).",
            "name a layer of points, or export the points",
            row=int(rows[other[0]]),
        )
        return None
    xy = np.column_stack([shapely.get_x(single), shapely.get_y(single)])
    return RawTable(name, frame, rows, xy=xy, crs=meta["crs"])


def read_gpx(path: Path, name: str, layer: str | None, notes: Notes) -> RawTable | None:
    """Read waypoints or track points of a GPX file.

    Columns: name (of the waypoint or the track), eventDate, comment, description, symbol,
    type, elevation.

    Parameters
    ----------
    path : pathlib.Path
    name : str
        The file's name as the user knows it.
    layer : {"waypoints", "tracks"} or None
        Needed where the file has both.
    notes : Notes
        Takes errors.

    Returns
    -------
    RawTable or None
        Point i is row i + 2.
    """
    import gpxpy
    import gpxpy.gpx

    text = path.read_bytes().decode("utf-8", errors="replace").removeprefix("\ufeff")
    if "<!DOCTYPE" in text or "<!ENTITY" in text:
        notes.error(
            "the file declares a document type, which GPX has no use for.", "export it again"
        )
        return None
    try:
        gpx = gpxpy.parse(text)
    except (gpxpy.gpx.GPXException, *_FAULTS):
        notes.error("the file is no GPX file, or it is damaged.", "export it again from the device")
        return None
    kinds = {"waypoints": _waypoints(gpx), "tracks": _track_points(gpx)}
    chosen = _which(layer, kinds, notes)
    if chosen is None:
        return None
    frame = pd.DataFrame(kinds[chosen]).astype(str)
    xy = frame[["lon", "lat"]].astype(float).to_numpy()
    rows = np.arange(len(frame), dtype=np.int64) + 2
    return RawTable(name, frame.drop(columns=["lon", "lat"]), rows, xy=xy, crs="EPSG:4326")


def layer_crs(own: str | None, said: str | None, place: str, notes: Notes) -> pyproj.CRS | None:
    """Return the system of a layer: what the file says, or else what study.toml says.

    Parameters
    ----------
    own, said : str or None
        The file's and study.toml's.
    place : str
        Section of study.toml.
    notes : Notes
        Takes an error if neither says, a doubt if they differ.

    Returns
    -------
    pyproj.CRS or None
    """
    if own is None and said is None:
        notes.error(
            "the layer doesn't say its coordinate system.", f'write crs = "EPSG:…" in [{place}]'
        )
        return None
    told = None if said is None else pyproj.CRS.from_user_input(said)
    if own is None:
        return told
    found = pyproj.CRS.from_user_input(own)
    if told is not None and not found.equals(told, ignore_axis_order=True):
        notes.doubt(
            f"the layer says it is in {found.name}, study.toml says {said}; "
            "the layer was believed.",
            f"take crs out of [{place}], or export the layer again",
        )
    return found


def as_text(values: Any) -> list[str]:
    """Return a layer's column as text: "" for nothing, 7 for 7.0."""
    return [_word(v) for v in np.asarray(values, dtype=object)]


def _word(value: object) -> str:
    if value is None or value != value:  # noqa: PLR0124
        return ""
    if isinstance(value, (float, np.floating)):
        number = float(value)
        return str(int(number)) if number.is_integer() and abs(number) < 1e15 else repr(number)
    text = str(value).strip()
    return "" if text in BLANKS else text


def _looks_like(path: Path, kind: str) -> bool:
    with path.open("rb") as file:
        start = file.read(64)
    if kind in _STARTS:
        return start.startswith(_STARTS[kind])
    return start.removeprefix(b"\xef\xbb\xbf").lstrip().startswith(b"{")


def _waypoints(gpx: GPX) -> list[dict[str, object]]:
    return list(_points((p, p.name) for p in gpx.waypoints))


def _track_points(gpx: GPX) -> list[dict[str, object]]:
    return list(_points((p, t.name) for t in gpx.tracks for s in t.segments for p in s.points))


def _points(named: Iterable[tuple[Any, str | None]]) -> Iterable[dict[str, object]]:
    for point, name in named:
        yield {
            "name": name or "",
            "eventDate": point.time.isoformat() if point.time else "",
            "comment": point.comment or "",
            "description": point.description or "",
            "symbol": point.symbol or "",
            "type": point.type or "",
            "elevation": "" if point.elevation is None else point.elevation,
            "lon": point.longitude,
            "lat": point.latitude,
        }


def _which(
    layer: str | None, kinds: dict[str, list[dict[str, object]]], notes: Notes
) -> str | None:
    counts = " and ".join(f"{len(v)} points in {k}" for k, v in kinds.items())
    if layer is not None and layer not in kinds:
        notes.error(f"a GPX file has no layer {layer!r}.", 'use "waypoints" or "tracks"')
        return None
    some = [k for k, v in kinds.items() if v and layer in (None, k)]
    if not some:
        notes.error(f"the file has {counts}: nothing to read.", "export waypoints or tracks")
        return None
    if len(some) > 1:
        notes.error(f"the file has {counts}.", 'write layer = "waypoints" or layer = "tracks"')
        return None
    return some[0]
