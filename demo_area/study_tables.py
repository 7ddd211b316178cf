"""The study's tables as text: animals with their fates, fixes, reports, surveys."""

from __future__ import annotations

from typing import TYPE_CHECKING

from carcasses import Survey, searched_km
from movement import ANIMALS, Fix
from plane import Floats, to_lonlat
from road_files import table

if TYPE_CHECKING:
    from datetime import datetime

    from fates import Fate
    from road_shapes import Road

    from reports import Report


def animals_csv(caught: list[Floats | None], fates: list[Fate]) -> str:
    """Return animals.csv."""
    head = (
        "organismID", "sex", "lifeStage", "mass_g", "transmitter_mass_g", "tag_channel",
        "decimalLatitude", "decimalLongitude", "fate", "fateDate", "fateCause",
    )  # fmt: skip
    rows = []
    for a, place, end in zip(ANIMALS, caught, fates, strict=True):
        at = ("", "") if place is None else tuple(f"{v:.6f}" for v in to_lonlat(place)[::-1])
        rows.append((a.number, a.sex, a.stage, a.mass_g, a.tag_g, a.channel, *at,
                     end.fate, _minute(end.when), end.cause))  # fmt: skip
    return table(head, rows)


def fixes_csv(fixes: list[Fix]) -> str:
    """Return fixes.csv."""
    head = (
        "organismID", "eventDate", "decimalLatitude", "decimalLongitude",
        "coordinateUncertaintyInMeters", "method",
    )  # fmt: skip
    rows = []
    for f in fixes:
        lon, lat = to_lonlat(f.xy)
        when = _minute(f.when) if f.has_time else f.when.date().isoformat()
        number = ANIMALS[f.animal].number
        rows.append((number, when, f"{lat:.6f}", f"{lon:.6f}", f.uncertainty_m, f.method))
    return table(head, rows)


def report_id(number: int) -> str:
    """Return the id of the report in a row, counted from 0."""
    return f"demo-{number + 1:04d}"


def sightings_csv(reports: list[Report]) -> str:
    """Return sightings.csv."""
    head = (
        "occurrenceID", "eventDate", "decimalLatitude", "decimalLongitude",
        "coordinateUncertaintyInMeters", "scientificName", "vitality", "sex", "lifeStage",
        "reproductiveCondition", "behavior", "recordedBy", "occurrenceRemarks", "associatedMedia",
        "identificationVerificationStatus", "organismID", "length_mm", "iris_colour",
        "plastron_shape", "samplingProtocol", "eventID", "carcass_action",
    )  # fmt: skip
    rows = []
    for i, r in enumerate(reports):
        when = _minute(r.when) if r.has_time else r.when.date().isoformat()
        media = f"https://example.org/invented/{report_id(i)}.jpg" if r.media else ""
        row = (
            report_id(i), when, r.lonlat[1], r.lonlat[0], r.uncertainty_m, r.species, r.vitality,
            r.sex, r.stage, r.condition, r.behavior, r.observer, r.remarks, media, r.status,
            r.tag, r.length_mm, r.iris, r.plastron, r.protocol, r.event, r.carcass_action,
        )  # fmt: skip
        rows.append(row)
    return table(head, rows)


def surveys_csv(surveys: list[Survey], roads: dict[str, Road]) -> str:
    """Return surveys.csv: searches that found nothing are rows too."""
    head = (
        "eventID", "eventDate", "samplingProtocol", "route", "begin_measure", "end_measure",
        "samplingEffort", "observers", "searched_width_m", "individualCount",
    )  # fmt: skip
    rows = []
    for s in surveys:
        route = s.route
        begin, end = (f"{m / 1000:g}" if route.part_m[1] < 1e6 else "" for m in route.part_m)
        hours = searched_km(route, roads) / route.km_h
        rows.append((s.number, _minute(s.when), route.protocol, route.roads, begin, end,
                     f"{hours:.1f} hours", route.observers, f"{route.width_m:g}",
                     s.found))  # fmt: skip
    return table(head, rows)


def _minute(when: datetime) -> str:
    return when.isoformat(timespec="minutes")
