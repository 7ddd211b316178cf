"""The steps of a run, in order; the only place that knows it."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from roadrisk.base.progress import Progress, Silent
from roadrisk.findings import Findings, TrackedAnimals
from roadrisk.hotspots.finding import find_hotspots
from roadrisk.hotspots.ranked_rows import with_metres_in_stretch, with_reach
from roadrisk.hotspots.watching import watching_of
from roadrisk.roads.bands import partner_lixels
from roadrisk.roads.build import build_network
from roadrisk.roads.lixels import lay_lixels
from roadrisk.roads.places import Places
from roadrisk.roads.placing import PieceIndex
from roadrisk.roads.route_measures import coordinates_of
from roadrisk.sightings.placed import PlacedSightings, place_sightings
from roadrisk.sightings.repeats import join_exact_repeats
from roadrisk.telemetry.bearings import bearing_fixes, with_bearing_fixes
from roadrisk.telemetry.crossings import Crossings, crossings_of
from roadrisk.telemetry.frequencies import (
    Frequencies,
    crossing_frequencies,
    frequency_words,
    lines_words,
    only_watched,
)
from roadrisk.telemetry.home_range import home_ranges, roads_cut
from roadrisk.telemetry.reach import reach_by_segment
from roadrisk.telemetry.steps import Steps, steps_of

if TYPE_CHECKING:
    import geopandas as gpd

    from roadrisk.errors import Remark
    from roadrisk.roads.network import Lixels, Network
    from roadrisk.study import Study


def analyse(study: Study, progress: Progress | None = None) -> Findings:
    """Run every step on a study.

    The stages, each public in its own room: roads are built and cut into lixels; tables that
    speak in route and measure get coordinates; bearings become fixes; straight steps between
    fixes are overlaid on the roads; paths between fixes are drawn from a movement process and
    their crossings counted (crossing-days per animal, segment and place); exact repeats among
    the reports are joined and the rest placed on the roads; kernels, the comparison with chance
    and the ranked list follow.

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
    with shown.step("Roads", 3) as tick:
        built = build_network(study)
        network = built.network
        tick()
        lixels = lay_lixels(network, settings.hotspots.lixel_m)
        index = PieceIndex.build(network)
        tick()
        places = Places(network, study.agency_lines, settings.study.units)
        tick()
    fixes, fixes_lost = coordinates_of(study.fixes, study.agency_lines)
    reports, reports_lost = coordinates_of(study.sightings, study.agency_lines)
    from_bearings = bearing_fixes(study)
    fixes = with_bearing_fixes(fixes, from_bearings)
    steps = steps_of(fixes, settings.crossings.longest_step_days)
    with shown.step("Steps across roads", 1) as tick:
        crossings = crossings_of(steps, network, lixels, index)
        tick()
    partner = partner_lixels(network, lixels)
    frequencies = crossing_frequencies(study, fixes, network, lixels, index, partner, shown)
    single, repeats = join_exact_repeats(reports, settings.study.time_zone)
    placed = place_sightings(
        single,
        network,
        lixels,
        index,
        near_m=settings.placement.near_m,
        units=settings.study.units,
    )
    watching = watching_of(study, network, lixels, index, partner)
    hot = find_hotspots(
        network,
        lixels,
        partner,
        frequencies,
        placed.table,
        placed.placement,
        places,
        settings=settings.hotspots,
        years=settings.study.years,
        seed=settings.study.seed,
        zone=settings.study.time_zone,
        surveys=settings.sightings.surveys if settings.sightings else (),
        area=study.area,
        watching=watching,
        progress=shown,
    )
    remarks = (*study.remarks, *fixes_lost, *reports_lost, *watching.remarks)
    bearing_notes: tuple[str, ...] = ()
    if from_bearings is not None:
        remarks += from_bearings.remarks
        bearing_notes = from_bearings.notes
    reach = reach_by_segment(network.segments, steps, reach_m=settings.crossings.reach_m)
    near = reach_by_segment(hot.ranked, steps, reach_m=settings.crossings.reach_m)
    lost = [_left_out(remarks), repeats, placed.left_out, watching.left_out]
    left_out = pd.concat([table for table in lost if table is not None], ignore_index=True)
    return Findings(
        segments=_segment_table(network, lixels, reach, frequencies, placed, settings.study.years),
        lixels=hot.lixels,
        stretches=hot.stretches,
        stretch_years=hot.stretch_years,
        ranked=with_reach(
            with_metres_in_stretch(hot.ranked, hot.stretches), near["animals_in_reach"]
        ),
        crossings=crossings.table,
        sightings=placed.table,
        left_out=left_out,
        doubts=_doubts(remarks),
        road_mismatches=built.mismatches,
        chance=hot.chance,
        power=hot.power,
        network_k=hot.network_k,
        local_gi=hot.local_gi,
        tracked=_tracked(study, fixes, network, frequencies, crossings),
        notes=(
            *built.notes,
            *bearing_notes,
            *_notes(steps, crossings, repeats, placed),
            *watching.notes,
            *hot.notes,
        ),
        counts={
            "animals": int(fixes["organismID"].nunique()),
            "fixes": len(fixes),
            "steps": len(steps.table),
            "steps_too_long": steps.too_long,
            "steps_across_a_road": len(crossings.table),
            "crossings_the_fixes_force": len(frequencies.found.forced),
            "passed_below_or_above": crossings.off_ground,
            "reports": len(study.sightings),
            "reports_repeated": len(repeats),
            "reports_placed": len(placed.table),
            "left_out": len(left_out),
            "doubts": len(_doubts(remarks)),
        },
    )


def _tracked(
    study: Study,
    fixes: gpd.GeoDataFrame,
    network: Network,
    frequencies: Frequencies,
    crossings: Crossings,
) -> TrackedAnimals:
    found = frequencies.found
    ranges = home_ranges(fixes, seed=study.settings.study.seed)
    sexes = study.animals.set_index("organismID")["sex"].reindex(found.animals["organismID"])
    animals = found.animals.assign(weight=frequencies.weight)
    animals.insert(1, "sex", sexes.fillna("").to_numpy(object))
    return TrackedAnimals(
        animals=animals,
        groups=frequencies.groups,
        by_month=found.by_month,
        by_hour=found.by_hour,
        conditions=found.others,
        home_ranges=ranges,
        roads_cut=roads_cut(ranges, network.segments),
        words=frequency_words(frequencies.groups),
        notes=(*frequencies.notes, *lines_words(len(crossings.table), frequencies)),
    )


def _segment_table(
    network: Network,
    lixels: Lixels,
    reach: pd.DataFrame,
    frequencies: Frequencies,
    placed: PlacedSightings,
    years: float,
) -> gpd.GeoDataFrame:
    segments = network.segments
    placement = placed.placement
    vitality = placed.table["vitality"].to_numpy()[placement.point]
    where = lixels.segment[placement.lixel]
    columns = {}
    for name, chosen in (
        ("reports_alive", vitality == "alive"),
        ("reports_dead", vitality == "dead"),
        ("reports_other", (vitality != "alive") & (vitality != "dead")),
    ):
        columns[name] = np.bincount(
            where[chosen], placement.weight[chosen], minlength=len(segments)
        )
    rates = only_watched(frequencies.segments, reach["animals_in_reach"])
    evidence = rates["crossing_days"].to_numpy() + sum(columns.values())
    table = segments.drop(columns="geometry").join(reach).join(rates).assign(**columns)
    table["evidence_per_km_year"] = evidence / (segments["length_m"].to_numpy() / 1000) / years
    return segments[["geometry"]].join(table)


def _left_out(remarks: tuple[Remark, ...]) -> pd.DataFrame:
    rows = [
        {"file": r.file, "row": r.row, "record": r.record, "reason": r.problem}
        for r in remarks
        if r.kind == "left out"
    ]
    table = pd.DataFrame(rows, columns=["file", "row", "record", "reason"])
    return table.astype({"row": "Int64"})


def _doubts(remarks: tuple[Remark, ...]) -> pd.DataFrame:
    columns = ["file", "row", "column", "record", "problem", "mend"]
    rows = [{c: getattr(r, c) for c in columns} for r in remarks if r.kind == "doubt"]
    return pd.DataFrame(rows, columns=columns).astype({"row": "Int64"})


def _notes(
    steps: Steps, crossings: Crossings, repeats: pd.DataFrame, placed: PlacedSightings
) -> tuple[str, ...]:
    joined = len(steps.table)
    return (
        f"{joined} steps between successive fixes count; {steps.too_long} longer than "
        f"{steps.longest_days:g} days don't.",
        f"{crossings.off_ground} times a step meets a bridge or a tunnel: the animal passes below "
        "or above it, and that is no road crossing.",
        f"{len(repeats)} exact repeats among the reports were counted once; "
        f"{len(placed.left_out)} reports lie too far from any road for their uncertainty.",
    )
