"""Public editions of a random study in sequence, as its owner would make them."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import geopandas as gpd
import numpy as np
import shapely

import roadrisk
from roadrisk.roads.build import build_network
from roadrisk.roads.lixels import lay_lixels
from roadrisk.roads.placing import PieceIndex
from roadrisk.roads.route_measures import coordinates_of
from roadrisk.sightings.counted import count_reports
from roadrisk.sightings.doubted import held_reports
from roadrisk.sightings.listed import listed_reports
from roadrisk.sightings.reporters import reporter_effort
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
    index = PieceIndex.build(network)
    counted = count_reports(study, reports, fixes, network, lixels, index)
    repeated = reports["occurrenceID"].isin(counted.repeats["record"])
    reporters = reporter_effort(
        reports[~repeated], None, network, index, profile=study.profile,
        near_m=study.settings.placement.near_m, zone=study.settings.study.time_zone,
    )  # fmt: skip
    listed = listed_reports(reports, held_reports(study), counted, reporters)
    return replace(whole, sightings=counted.placed.table, reports=listed)


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
    """Return a stage with one report somewhere else.

    Which reports are of one animal is left as it was. Two that are near in place and time are
    held for one, so that who knows all other records may tell from the number of animals whether
    the last one lies beside another: that it does or doesn't, in the same cell.
    """
    study, findings = stage
    there = gpd.GeoSeries.from_xy(*longitude_latitude[:, None], crs="EPSG:4326").to_crs(study.crs)
    to = shapely.get_coordinates(there.to_numpy())[0]
    reports, counted = study.sightings, findings.sightings
    return (
        replace(study, sightings=_put(reports, record, to)),
        replace(findings, sightings=_put(counted, record, to)),
    )


def _put(table: gpd.GeoDataFrame, record: str, to: Floats) -> gpd.GeoDataFrame:
    mine = (table["occurrenceID"] == record).to_numpy()
    if not mine.any():
        return table
    return _moved(table, mine, to - shapely.get_coordinates(table.geometry.to_numpy()[mine])[0])


def _moved(table: gpd.GeoDataFrame, chosen: NDArray[np.bool_], by: Floats) -> gpd.GeoDataFrame:
    shapes = table.geometry.to_numpy().copy()
    shapes[chosen] = shapely.transform(shapes[chosen], lambda xy: xy + by)
    return table.set_geometry(gpd.GeoSeries(shapes, index=table.index, crs=table.crs))
