"""Reports of the true deaths: what the public saw lying there, and what surveys wrote down."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import timedelta
from typing import TYPE_CHECKING

import numpy as np
from carcasses import SURVEYOR
from movement import RADIUS_95_PER_SD, STRETCHES
from plane import stream

from reports import OBSERVERS, REPEATER, Report, gravid, written_degrees

if TYPE_CHECKING:
    from datetime import datetime

    from carcasses import Searched
    from killed import Death

SURVEY = "carcass survey"
# Reports a day of a carcass where 100 vehicles pass; more traffic, more reports, less than in
# proportion. Nobody reports one that has lain there for longer than the days below.
_A_DAY, _FRESH_DAYS = 0.2, 12.0
_FIRST_HOUR, _LAST_HOUR = 7, 19
_REMARKS = ("", "", "shell cracked", "on the white line", "verge freshly mown", "after rain")


@dataclass(frozen=True)
class Reserved:
    """Two true deaths that only later reports are about: T08's, and one that three people saw."""

    of_t08: int
    of_three: int


def reserved(deaths: list[Death], searched: Searched) -> Reserved:
    """Find two deaths that no survey found: at T08's stretch in 2025, and off the stretches."""
    met = {f.death for f in searched.finds}

    def fits(k: int, hours: int) -> bool:
        lies = searched.carcasses[k].until - searched.carcasses[k].since
        free = k not in met and deaths[k].animal == "" and searched.carcasses[k].inside
        return free and lies > timedelta(hours=hours)

    own = STRETCHES[1].name
    numbers = range(len(deaths))
    t08 = (
        k for k in numbers
        if deaths[k].stretch == own and deaths[k].when.year == 2025 and fits(k, 4)
        and deaths[k].when.month >= 5 and deaths[k].when.hour < 16
    )  # fmt: skip
    three = (k for k in numbers if deaths[k].stretch == "" and fits(k, 34))
    return Reserved(next(t08), next(three))


def public_reports(
    deaths: list[Death], searched: Searched, aadt: dict[str, float], kept: Reserved
) -> list[Report]:
    """Return what people reported of carcasses; `copy_of` is the first report of the same one."""
    rng = stream("reports of the dead")
    found: list[Report] = []
    for k, (death, carcass) in enumerate(zip(deaths, searched.carcasses, strict=True)):
        days = (carcass.until - carcass.since).total_seconds() / 86_400
        days = min(days, _FRESH_DAYS)
        many = int(rng.poisson(_A_DAY * float(np.sqrt(aadt[death.road] / 100)) * days))
        times = np.sort(rng.uniform(0, days, many)).tolist()
        first = None
        for after in times:
            when = death.when + timedelta(minutes=int(after * 1440))
            report = _public(k, death, when, rng)
            if k in (kept.of_t08, kept.of_three) or not carcass.inside:
                continue
            if not _FIRST_HOUR <= when.hour < _LAST_HOUR:
                continue
            if first is None:
                first = len(found)
                found.append(report)
            else:
                found.append(replace(report, done="one carcass, another report", copy_of=first))
    return found


def survey_reports(deaths: list[Death], searched: Searched) -> list[Report]:
    """Return what surveys wrote down; `copy_of` is the row on which they met a carcass first."""
    rng = stream("surveyed carcasses")
    first: dict[int, int] = {}
    found: list[Report] = []
    for find in searched.finds:
        death = deaths[find.death]
        again = find.action == "already marked"
        xy = death.xy + rng.normal(size=2) * 2
        report = of_dead(find.death, death, find.when, rng)
        found.append(
            replace(
                report,
                has_time=True,
                lonlat=written_degrees(xy),
                uncertainty_m=10,
                sex=death.sex if rng.random() < 0.6 else "",
                stage=death.stage,
                tag=death.animal if death.tracked else "",
                observer=SURVEYOR,
                remarks="",
                status="verified",
                protocol=SURVEY,
                event=find.survey,
                carcass_action=find.action,
                length_mm=int(rng.integers(140, 201)) if death.stage == "adult" else None,
                done="carcass met again by a survey" if again else "carcass of a survey",
                copy_of=first[find.death] if again else None,
            )
        )
        first.setdefault(find.death, len(found) - 1)
    return found


def _public(number: int, death: Death, when: datetime, rng: np.random.Generator) -> Report:
    who = int(rng.integers(1, OBSERVERS + 1))
    name = f"observer-{who:03d}"
    anonymous = rng.random() < 0.06 or name == REPEATER
    return replace(of_dead(number, death, when, rng), observer="" if anonymous else name)


def of_dead(number: int, death: Death, when: datetime, rng: np.random.Generator) -> Report:
    """Return a report of one of the true deaths, of nobody's yet."""
    uncertainty = int(
        rng.choice([10, 15, 20, 25, 30, 50, 80], p=[0.25, 0.2, 0.2, 0.1, 0.12, 0.08, 0.05])
    )
    written = death.xy + rng.normal(size=2) * uncertainty / RADIUS_95_PER_SD
    sex = death.sex if rng.random() < 0.4 else ""
    stage = death.stage if rng.random() < 0.7 else ""
    return Report(
        when=when,
        received=when,
        has_time=bool(rng.random() > 0.2),
        true_xy=death.xy,
        lonlat=written_degrees(written),
        uncertainty_m=uncertainty,
        vitality="dead",
        sex=sex,
        stage=stage,
        behavior="",
        observer="",
        remarks=str(rng.choice(_REMARKS)),
        media=bool(rng.random() < 0.35),
        status=str(rng.choice(["verified", "unverified", ""], p=[0.45, 0.4, 0.15])),
        road=death.road,
        at_m=death.at_m,
        stretch=death.stretch,
        condition=gravid(sex, stage, death.when.month, rng),
        death=number,
    )
