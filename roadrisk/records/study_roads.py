"""The roads of a study folder: OpenStreetMap extract, agency layer, study area."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np

from roadrisk.base.crs import WGS84
from roadrisk.errors import InputError, Remark, RoadriskError
from roadrisk.records.area_layer import read_area
from roadrisk.records.extract_guard import extract_problem
from roadrisk.records.line_layer import read_lines
from roadrisk.records.osm_glance import glance
from roadrisk.records.raw_table import Notes
from roadrisk.records.whereabouts import Box, Whereabouts

if TYPE_CHECKING:
    from pathlib import Path
    from zoneinfo import ZoneInfo

    import geopandas as gpd

    from roadrisk.osm_graph import OsmGraph
    from roadrisk.records.folder_in_reading import FolderInReading


@dataclass
class StudyRoads:
    """What could be read of a study's roads.

    Attributes
    ----------
    graph : OsmGraph or None
        Of the OpenStreetMap extract; None too where it was only glanced at.
    lines : geopandas.GeoDataFrame or None
        Of the agency's layer.
    area : geopandas.GeoSeries or None
        The study area.
    boxes : list of (west, south, east, north)
        Extents of the roads, WGS 84 [degrees].
    """

    graph: OsmGraph | None = None
    lines: gpd.GeoDataFrame | None = None
    area: gpd.GeoSeries | None = None
    boxes: list[Box] = field(default_factory=list)

    def where(self, zone: ZoneInfo) -> Whereabouts:
        """Return where points may be expected."""
        corners = np.array(self.boxes, dtype=float)
        corners = corners[np.isfinite(corners).all(axis=1)] if len(corners) else corners
        if not len(corners):
            return Whereabouts(zone)
        low, high = corners[:, :2].min(axis=0), corners[:, 2:].max(axis=0)
        box = (float(low[0]), float(low[1]), float(high[0]), float(high[1]))
        return Whereabouts(zone, box)


def read_study_roads(work: FolderInReading, *, build: bool) -> StudyRoads:
    """Read roads and study area; what is wrong goes to the folder's remarks.

    Parameters
    ----------
    work : FolderInReading
    build : bool
        False only glances at an OpenStreetMap extract, which is much faster.

    Returns
    -------
    StudyRoads
    """
    found = StudyRoads()
    sections = work.settings.roads
    if sections.agency is not None:
        path = work.find(sections.agency.file, "roads.agency.file")
        if path is not None and work.crs_is_known("roads.agency"):
            notes = Notes(sections.agency.file)
            found.lines = read_lines(path, sections.agency, notes)
            work.remarks += notes.remarks
            work.describe(path, None if found.lines is None else len(found.lines))
            if found.lines is not None:
                found.boxes.append(tuple(found.lines.to_crs(WGS84).total_bounds.tolist()))
    if sections.osm is not None:
        path = work.find(sections.osm.file, "roads.osm.file")
        if path is not None:
            _read_osm(work, found, path, build=build)
            work.describe(path, None)
    _read_area(work, found)
    return found


def _read_osm(work: FolderInReading, found: StudyRoads, path: Path, *, build: bool) -> None:
    osm = work.settings.roads.osm
    if osm is None:
        return
    notes = Notes(osm.file)
    # In full: a folder called "http:" must not make an address of a name.
    path = path.absolute()
    problem = extract_problem(path)
    if problem is not None:
        notes.error(*problem)
    box = None if notes.failed else glance(path, osm.leave_out, notes)
    work.remarks += notes.remarks
    if box is not None:
        found.boxes.append(box)
    if not build or notes.failed:
        return
    from roadrisk.records.osm_extract import read_osm_graph

    try:
        extract = read_osm_graph(path, osm.leave_out, osm.file)
    except InputError as error:
        work.remarks += error.remarks
    except RoadriskError as error:
        mend = "take another extract"
        work.remarks.append(Remark(osm.file, None, "", f"{error}.", mend))
    else:
        found.graph = extract.graph
        work.remarks += extract.remarks


def _read_area(work: FolderInReading, found: StudyRoads) -> None:
    name = work.settings.hotspots.study_area
    path = work.find(name, "hotspots.study_area") if name else None
    if path is not None:
        notes = Notes(name)
        found.area = read_area(path, found.boxes, notes)
        work.remarks += notes.remarks
        work.describe(path, None)
