"""Public editions of a random study in sequence, as its owner would make them."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely

import roadrisk
from roadrisk.roads.build import build_network
from roadrisk.roads.lixels import lay_lixels
from roadrisk.roads.placing import PieceIndex
from roadrisk.roads.route_measures import coordinates_of
from roadrisk.sightings.counted import count_reports
from tests.truth.leak_worlds import EDITIONS

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence
    from pathlib import Path

    from numpy.typing import NDArray

    from roadrisk.findings import Findings
    from roadrisk.study import Study
    from tests.truth.leak_worlds import LeakWorld

    Floats = NDArray[np.float64]
    Stage = tuple[Study, Findings]
    Maker = Callable[[Study, Findings, "Made | None"], "Made"]


@dataclass(frozen=True, eq=False)
class Made:
    """One public edition of a study that grows.

    Attributes
    ----------
    files : dict of str to bytes
    behind : dict of str to set of str
        Cell to the records that it counts.
    kept : object
        What the owner keeps for the next edition.
    """

    files: dict[str, bytes]
    behind: dict[str, set[str]]
    kept: object = None


def whole_run(world: LeakWorld, folder: Path) -> Stage:
    """Read and analyse a world with all records of all editions."""
    study = roadrisk.read_study(world.write(folder, 0))
    return study, roadrisk.analyse(study)


def stages(world: LeakWorld, folder: Path, whole: Findings | None) -> list[Stage]:
    """Return study and findings at each edition.

    Parameters
    ----------
    world : LeakWorld
    folder : pathlib.Path
        Study folder, written over from edition to edition.
    whole : Findings or None
        Of all records. Each edition then counts its own reports anew and takes the rest from
        here, which spares its analysis. None: each edition is analysed.

    Returns
    -------
    list of (Study, Findings)
    """
    out = []
    for edition in range(1, EDITIONS + 1):
        study = roadrisk.read_study(world.write(folder, edition))
        findings = roadrisk.analyse(study) if whole is None else counted_again(study, whole)
        out.append((study, findings))
    return out


def editions(at: Sequence[Stage], make: Maker) -> list[Made]:
    """Make one edition after the other, each knowing what the one before kept."""
    out: list[Made] = []
    for study, findings in at:
        out.append(make(study, findings, out[-1] if out else None))
    return out


def counted_again(study: Study, whole: Findings) -> Findings:
    """Return findings with the reports that this study has, placed and counted anew."""
    network = build_network(study).network
    lixels = lay_lixels(network, study.settings.hotspots.lixel_m)
    reports = coordinates_of(study.sightings, study.agency_lines)[0]
    fixes = coordinates_of(study.fixes, study.agency_lines)[0]
    counted = count_reports(study, reports, fixes, network, lixels, PieceIndex.build(network))
    states = whole.reports.states
    rows = pd.DataFrame(reports[["occurrenceID", "source_row"]]).set_index("occurrenceID")
    states = states[states["record"].isin(rows.index)]
    states = states.assign(row=rows["source_row"].reindex(states["record"]).to_numpy())
    return replace(
        whole, sightings=counted.placed.table, reports=replace(whole.reports, states=states)
    )


def with_home_at(stage: Stage, organism: str, longitude_latitude: Floats) -> Stage:
    """Return a stage whose tagged animal has its home somewhere else, fixes and nests with it.

    Findings of tagged animals are emptied in both the moved and, by the caller, the first one:
    what a public edition says may not rest on them alone.
    """
    study, findings = stage
    fixes = study.fixes
    mine = (fixes["organismID"] == organism).to_numpy()
    if not mine.any():
        return stage
    there = gpd.GeoSeries.from_xy(*longitude_latitude[:, None], crs="EPSG:4326").to_crs(study.crs)
    middle = shapely.get_coordinates(fixes.geometry.to_numpy()[mine]).mean(axis=0)
    by = shapely.get_coordinates(there.to_numpy())[0] - middle
    nests = study.nests
    if nests is not None:
        nests = _moved(nests, (nests["organismID"] == organism).to_numpy(), by)
    return replace(study, fixes=_moved(fixes, mine, by), nests=nests), findings


def with_report_at(stage: Stage, record: str, longitude_latitude: Floats) -> Stage:
    """Return a stage with one report somewhere else, all reports counted anew."""
    study, findings = stage
    table = study.sightings
    mine = (table["occurrenceID"] == record).to_numpy()
    if not mine.any():
        return stage
    there = gpd.GeoSeries.from_xy(*longitude_latitude[:, None], crs="EPSG:4326").to_crs(study.crs)
    by = shapely.get_coordinates(there.to_numpy())[0]
    by = by - shapely.get_coordinates(table.geometry.to_numpy()[mine])[0]
    moved = replace(study, sightings=_moved(table, mine, by))
    return moved, counted_again(moved, findings)


def _moved(table: gpd.GeoDataFrame, chosen: NDArray[np.bool_], by: Floats) -> gpd.GeoDataFrame:
    shapes = table.geometry.to_numpy().copy()
    shapes[chosen] = shapely.transform(shapes[chosen], lambda xy: xy + by)
    return table.set_geometry(gpd.GeoSeries(shapes, index=table.index, crs=table.crs))
