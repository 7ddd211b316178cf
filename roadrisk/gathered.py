"""What the steps of a run found, gathered into one `Findings`."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import pandas as pd

from roadrisk.base.remark_tables import doubts_table, left_out_table
from roadrisk.findings import Findings
from roadrisk.hotspots.ranked_rows import put_beside, with_metres_in_stretch, with_reach
from roadrisk.hotspots.segment_table import segment_table
from roadrisk.sightings.doubted import held_reports
from roadrisk.sightings.listed import listed_reports
from roadrisk.sightings.reporters import Reporters, reporter_effort
from roadrisk.telemetry.reach import reach_by_segment
from roadrisk.telemetry.tracked import tracked_animals

if TYPE_CHECKING:
    import geopandas as gpd

    from roadrisk.errors import Remark
    from roadrisk.hotspots.finding import Hotspots
    from roadrisk.hotspots.watching import Watching
    from roadrisk.measure_findings import MeasureTables
    from roadrisk.mortality.all_deaths import AllDeaths
    from roadrisk.roads.network import Ints, Lixels, Network
    from roadrisk.roads.places import Places
    from roadrisk.roads.placing import PieceIndex
    from roadrisk.sightings.counted import CountedReports
    from roadrisk.study import Study
    from roadrisk.telemetry.crossings import Crossings
    from roadrisk.telemetry.frequencies import Frequencies
    from roadrisk.telemetry.steps import Steps


@dataclass(frozen=True, eq=False)
class Roads:
    """The network, and what is laid over it."""

    network: Network
    lixels: Lixels
    index: PieceIndex
    places: Places
    mismatches: pd.DataFrame
    notes: tuple[str, ...]
    key: str | None = None


@dataclass(frozen=True, eq=False)
class Points:
    """Fixes and reports, all with coordinates."""

    fixes: gpd.GeoDataFrame
    reports: gpd.GeoDataFrame
    background: gpd.GeoDataFrame | None
    remarks: tuple[Remark, ...]
    notes: tuple[str, ...]


@dataclass(frozen=True, eq=False)
class Evidence:
    """What animals, reports and surveys say, on the roads."""

    points: Points
    partner: Ints
    steps: Steps
    crossings: Crossings
    frequencies: Frequencies
    counted: CountedReports
    doubted: pd.DataFrame
    watching: Watching
    deaths: AllDeaths
    key: str | None = None


def gather_findings(
    study: Study, roads: Roads, found: Evidence, hot: Hotspots, measures: MeasureTables
) -> Findings:
    """Gather what the steps found.

    Parameters
    ----------
    study : Study
    roads : Roads
    found : Evidence
    hot : Hotspots
    measures : MeasureTables

    Returns
    -------
    Findings
    """
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
        lixels=put_beside(hot.lixels, found.deaths.lixels.iloc[hot.lixel_rows], "density_dead"),
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
    study: Study, points: Points, counted: CountedReports, network: Network, index: PieceIndex
) -> Reporters:
    repeated = points.reports["occurrenceID"].isin(counted.repeats["record"])
    return reporter_effort(
        points.reports[~repeated], points.background, network, index, profile=study.profile,
        near_m=study.settings.placement.near_m, zone=study.settings.study.time_zone,
    )  # fmt: skip


def _counts(study: Study, found: Evidence) -> dict[str, int]:
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
