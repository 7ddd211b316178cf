"""Reports that came in after the others: tags that people read, sizes, more dirt.

They have random streams of their own and stand last in the table, so that all rows before them are
what they are without them.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime, timedelta
from typing import TYPE_CHECKING

import numpy as np
from dead_reports import of_dead
from movement import ANIMALS, STRETCHES, ZONE, Walks, active, home_road
from plane import Floats, along, nearest_chainage, stream, to_lonlat

from reports import Report, background_report, written_degrees

if TYPE_CHECKING:
    from dead_reports import Reserved
    from killed import Death
    from road_shapes import Road

DEFAULT_XY = (1000.0, -300.0)  # a pin in the open, 400 m from any road, that nobody moved
_NEAR_ROAD_M = 8.0
_LENGTHS = {"adult": (140, 201), "juvenile": (60, 111), "subadult": (110, 141)}


def later_reports(
    roads: dict[str, Road], walks: Walks, rows_before: int, deaths: list[Death], dead: Reserved
) -> list[Report]:
    """Return the later reports; `copy_of` counts rows of the whole table."""
    return [
        *_tags_read(roads, walks),
        *_found_dead_later(walks, deaths, dead, roads),
        *_one_carcass(deaths, dead, rows_before + 7),
        *_dirt(roads),
    ]


def with_lengths(reports: list[Report]) -> list[Report]:
    """Return the reports with a length in some of the clean ones of live animals."""
    rng = stream("sizes")
    copied = {r.copy_of for r in reports}
    out = []
    for i, report in enumerate(reports):
        asked = report.done == "clean" and i not in copied and report.vitality == "alive"
        if asked and report.stage in _LENGTHS and rng.random() < 0.2:
            out.append(replace(report, length_mm=int(rng.integers(*_LENGTHS[report.stage]))))
        else:
            out.append(report)
    return out


def _tags_read(roads: dict[str, Road], walks: Walks) -> list[Report]:
    """Three right readings of tracked animals, a tag of no animal, one read on another animal."""
    rng = stream("tags read")
    own = [
        _of_animal("T07", 2024, "T07", "tag read", roads, walks, rng),
        _of_animal("T02", 2023, "TO2", "tag misread", roads, walks, rng),
        _of_animal("T11", 2025, "", "tag in remark", roads, walks, rng),
    ]
    own[0] = replace(own[0], iris="amber", plastron="dished")
    own[2] = replace(own[2], remarks="crossing, tag 11 on its shell")
    none = background_report(roads, "coldreed", 400.0, "observer-019", rng)
    else_where = background_report(roads, "ottersike", 500.0, "observer-052", rng)
    when = (datetime(2024, 6, 3, 9, 40, tzinfo=ZONE), datetime(2023, 6, 14, 17, 5, tzinfo=ZONE))
    return [
        *own,
        replace(none, when=when[0], has_time=True, tag="T42", done="tag of no animal"),
        replace(else_where, when=when[1], has_time=True, tag="T05", sex="male",
                done="tag of an animal elsewhere"),
    ]  # fmt: skip


def _of_animal(
    number: str, year: int, tag: str, done: str, roads: dict[str, Road],
    walks: Walks, rng: np.random.Generator,
) -> Report:  # fmt: skip
    """Return a report of a tagged animal while it walked beside its road."""
    which = next(i for i, a in enumerate(ANIMALS) if a.number == number)
    animal = ANIMALS[which]
    key = home_road(animal, roads)[0]
    road = roads[key].xy
    rows = [
        k
        for k, when in enumerate(walks.when)
        if when.year == year and 5 <= when.month <= 9 and active(when.hour, when.month)
    ]
    off = [
        float(np.hypot(*(along(road, nearest_chainage(road, p))[0] - p)))
        for p in walks.xy[rows, which]
    ]
    near = [k for k, gap in zip(rows, off, strict=True) if gap < _NEAR_ROAD_M]
    row = near[int(rng.integers(len(near)))]
    place: Floats = walks.xy[row, which]
    at = nearest_chainage(road, place)
    observer = f"observer-{int(rng.integers(1, 41)):03d}"
    stretch = STRETCHES[animal.home] if isinstance(animal.home, int) else None
    begin, end = stretch.span(roads) if stretch else (0.0, 0.0)
    report = background_report(roads, key, at, observer, rng)
    return replace(
        report,
        when=walks.when[row],
        has_time=True,
        true_xy=place,
        lonlat=written_degrees(place + rng.normal(size=2) * 5),
        uncertainty_m=15,
        sex=animal.sex if rng.random() < 0.5 else "",
        stage=animal.stage,
        remarks="",
        length_mm=int(rng.integers(*_LENGTHS[animal.stage])),
        at_m=at,
        stretch=stretch.name if stretch and begin <= at <= end else "",
        tag=tag,
        done=done,
    )


def _found_dead_later(
    walks: Walks, deaths: list[Death], dead: Reserved, roads: dict[str, Road]
) -> list[Report]:
    """One animal, no longer tracked, seen alive and found dead twelve days later."""
    rng = stream("found dead later")
    death = deaths[dead.of_t08]
    found = of_dead(dead.of_t08, death, death.when + timedelta(hours=2), rng)
    seen = background_report(roads, death.road, death.at_m, "observer-021", rng)
    at = death.xy + rng.normal(size=2) * 2
    alive = replace(
        seen, when=found.when - timedelta(days=12, hours=2), has_time=True, true_xy=at,
        lonlat=written_degrees(at), uncertainty_m=15, sex="", stage="adult", remarks="",
        stretch=death.stretch, tag="T08", iris="slate grey", plastron="flat", condition="",
        done="alive, found dead later",
    )  # fmt: skip
    return [
        alive,
        replace(found, has_time=True, lonlat=written_degrees(at), uncertainty_m=15, sex="",
                stage="adult", observer="observer-033", remarks="shell cracked", tag="t 08",
                condition="", done="found dead, seen alive before"),
    ]  # fmt: skip


def _one_carcass(deaths: list[Death], dead: Reserved, first: int) -> list[Report]:
    """Three people report one carcass within two days."""
    rng = stream("one carcass")
    death = deaths[dead.of_three]
    found: list[Report] = []
    for hours, observer, length in ((0, 12, 172), (7, 27, None), (31, 60, 168)):
        when = death.when + timedelta(hours=hours + 1, minutes=int(rng.integers(0, 50)))
        found.append(
            replace(
                of_dead(dead.of_three, death, when, rng),
                has_time=True,
                lonlat=written_degrees(death.xy + rng.normal(size=2) * 7),
                uncertainty_m=20,
                sex="",
                stage="adult",
                observer=f"observer-{observer:03d}",
                remarks="shell cracked" if hours else "by the passing place, shell cracked",
                length_mm=length,
                condition="",
                done="one carcass, three people",
                copy_of=first if found else None,
            )
        )
    return found


def _dirt(roads: dict[str, Road]) -> list[Report]:
    """Return a lost digit, a pin that three people left, an e-mail address, a sex that can't be."""
    rng = stream("later dirt")
    cut = background_report(roads, "brackwell-south", 480.0, "observer-008", rng)
    lon, lat = cut.lonlat
    # The first digit of the latitude is lost.
    out = [replace(cut, lonlat=(lon, lat[1:]), done="truncated coordinate")]
    lon_lat = to_lonlat(np.array(DEFAULT_XY))
    pin = (f"{lon_lat[0]:.5f}", f"{lon_lat[1]:.5f}")
    for key, at, observer, day in (
        ("pellow", 900.0, "observer-005", datetime(2023, 5, 21, 15, 20, tzinfo=ZONE)),
        ("mirefield", 2500.0, "observer-036", datetime(2024, 7, 2, 9, 10, tzinfo=ZONE)),
        ("fennick", 700.0, "observer-070", datetime(2025, 9, 6, 11, 45, tzinfo=ZONE)),
    ):
        report = background_report(roads, key, at, observer, rng)
        out.append(
            replace(report, when=day, has_time=True, lonlat=pin, uncertainty_m=25,
                    done="default position")
        )  # fmt: skip
    mail = background_report(roads, "wrenfold", 350.0, "observer-061", rng)
    words = "write to wader@example.org for the picture"
    out.append(replace(mail, remarks=words, done="e-mail in remark"))
    odd = background_report(roads, "hollow", 900.0, "observer-044", rng)
    return [
        *out,
        replace(odd, sex="female", stage="adult", iris="amber", plastron="dished", length_mm=162,
                done="sex and features disagree"),
    ]  # fmt: skip
