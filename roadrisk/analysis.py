"""The steps of a run, in order; the only place that knows it."""

from __future__ import annotations

from typing import TYPE_CHECKING

from roadrisk.base.kept_steps import KeepNothing, Kept
from roadrisk.base.memory import give_back
from roadrisk.base.progress import Progress, Silent
from roadrisk.base.tasks import InProcess
from roadrisk.gathered import Evidence, Points, Roads, gather_findings
from roadrisk.hotspots.finding import find_hotspots
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
from roadrisk.sightings.counted import count_reports
from roadrisk.sightings.doubted import held_reports, open_doubts, screened
from roadrisk.sightings.queue import put_before_reviewer
from roadrisk.study_parts import for_evidence, for_paths, for_roads, key_values
from roadrisk.telemetry.bearings import bearing_fixes, with_bearing_fixes
from roadrisk.telemetry.crossings import crossings_of
from roadrisk.telemetry.frequencies import crossing_frequencies
from roadrisk.telemetry.steps import steps_of

if TYPE_CHECKING:
    import pandas as pd

    from roadrisk.base.tasks import Tasks
    from roadrisk.errors import Remark
    from roadrisk.findings import Findings
    from roadrisk.hotspots.finding import Hotspots
    from roadrisk.mitigation.works_compared import WorksCompared
    from roadrisk.sightings.counted import CountedReports
    from roadrisk.sightings.reviewed import Reviewed
    from roadrisk.study import Study


def analyse(
    study: Study,
    progress: Progress | None = None,
    *,
    kept: Kept | None = None,
    tasks: Tasks | None = None,
) -> Findings:
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
    kept : Kept, optional
        Long steps of an earlier run that rest on the same are taken from here.
    tasks : Tasks, optional
        What works on the parts of long steps: this process unless given. The numbers are the same.

    Returns
    -------
    Findings
    """
    shown, kept, by = progress or Silent(), kept or KeepNothing(), tasks or InProcess()
    roads = _roads(study, shown, kept)
    evidence = for_evidence(study)
    found = _evidence(evidence, roads, shown, kept, by)
    give_back()
    hot = kept.step("hotspots", (found.key,), lambda: _hotspots(evidence, roads, found, shown, by))
    give_back()
    with shown.step("Measures", 1) as tick:
        measures = propose_measures(
            study, roads.network, roads.lixels, roads.places, found.deaths, found.frequencies
        )
        tick()
    give_back()
    return gather_findings(study, roads, found, hot, measures)


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
    roads = _roads(study, shown, KeepNothing())
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
    roads = _roads(study, shown, KeepNothing())
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


def _roads(study: Study, shown: Progress, kept: Kept) -> Roads:
    give_back()
    part = for_roads(study)
    key = kept.key(*key_values(part))
    with shown.step("Roads", 3) as tick:
        built = kept.step("roads", (key,), lambda: build_network(part))
        give_back()
        network = built.network
        tick()
        lixels = lay_lixels(network, study.settings.hotspots.lixel_m)
        index = PieceIndex.build(network)
        tick()
        places = Places(network, study.agency_lines, study.settings.study.units)
        tick()
    return Roads(network, lixels, index, places, built.mismatches, built.notes, key)


def _points(study: Study) -> Points:
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
    return Points(fixes, reports, background, remarks, notes)


def _evidence(study: Study, roads: Roads, shown: Progress, kept: Kept, tasks: Tasks) -> Evidence:
    network, lixels, index = roads.network, roads.lixels, roads.index
    points = _points(study)
    steps = steps_of(points.fixes, study.settings.crossings.longest_step_days)
    with shown.step("Steps across roads", 1) as tick:
        crossings = crossings_of(steps, network, lixels, index)
        tick()
    partner = partner_lixels(network, lixels)
    tracked = for_paths(study)
    frequencies = kept.step(
        "paths", (roads.key, kept.key(points.fixes, *key_values(tracked))),
        lambda: crossing_frequencies(
            tracked, points.fixes, network, lixels, index, partner, shown, tasks
        ),
    )  # fmt: skip
    give_back()
    # All that follows up to the list of places rests on roads and evidence together.
    key = kept.key(roads.key, *key_values(study)) if roads.key else None
    with shown.step("Reports", 2) as tick:
        counted, doubted = kept.step("reports", (key,), lambda: _reports(study, points, roads))
        tick(2)
    give_back()
    watching = watching_of(study, network, lixels, index, partner)
    with shown.step("Deaths", 1) as tick:
        deaths = kept.step(
            "deaths", (key,),
            lambda: estimate_deaths(
                study, points.fixes, steps, frequencies, counted, network, lixels, index, partner,
                tasks=tasks,
            ),
        )  # fmt: skip
        tick()
    return Evidence(
        points, partner, steps, crossings, frequencies, counted, doubted, watching, deaths, key
    )


def _reports(study: Study, points: Points, roads: Roads) -> tuple[CountedReports, pd.DataFrame]:
    network, index = roads.network, roads.index
    counted = count_reports(study, points.reports, points.fixes, network, roads.lixels, index)
    return counted, open_doubts(study, points.reports, counted, network, index)


def _hotspots(
    study: Study, roads: Roads, found: Evidence, shown: Progress, tasks: Tasks
) -> Hotspots:
    settings = study.settings
    return find_hotspots(
        roads.network, roads.lixels, found.partner, found.frequencies, found.counted.placed.table,
        found.counted.placed.placement, roads.places,
        settings=settings.hotspots, years=settings.study.years, seed=settings.study.seed,
        zone=settings.study.time_zone,
        surveys=settings.sightings.surveys if settings.sightings else (),
        area=study.area, watching=found.watching, deaths=found.deaths.field,
        worst=settings.mortality.worst_places, tasks=tasks, progress=shown,
    )  # fmt: skip
