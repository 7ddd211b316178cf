"""Write the demo study: an invented reserve, its roads, animals, reports, and their truth.

Run as ``python demo_area/make_demo.py [FOLDER]``; without a folder it writes beside itself.
The same numpy gives the same bytes. Nothing here stands for a real place, animal or person.
"""

from __future__ import annotations

import sys
from pathlib import Path

import numpy as np
from fieldwork import bursts, captures
from full_crossings import full_crossings
from later_reports import later_reports, with_lengths
from movement import (
    ANIMALS,
    STRETCHES,
    Fix,
    Passage,
    Stretch,
    locate,
    passages,
    steps_across,
    walk,
)
from plane import Floats, cut, to_lonlat
from profile_text import profile_toml
from road_files import agency_geojson, collection, feature, osm_xml, table, traffic_csv
from road_shapes import Road, build
from study_text import STUDY_TOML

from reports import Report, make_reports


def write(folder: Path) -> None:
    """Write every file of the study into a folder; it is made if it is not there."""
    roads = build()
    walks = walk(roads)
    fixes = locate(walks)
    caught = captures(walks, fixes, roads)
    fixes = sorted(fixes + bursts(walks, fixes), key=lambda f: (f.when, f.animal))
    passed = passages(walks, fixes, roads)
    reports = with_lengths(make_reports(roads))
    reports += later_reports(roads, walks, len(reports))
    files = {
        "study.toml": STUDY_TOML,
        "profile.toml": profile_toml(),
        "roads.osm": osm_xml(roads),
        "agency_roads.geojson": agency_geojson(roads),
        "traffic.csv": traffic_csv(),
        "animals.csv": _animals(caught),
        "fixes.csv": _fixes(fixes),
        "sightings.csv": _sightings(reports),
        "truth/true_stretches.geojson": _true_stretches(roads, fixes, passed, reports),
        "truth/true_crossings.csv": _passages([p for p in passed if p.on_ground], roads),
        "truth/true_full_crossings.csv": _passages(full_crossings(walks, fixes, roads), roads),
        "truth/passes_off_ground.csv": _passages([p for p in passed if not p.on_ground], roads),
        "truth/true_reports.csv": _true_reports(reports, roads),
    }
    for name, text in files.items():
        path = folder / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_bytes(text.encode("utf-8"))


def _animals(caught: list[Floats | None]) -> str:
    head = (
        "organismID", "sex", "lifeStage", "mass_g", "transmitter_mass_g", "tag_channel",
        "decimalLatitude", "decimalLongitude",
    )  # fmt: skip
    rows = []
    for a, place in zip(ANIMALS, caught, strict=True):
        at = ("", "") if place is None else tuple(f"{v:.6f}" for v in to_lonlat(place)[::-1])
        rows.append((a.number, a.sex, a.stage, a.mass_g, a.tag_g, a.channel, *at))
    return table(head, rows)


def _fixes(fixes: list[Fix]) -> str:
    head = (
        "organismID", "eventDate", "decimalLatitude", "decimalLongitude",
        "coordinateUncertaintyInMeters", "method",
    )  # fmt: skip
    rows = []
    for f in fixes:
        lon, lat = to_lonlat(f.xy)
        when = f.when.isoformat(timespec="minutes") if f.has_time else f.when.date().isoformat()
        number = ANIMALS[f.animal].number
        rows.append((number, when, f"{lat:.6f}", f"{lon:.6f}", f.uncertainty_m, f.method))
    return table(head, rows)


def _id(number: int) -> str:
    return f"demo-{number + 1:04d}"


def _sightings(reports: list[Report]) -> str:
    head = (
        "occurrenceID", "eventDate", "decimalLatitude", "decimalLongitude",
        "coordinateUncertaintyInMeters", "scientificName", "vitality", "sex", "lifeStage",
        "behavior", "recordedBy", "occurrenceRemarks", "associatedMedia",
        "identificationVerificationStatus", "organismID", "length_mm", "iris_colour",
        "plastron_shape", "samplingProtocol", "carcass_action",
    )  # fmt: skip
    rows = []
    for i, r in enumerate(reports):
        when = r.when.isoformat(timespec="minutes") if r.has_time else r.when.date().isoformat()
        media = f"https://example.org/invented/{_id(i)}.jpg" if r.media else ""
        row = (
            _id(i), when, r.lonlat[1], r.lonlat[0], r.uncertainty_m, r.species, r.vitality, r.sex,
            r.stage, r.behavior, r.observer, r.remarks, media, r.status, r.tag, r.length_mm,
            r.iris, r.plastron, r.protocol, r.carcass_action,
        )  # fmt: skip
        rows.append(row)
    return table(head, rows)


def _label(road: Road) -> str:
    return road.plan.name or road.plan.ref or f"unnamed {road.plan.kind} road"


def _true_reports(reports: list[Report], roads: dict[str, Road]) -> str:
    head = ("occurrenceID", "true_lon", "true_lat", "road", "stretch", "done", "copy_of")
    rows = []
    for i, r in enumerate(reports):
        lon, lat = to_lonlat(r.true_xy)
        copy_of = "" if r.copy_of is None else _id(r.copy_of)
        where = (f"{lon:.6f}", f"{lat:.6f}", _label(roads[r.road]))
        rows.append((_id(i), *where, r.stretch, r.done, copy_of))
    return table(head, rows)


def _passages(passed: list[Passage], roads: dict[str, Road]) -> str:
    rows = []
    for p in passed:
        lon, lat = to_lonlat(p.xy)
        when = p.when.isoformat(timespec="seconds")
        rows.append((p.animal, when, f"{lon:.6f}", f"{lat:.6f}", _label(roads[p.road]), p.road))
    return table(("animal", "time", "lon", "lat", "road", "line"), rows)


def _true_stretches(
    roads: dict[str, Road], fixes: list[Fix], passed: list[Passage], reports: list[Report]
) -> str:
    steps = [p for p in steps_across(fixes, roads) if p.on_ground]
    features = []
    for stretch in STRETCHES:
        begin, end = stretch.span(roads)
        walked = [p for p in passed if _on(p, stretch, begin, end)]
        made = [r for r in reports if r.stretch == stretch.name and r.done != "exact duplicate"]
        fields = {
            "name": stretch.name,
            "road": roads[stretch.road].plan.name,
            "length_m": stretch.length_m,
            "animals": len({p.animal for p in walked}),
            "true_crossings": len(walked),
            "expected_crossings": sum(_on(p, stretch, begin, end) for p in steps),
            "expected_reports": len(made),
            "observers": len({r.observer for r in made if r.observer}),
            "invented": True,
        }
        line = np.asarray(to_lonlat(cut(roads[stretch.road].xy, begin, end)))
        features.append(feature("LineString", line.tolist(), fields))
    return collection(features)


def _on(passage: Passage, stretch: Stretch, begin: float, end: float) -> bool:
    return passage.road == stretch.road and begin <= passage.at_m <= end


if __name__ == "__main__":
    write(Path(sys.argv[1]) if len(sys.argv) > 1 else Path(__file__).resolve().parent)
