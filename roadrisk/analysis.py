"""The steps of a run, in order; the only place that knows it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import pandas as pd

from roadrisk.base.progress import Progress, Silent
from roadrisk.base.remark_tables import doubts_table, left_out_table
from roadrisk.findings import Findings
from roadrisk.hotspots.finding import find_hotspots
from roadrisk.hotspots.ranked_rows import put_beside, with_metres_in_stretch, with_reach
from roadrisk.hotspots.segment_table import segment_table
from roadrisk.hotspots.watching import watching_of
from roadrisk.mitigation.proposed import propose_measures
from roadrisk.mitigation.works_compared import compare_study
from roadrisk.mortality.all_deaths import estimate_deaths
from roadrisk.roads.bands import partner_lixels
from roadrisk.roads.build import build_network
from roadrisk.roads.lixels import lay_lixels
from roadrisk.roads.places import Places
from roadrisk.roads.placing import PieceIndex
from roadrisk.roads.route_measures import coordinates_of
from roadrisk.sightings.counted import CountedReports, count_reports
from roadrisk.sightings.doubted import held_reports, open_doubts, screened
from roadrisk.sightings.listed import listed_reports
from roadrisk.sightings.queue import put_before_reviewer
from roadrisk.sightings.reporters import Reporters, reporter_effort
from roadrisk.telemetry.bearings import bearing_fixes, with_bearing_fixes
from roadrisk.telemetry.crossings import Crossings, crossings_of
from roadrisk.telemetry.frequencies import (
    Frequencies,
    crossing_frequencies,
)
from roadrisk.telemetry.reach import reach_by_segment
from roadrisk.telemetry.steps import Steps, steps_of
from roadrisk.telemetry.tracked import tracked_animals

if TYPE_CHECKING:
    import geopandas as gpd

    from roadrisk.errors import Remark
    from roadrisk.hotspots.finding import Hotspots
    from roadrisk.hotspots.watching import Watching
    from roadrisk.measure_findings import MeasureTables
    from roadrisk.mitigation.works_compared import WorksCompared
    from roadrisk.mortality.all_deaths import AllDeaths
    from roadrisk.roads.network import Ints, Lixels, Network
    from roadrisk.sightings.reviewed import Reviewed
    from roadrisk.study import Study


def analyse(study: Study, progress: Progress | None = None) -> Findings:
    """Run every step on a study.

    The stages, each public in its own room: roads are built and cut into lixels; tables that
    speak in route and measure get coordinates; bearings become fixes; straight steps between
    fixes are overlaid on the roads; paths between fixes are drawn from a movement process and
    their crossings counted (crossing-days per animal, segment and place); decisions are applied
    to the reports, exact repeats joined, tags matched, the rest placed on the roads and linked
    where they are of one animal; deaths are estimated from surveys, crossings and reports; kernels,
    the comparison with chance and the list of places, ranked by deaths, follow; measures are chosen
    last.

    Parameters
    ----------
    study : Study
    progress : Progress, optional
        Shows what a long step is doing.

    Returns
    -------
    Findings
    """
    shown = progress or Silent()
    settings = study.settings
    roads = _roads(study, shown)
    found = _evidence(study, roads, shown)
    hot = find_hotspots(
        roads.network, roads.lixels, found.partner, found.frequencies, found.counted.placed.table,
        found.counted.placed.placement, roads.places,
        settings=settings.hotspots, years=settings.study.years, seed=settings.study.seed,
        zone=settings.study.time_zone,
        surveys=settings.sightings.surveys if settings.sightings else (),
        area=study.area, watching=found.watching, deaths=found.deaths.field,
        worst=settings.mortality.worst_places, progress=shown,
    )  # fmt: skip
    with shown.step("Measures", 1) as tick:
        measures = propose_measures(
            study, roads.network, roads.lixels, roads.places, found.deaths, found.frequencies
        )
        tick()
    return _findings(study, roads, found, hot, measures)


def review_reports(study: Study, progress: Progress | None = None) -> Reviewed:
    """Put all reports of a study before a reviewer.

    Parameters
    ----------
    study : Study
    progress : Progress, optional
        Shows what a long step is doing.

    Returns
    -------
    Reviewed
    """
    shown = progress or Silent()
    roads = _roads(study, shown)
    points = _points(study)
    with shown.step("Reports", 3) as tick:
        counted = count_reports(
            study, points.reports, points.fixes, roads.network, roads.lixels, roads.index,
            undecided="count",
        )  # fmt: skip
        tick()
        doubts = screened(study, points.reports, roads.network, roads.index)
        tick()
        found = put_before_reviewer(
            points.reports, held_reports(study), counted, doubts, roads.network, roads.index,
            roads.places,
        )  # fmt: skip
        tick()
    return found


def compare_works(study: Study, progress: Progress | None = None) -> WorksCompared:
    """Compare the sites of a study with works before and after, and with sites without.

    Parameters
    ----------
    study : Study
        With a section [compare].
    progress : Progress, optional
        Shows what a long step is doing.

    Returns
    -------
    WorksCompared

    Raises
    ------
    InputError
        The study has no [compare], or its sites can't be placed.
    """
    shown = progress or Silent()
    roads = _roads(study, shown)
    points = _points(study)
    with shown.step("Before and after", 2) as tick:
        counted = count_reports(
            study, points.reports, points.fixes, roads.network, roads.lixels, roads.index
        )
        tick()
        partner = partner_lixels(roads.network, roads.lixels)
        found = compare_study(
            study, counted, points.fixes, roads.network, roads.lixels, roads.index, partner
        )
        tick()
    return found


@dataclass(frozen=True, eq=False)
class _Roads:
    network: Network
    lixels: Lixels
    index: PieceIndex
    places: Places
    mismatches: pd.DataFrame
    notes: tuple[str, ...]


def _roads(study: Study, shown: Progress) -> _Roads:
    with shown.step("Roads", 3) as tick:
        built = build_network(study)
        network = built.network
        tick()
        lixels = lay_lixels(network, study.settings.hotspots.lixel_m)
        index = PieceIndex.build(network)
        tick()
        places = Places(network, study.agency_lines, study.settings.study.units)
        tick()
    return _Roads(network, lixels, index, places, built.mismatches, built.notes)


@dataclass(frozen=True, eq=False)
class _Points:
    """Fixes and reports, all with coordinates."""

    fixes: gpd.GeoDataFrame
    reports: gpd.GeoDataFrame
    background: gpd.GeoDataFrame | None
    remarks: tuple[Remark, ...]
    notes: tuple[str, ...]


def _points(study: Study) -> _Points:
    fixes, fixes_lost = coordinates_of(study.fixes, study.agency_lines)
    reports, reports_lost = coordinates_of(study.sightings, study.agency_lines)
    from_bearings = bearing_fixes(study)
    remarks: tuple[Remark, ...] = (*fixes_lost, *reports_lost)
    notes: tuple[str, ...] = ()
    background = study.background
    if background is not None:
        background, _ = coordinates_of(background, study.agency_lines)
    if from_bearings is not None:
        remarks += from_bearings.remarks
        notes = from_bearings.notes
    fixes = with_bearing_fixes(fixes, from_bearings)
    return _Points(fixes, reports, background, remarks, notes)


@dataclass(frozen=True, eq=False)
class _Evidence:
    """What animals, reports and surveys say, on the roads."""

    points: _Points
    partner: Ints
    steps: Steps
    crossings: Crossings
    frequencies: Frequencies
    counted: CountedReports
    doubted: pd.DataFrame
    watching: Watching
    deaths: AllDeaths


def _evidence(study: Study, roads: _Roads, shown: Progress) -> _Evidence:
    network, lixels, index = roads.network, roads.lixels, roads.index
    points = _points(study)
    steps = steps_of(points.fixes, study.settings.crossings.longest_step_days)
    with shown.step("Steps across roads", 1) as tick:
        crossings = crossings_of(steps, network, lixels, index)
        tick()
    partner = partner_lixels(network, lixels)
    frequencies = crossing_frequencies(study, points.fixes, network, lixels, index, partner, shown)
    with shown.step("Reports", 2) as tick:
        counted = count_reports(study, points.reports, points.fixes, network, lixels, index)
        tick()
        doubted = open_doubts(study, points.reports, counted, network, index)
        tick()
    watching = watching_of(study, network, lixels, index, partner)
    with shown.step("Deaths", 1) as tick:
        deaths = estimate_deaths(
            study, points.fixes, steps, frequencies, counted, network, lixels, index, partner
        )
        tick()
    return _Evidence(
        points, partner, steps, crossings, frequencies, counted, doubted, watching, deaths
    )


def _findings(
    study: Study, roads: _Roads, found: _Evidence, hot: Hotspots, measures: MeasureTables
) -> Findings:
    settings, network = study.settings, roads.network
    steps, counted, placed = found.steps, found.counted, found.counted.placed
    remarks = (*_unsettled(study.remarks, counted), *found.points.remarks)
    remarks += (*found.watching.remarks, *found.deaths.remarks, *measures.remarks)
    reach = reach_by_segment(network.segments, steps, reach_m=settings.crossings.reach_m)
    near = reach_by_segment(hot.ranked, steps, reach_m=settings.crossings.reach_m)
    lost = [
        left_out_table(remarks), counted.left_out, found.deaths.left_out, found.watching.left_out,
    ]  # fmt: skip
    left_out = pd.concat([table for table in lost if table is not None], ignore_index=True)
    doubts = pd.concat([doubts_table(remarks), found.doubted], ignore_index=True)
    reporters = _reporters(study, found.points, counted, network, roads.index)
    ranked = with_metres_in_stretch(hot.ranked, hot.stretches)
    segments = segment_table(
        network, roads.lixels, reach, found.frequencies, placed, settings.study.years
    )
    return Findings(
        segments=segments.join(found.deaths.segments),
        lixels=put_beside(hot.lixels, found.deaths.lixels, "density_dead"),
        stretches=hot.stretches,
        stretch_years=hot.stretch_years,
        ranked=with_reach(ranked, near["animals_in_reach"]),
        crossings=found.crossings.table,
        sightings=placed.table,
        left_out=left_out,
        doubts=doubts,
        road_mismatches=roads.mismatches,
        chance=hot.chance,
        power=hot.power,
        network_k=hot.network_k,
        local_gi=hot.local_gi,
        tracked=tracked_animals(
            study, found.points.fixes, network, found.frequencies, found.crossings
        ),
        reports=listed_reports(found.points.reports, held_reports(study), counted, reporters),
        deaths=found.deaths.tables,
        measures=measures,
        notes=(
            *roads.notes,
            *found.points.notes,
            *_notes(steps, found.crossings, counted),
            *counted.notes,
            *reporters.notes,
            *found.watching.notes,
            *hot.notes,
        ),
        counts=_counts(study, found) | {"left_out": len(left_out), "doubts": len(doubts)},
    )


def _unsettled(remarks: tuple[Remark, ...], counted: CountedReports) -> tuple[Remark, ...]:
    """Return remarks without those that a decision on a held report settled."""
    settled = counted.decided.settled
    return tuple(r for r in remarks if r.kind == "error" or (r.file, r.row) not in settled)


def _reporters(
    study: Study, points: _Points, counted: CountedReports, network: Network, index: PieceIndex
) -> Reporters:
    repeated = points.reports["occurrenceID"].isin(counted.repeats["record"])
    return reporter_effort(
        points.reports[~repeated], points.background, network, index, profile=study.profile,
        near_m=study.settings.placement.near_m, zone=study.settings.study.time_zone,
    )  # fmt: skip


def _counts(study: Study, found: _Evidence) -> dict[str, int]:
    fixes, steps = found.points.fixes, found.steps
    return {
        "animals": int(fixes["organismID"].nunique()),
        "fixes": len(fixes),
        "steps": len(steps.table),
        "steps_too_long": steps.too_long,
        "steps_across_a_road": len(found.crossings.table),
        "crossings_the_fixes_force": len(found.frequencies.found.forced),
        "passed_below_or_above": found.crossings.off_ground,
        "reports": len(study.sightings),
        "reports_repeated": len(found.counted.repeats),
        "reports_placed": len(found.counted.placed.table),
    }


def _notes(steps: Steps, crossings: Crossings, counted: CountedReports) -> tuple[str, ...]:
    joined = len(steps.table)
    return (
        f"{joined} steps between successive fixes count; {steps.too_long} longer than "
        f"{steps.longest_days:g} days don't.",
        f"{crossings.off_ground} times a step meets a bridge or a tunnel: the animal passes below "
        "or above it, and that is no road crossing.",
        f"{len(counted.repeats)} exact repeats among the reports were counted once; "
        f"{len(counted.placed.left_out)} reports lie too far from any road for their uncertainty.",
    )
