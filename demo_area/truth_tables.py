"""What is behind the study, as text: crossings, reports, stretches, deaths."""

from __future__ import annotations

from collections import Counter
from typing import TYPE_CHECKING

import numpy as np
from full_crossings import Over, width_m
from killed import Death, lanes_of
from movement import STRETCHES, Fix, Passage, Stretch, steps_across
from plane import cut, to_lonlat
from road_files import collection, feature, table
from study_tables import report_id

if TYPE_CHECKING:
    from carcasses import Searched
    from road_shapes import Road

    from reports import Report


def _label(road: Road) -> str:
    return road.plan.name or road.plan.ref or f"unnamed {road.plan.kind} road"


def death_id(number: int) -> str:
    """Return the id of a true death, counted from 0."""
    return f"death-{number + 1:03d}"


def true_reports(reports: list[Report], roads: dict[str, Road]) -> str:
    """Return true_reports.csv."""
    head = ("occurrenceID", "true_lon", "true_lat", "road", "stretch", "done", "copy_of", "death")
    rows = []
    for i, r in enumerate(reports):
        lon, lat = to_lonlat(r.true_xy)
        copy_of = "" if r.copy_of is None else report_id(r.copy_of)
        death = "" if r.death is None else death_id(r.death)
        where = (f"{lon:.6f}", f"{lat:.6f}", _label(roads[r.road]))
        rows.append((report_id(i), *where, r.stretch, r.done, copy_of, death))
    return table(head, rows)


def true_deaths(
    deaths: list[Death], searched: Searched, reports: list[Report], roads: dict[str, Road]
) -> str:
    """Return true_deaths.csv; `found_by` says who wrote the carcass down."""
    head = (
        "id", "time", "lon", "lat", "road", "line", "stretch", "animal", "tracked", "sex",
        "lifeStage", "lies_until", "within_width", "found_by",
    )  # fmt: skip
    rows = []
    for k, (d, carcass) in enumerate(zip(deaths, searched.carcasses, strict=True)):
        lon, lat = to_lonlat(carcass.xy)
        told = [r for r in reports if r.death == k]
        by = {"survey" if r.event else "public" for r in told} | ({"radio"} if d.tracked else set())
        rows.append((
            death_id(k), d.when.isoformat(), f"{lon:.6f}", f"{lat:.6f}", _label(roads[d.road]),
            d.road, d.stretch, d.animal, "yes" if d.tracked else "no", d.sex, d.stage,
            carcass.until.isoformat(timespec="minutes"), "yes" if carcass.inside else "no",
            " and ".join(sorted(by)),
        ))  # fmt: skip
    return table(head, rows)


def true_kills(crossings: list[Over], deaths: list[Death], roads: dict[str, Road]) -> str:
    """Return true_kills_by_road.csv: vehicles, crossings of all animals, and deaths of a line."""
    crossed = Counter(over.road for over in crossings)
    head = ("line", "road", "vehicles_a_day", "lanes", "width_m", "crossings", "deaths")
    rows = [
        (key, _label(road), f"{road.plan.aadt:g}", lanes_of(road), f"{width_m(road.plan):g}",
         crossed[key], sum(d.road == key for d in deaths))
        for key, road in roads.items()
        if road.drivable
    ]  # fmt: skip
    return table(head, rows)


def passages_csv(passed: list[Passage], roads: dict[str, Road]) -> str:
    """Return a table of meetings with roads, or of crossings of them."""
    rows = []
    for p in passed:
        lon, lat = to_lonlat(p.xy)
        when = p.when.isoformat(timespec="seconds")
        rows.append((p.animal, when, f"{lon:.6f}", f"{lat:.6f}", _label(roads[p.road]), p.road))
    return table(("animal", "time", "lon", "lat", "road", "line"), rows)


def true_stretches(
    roads: dict[str, Road], fixes: list[Fix], passed: list[Passage], reports: list[Report],
    deaths: list[Death],
) -> str:  # fmt: skip
    """Return true_stretches.geojson."""
    steps = [p for p in steps_across(fixes, roads) if p.on_ground]
    features = []
    for stretch in STRETCHES:
        begin, end = stretch.span(roads)
        walked = [p for p in passed if _on(p, stretch, begin, end)]
        made = [r for r in reports if r.stretch == stretch.name and r.done != "exact duplicate"]
        people = [r for r in made if not r.event]
        fields = {
            "name": stretch.name,
            "road": roads[stretch.road].plan.name,
            "length_m": stretch.length_m,
            "animals": len({p.animal for p in walked}),
            "true_crossings": len(walked),
            "expected_crossings": sum(_on(p, stretch, begin, end) for p in steps),
            "expected_reports": len(made),
            "observers": len({r.observer for r in people if r.observer}),
            "true_deaths": sum(d.stretch == stretch.name for d in deaths),
            "invented": True,
        }
        line = np.asarray(to_lonlat(cut(roads[stretch.road].xy, begin, end)))
        features.append(feature("LineString", line.tolist(), fields))
    return collection(features)


def _on(passage: Passage, stretch: Stretch, begin: float, end: float) -> bool:
    return passage.road == stretch.road and begin <= passage.at_m <= end
