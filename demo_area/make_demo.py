"""Write the demo study: an invented reserve, its roads, animals, reports, and their truth.

Run as ``python demo_area/make_demo.py [FOLDER]``; without a folder it writes beside itself.
The same numpy gives the same bytes. Nothing here stands for a real place, animal or person.
"""

from __future__ import annotations

import sys
from dataclasses import replace
from pathlib import Path

from carcasses import Searched, searched
from dead_reports import public_reports, reserved, survey_reports
from fates import fates, other_ends, until_the_end
from fieldwork import bursts, captures
from full_crossings import full_crossings
from habitat import habitat_geojson, nests_csv
from killed import Death, Kills, kills
from later_reports import later_reports, with_lengths
from movement import ANIMALS, Fix, Walks, locate, passages, walk
from price_table import prices_csv
from profile_text import profile_toml
from residents import residents, wanderings
from road_files import agency_geojson, osm_xml, traffic_csv
from road_shapes import Road, build
from site_tables import openings_csv, parcels_geojson, structures_csv, works_csv
from study_tables import animals_csv, fixes_csv, sightings_csv, surveys_csv
from study_text import OWN_TEXTS, STUDY_TOML
from trials import trials_csv
from truth_tables import passages_csv, true_deaths, true_kills, true_reports, true_stretches

from reports import Report, make_reports


def write(folder: Path) -> None:
    """Write every file of the study into a folder; it is made if it is not there."""
    roads = build()
    walks = walk(ANIMALS, roads, "walks")
    planned = locate(walks)
    caught = captures(walks, planned, roads)
    killed = _killed(walks, planned, roads)
    lying = searched(killed.deaths, roads)
    deaths, reports = _reports(killed, lying, walks, roads)
    fixes = until_the_end(planned + bursts(walks, planned), deaths)
    fixes.sort(key=lambda f: (f.when, f.animal))
    passed = passages(walks, fixes, roads)
    on, off = ([p for p in passed if p.on_ground is ground] for ground in (True, False))
    files = {
        "study.toml": STUDY_TOML,
        "profile.toml": profile_toml(),
        "roads.osm": osm_xml(roads),
        "agency_roads.geojson": agency_geojson(roads),
        "traffic.csv": traffic_csv(),
        "animals.csv": animals_csv(caught, fates(deaths, fixes)),
        "fixes.csv": fixes_csv(fixes),
        "sightings.csv": sightings_csv(reports),
        "surveys.csv": surveys_csv(lying.surveys, roads),
        "trials.csv": trials_csv(),
        "nests.csv": nests_csv(roads, fixes),
        "habitat.geojson": habitat_geojson(roads),
        "structures.csv": structures_csv(roads),
        "openings.csv": openings_csv(roads),
        "works.csv": works_csv(roads),
        "parcels.geojson": parcels_geojson(roads),
        "prices.csv": prices_csv(),
        **OWN_TEXTS,
        "truth/true_stretches.geojson": true_stretches(roads, fixes, passed, reports, deaths),
        "truth/true_crossings.csv": passages_csv(on, roads),
        "truth/true_full_crossings.csv": passages_csv(full_crossings(walks, fixes, roads), roads),
        "truth/passes_off_ground.csv": passages_csv(off, roads),
        "truth/true_reports.csv": true_reports(reports, roads),
        "truth/true_deaths.csv": true_deaths(deaths, lying, reports, roads),
        "truth/true_kills_by_road.csv": true_kills(killed.crossings, deaths, roads),
    }
    for name, text in files.items():
        path = folder / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(text.encode("utf-8"))


def _killed(walks: Walks, planned: list[Fix], roads: dict[str, Road]) -> Kills:
    others = residents(roads)
    walked = walk(others, roads, "walks of residents")
    return kills(walks, planned, other_ends(), (others, walked), wanderings(roads), roads)


def _reports(
    killed: Kills, lying: Searched, walks: Walks, roads: dict[str, Road]
) -> tuple[list[Death], list[Report]]:
    """Return all reports, and the deaths with T08's among them."""
    deaths = killed.deaths
    dead = reserved(deaths, lying)
    public = public_reports(deaths, lying, {k: r.plan.aadt for k, r in roads.items()}, dead)
    by_survey = survey_reports(deaths, lying)
    named = list(deaths)
    named[dead.of_t08] = replace(named[dead.of_t08], animal="T08", sex="female")
    reports = with_lengths(make_reports(roads, killed.crossings, public, by_survey))
    reports += later_reports(roads, walks, len(reports), named, dead)
    return named, reports


if __name__ == "__main__":
    write(Path(sys.argv[1]) if len(sys.argv) > 1 else Path(__file__).resolve().parent)
