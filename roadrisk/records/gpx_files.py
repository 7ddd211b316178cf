"""Reading waypoints or track points of GPX files as text."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

from roadrisk.records.layer_files import FAULTS
from roadrisk.records.limits import GPX_BYTES, GPX_POINTS, too_large
from roadrisk.records.raw_table import Notes, RawTable

if TYPE_CHECKING:
    from collections.abc import Iterable
    from pathlib import Path

    from gpxpy.gpx import GPX


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

    problem = too_large(path, GPX_BYTES, "take out tracks that the study doesn't need")
    if problem is not None:
        notes.error(*problem)
        return None
    text = path.read_bytes().decode("utf-8", errors="replace").removeprefix("\ufeff")
    problem = _too_much(text)
    if problem is not None:
        notes.error(*problem)
        return None
    try:
        gpx = gpxpy.parse(text)
    except (gpxpy.gpx.GPXException, *FAULTS):
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


def _too_much(text: str) -> tuple[str, str] | None:
    if "<!DOCTYPE" in text or "<!ENTITY" in text:
        return "the file declares a document type, which GPX has no use for.", "export it again"
    points = sum(text.count(f"<{name}") for name in ("wpt", "trkpt", "rtept"))
    if points > GPX_POINTS:
        return (
            f"the file has {points:,} points; at most {GPX_POINTS:,} are read.",
            "write it as several files, or export it as CSV",
        )
    # gpxpy looks for what follows with a pattern that takes the square of its length.
    if re.search(r"xmlns[^=]{1000}", text):
        return "the file is no GPX file, or it is damaged.", "export it again from the device"
    return None


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
