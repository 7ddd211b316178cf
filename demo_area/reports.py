"""Invented reports from the public: where they truly were, and the dirt that real ones have."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from typing import TYPE_CHECKING

import numpy as np
from full_crossings import Over
from movement import RADIUS_95_PER_SD, SEASONS, STRETCHES, ZONE
from plane import Floats, beside, chainage, stream, to_lonlat

if TYPE_CHECKING:
    from collections.abc import Callable

    from numpy.typing import NDArray
    from road_shapes import Road

SPECIES = "Testudo ficta"
OTHER_SPECIES = "Rana ficta"
OBSERVERS = 78
REPEATER = "observer-041"

_BACKGROUND = 62
_FROM_ONE_PLACE = 15
_REPEATER_ROAD, _REPEATER_SHARE = "end-2", 0.6  # a garden gate on Heron Close
_MONTH_WEIGHTS = {4: 0.12, 5: 0.24, 6: 0.24, 7: 0.12, 8: 0.09, 9: 0.13, 10: 0.06}
_REMARKS_ALIVE = (
    "", "", "crossing from the wet side", "carried over in its direction of travel",
    "car in front braked", "after rain", "small one, about a hand long", "seen from the bus",
    'my daughter calls it "the old lady"', "near the ditch, café side", "two cars waited",
)  # fmt: skip
_GRAVID_MONTHS, _GRAVID = (5, 6), 0.4


@dataclass(frozen=True)
class Report:
    """One report: what is written in the table, and the truth behind it."""

    when: datetime
    received: datetime
    has_time: bool
    true_xy: Floats
    lonlat: tuple[str, str]
    uncertainty_m: int | None
    vitality: str
    sex: str
    stage: str
    behavior: str
    observer: str
    remarks: str
    media: bool
    status: str
    road: str
    at_m: float
    stretch: str = ""
    species: str = SPECIES
    done: str = "clean"
    copy_of: int | None = None  # index into the list before it is put into order
    tag: str = ""
    length_mm: int | None = None
    iris: str = ""
    plastron: str = ""
    protocol: str = ""
    carcass_action: str = ""
    condition: str = ""  # reproductiveCondition
    event: str = ""  # the survey that found it
    death: int | None = None  # which of the true deaths it is about


def make_reports(
    roads: dict[str, Road], crossings: list[Over], dead: list[Report], found: list[Report]
) -> list[Report]:
    """Return the reports of the seasons in the order in which they came in.

    Live animals are seen where and when some animal crossed. `dead` are what the public reported
    of true deaths, `found` what surveys did; there are fewer reports of live animals the more
    there are of dead ones. `copy_of` of both counts their own rows.
    """
    on = [r for r in dead if r.stretch]
    off = [r for r in dead if not r.stretch]
    clean = [
        *on,
        *_on_stretches(roads, crossings, on),
        *off,
        *_background(roads, crossings, len(off)),
    ]
    gate = len(clean)
    clean += _from_one_place(roads)
    clean = _linked(clean, dead)
    dirty = _with_dirt(clean, roads, gate)
    dirty += [
        replace(r, copy_of=None if r.copy_of is None else r.copy_of + len(dirty)) for r in found
    ]
    order = sorted(range(len(dirty)), key=lambda i: (dirty[i].received, i))
    rank = {old: new for new, old in enumerate(order)}
    return [
        replace(r, copy_of=None if r.copy_of is None else rank[r.copy_of])
        for r in (dirty[i] for i in order)
    ]


def _linked(reports: list[Report], dead: list[Report]) -> list[Report]:
    """Let `copy_of` count these reports, and no longer those of the dead alone."""
    now = {id(r): k for k, r in enumerate(reports)}
    return [
        r if r.copy_of is None else replace(r, copy_of=now[id(dead[r.copy_of])]) for r in reports
    ]


def _on_stretches(
    roads: dict[str, Road], crossings: list[Over], dead: list[Report]
) -> list[Report]:
    rng = stream("reports on stretches")
    found = []
    for stretch in STRETCHES:
        here = [
            o for o in crossings if o.road == stretch.road and _inside(o.at_m, stretch.span(roads))
        ]
        # Fifty people pass each stretch; who reports is anybody of them.
        passers = rng.choice(np.arange(1, OBSERVERS + 1), 50, replace=False)
        for _ in range(stretch.reports - sum(r.stretch == stretch.name for r in dead)):
            over = here[int(rng.integers(len(here)))]
            observer = _observer(int(rng.choice(passers)), rng)
            found.append(_report(roads, over, observer, rng, stretch.name))
    return found


def _background(roads: dict[str, Road], crossings: list[Over], dead: int) -> list[Report]:
    rng = stream("background reports")
    # Who is there to see it: grows with traffic, less than in proportion.
    weight = np.sqrt([roads[o.road].plan.aadt for o in crossings])
    people = 1.0 / np.arange(1, OBSERVERS + 1) ** 0.35
    found: list[Report] = []
    while len(found) < _BACKGROUND - dead:
        over = crossings[int(rng.choice(len(crossings), p=weight / weight.sum()))]
        near = (s.span(roads) for s in STRETCHES if s.road == over.road)
        if any(_inside(over.at_m, span, 30.0) for span in near):
            continue
        who = _observer(int(rng.choice(OBSERVERS, p=people / people.sum())) + 1, rng)
        found.append(_report(roads, over, who, rng))
    return found


def _inside(at: float, span: tuple[float, float], margin: float = 0.0) -> bool:
    return span[0] - margin <= at <= span[1] + margin


def _from_one_place(roads: dict[str, Road]) -> list[Report]:
    rng = stream("reports from one place")
    at = float(chainage(roads[_REPEATER_ROAD].xy)[-1]) * _REPEATER_SHARE
    found = []
    for _ in range(_FROM_ONE_PLACE):
        here = at + float(rng.normal(0, 4))
        report = _report(roads, _any_time(_REPEATER_ROAD, here, rng), REPEATER, rng)
        found.append(replace(report, remarks="same one again at our gate"))
    return found


def _observer(number: int, rng: np.random.Generator) -> str:
    name = f"observer-{number:03d}"
    return "" if rng.random() < 0.06 or name == REPEATER else name


def _any_time(key: str, at_m: float, rng: np.random.Generator) -> Over:
    """Return a crossing of a place on a road at any time of the seasons."""
    months = list(_MONTH_WEIGHTS)
    month = int(rng.choice(months, p=list(_MONTH_WEIGHTS.values())))
    when = datetime(
        int(rng.choice(SEASONS)), month, int(rng.integers(1, 31)),
        int(rng.integers(7, 20)), int(rng.integers(0, 60)), tzinfo=ZONE,
    )  # fmt: skip
    return Over(key, at_m, np.zeros(2), when, 0)


def _report(
    roads: dict[str, Road], over: Over, observer: str, rng: np.random.Generator, stretch: str = ""
) -> Report:
    """Return a report of a live animal, or of one that may be, on a road."""
    when, key, at = over.met.replace(second=0), over.road, over.at_m
    place = beside(roads[key].xy, at, float(rng.uniform(-4, 4)))[0]
    uncertainty = int(
        rng.choice([10, 15, 20, 25, 30, 50, 80], p=[0.25, 0.2, 0.2, 0.1, 0.12, 0.08, 0.05])
    )
    written = place + rng.normal(size=2) * uncertainty / RADIUS_95_PER_SD
    draw = rng.random()
    vitality = "uncertain" if draw > 0.94 else "alive"
    doing = str(rng.choice(["crossing road", "crossing road", "on verge", "basking"]))
    sex = str(rng.choice(["female", "male", ""], p=[0.3, 0.15, 0.55]))
    stage = str(rng.choice(["adult", "juvenile", ""], p=[0.6, 0.1, 0.3]))
    return Report(
        when=when,
        received=when,
        has_time=bool(rng.random() > 0.2),
        true_xy=place,
        lonlat=written_degrees(written),
        uncertainty_m=uncertainty,
        vitality=vitality,
        sex=sex,
        stage=stage,
        behavior=doing if vitality == "alive" else "",
        observer=observer,
        remarks=str(rng.choice(_REMARKS_ALIVE)),
        media=bool(rng.random() < 0.35),
        status=str(rng.choice(["verified", "unverified", ""], p=[0.45, 0.4, 0.15])),
        road=key,
        at_m=at,
        stretch=stretch,
        condition=gravid(sex, stage, when.month, rng),
    )


def gravid(sex: str, stage: str, month: int, rng: np.random.Generator) -> str:
    """Return "gravid" for some of the females that an observer looked at in early summer."""
    may_be = sex == "female" and stage != "juvenile" and month in _GRAVID_MONTHS
    return "gravid" if rng.random() < _GRAVID and may_be else ""


def background_report(
    roads: dict[str, Road], key: str, at_m: float, observer: str, rng: np.random.Generator
) -> Report:
    """Return a report of a live animal on a road, to be changed by whoever asks."""
    report = _report(roads, _any_time(key, at_m, rng), observer, rng)
    return replace(report, vitality="alive", behavior="crossing road")


def written_degrees(xy: Floats) -> tuple[str, str]:
    """Return longitude and latitude as a phone writes them, to 5 decimals (1 m)."""
    lon, lat = to_lonlat(xy)
    return f"{lon:.5f}", f"{lat:.5f}"


def _with_dirt(clean: list[Report], roads: dict[str, Road], gate: int) -> list[Report]:
    """Spoil some reports and add copies; each report is spoilt in one way only."""
    rng = stream("dirt")
    out = list(clean)
    said = {r.copy_of for r in clean}
    first_background = sum(s.reports for s in STRETCHES)

    def plain(numbers: NDArray[np.int64]) -> list[int]:
        return [int(i) for i in numbers if clean[i].done == "clean" and i not in said]

    background = plain(rng.permutation(np.arange(first_background, gate)))
    stretches = plain(rng.permutation(first_background))
    at_gate = list(rng.permutation(np.arange(gate, len(clean))))

    def spoil(pool: list[int], many: int, change: Callable[[Report], Report]) -> None:
        for _ in range(many):
            i = int(pool.pop())
            out[i] = change(out[i])

    spoil(background, 2, lambda r: _in_year(r, 2015))
    spoil(background, 1, lambda r: _in_year(r, 2205))
    spoil(background, 3, lambda r: replace(r, lonlat=r.lonlat[::-1], done="swapped coordinates"))
    spoil(background, 1, _forty_km_off)
    spoil(background, 2, lambda r: replace(r, lonlat=("0", "0"), done="zero coordinates"))
    spoil(background, 5, _coarse)
    spoil(background, 4, lambda r: replace(r, uncertainty_m=None, done="uncertainty missing"))
    spoil(stretches, 4, lambda r: replace(r, uncertainty_m=None, done="uncertainty missing"))
    script = "<script>document.title='remark ran'</script> on the verge"
    spoil(stretches, 1, lambda r: replace(r, remarks=script, done="script in remark"))
    spoil(stretches, 1, lambda r: replace(r, remarks="=1+1", done="formula in remark"))
    phone = "please call 555-0100, I have more pictures"
    spoil(background, 1, lambda r: replace(r, remarks=phone, done="phone number in remark"))
    spoil(background, 3, lambda r: replace(r, species=OTHER_SPECIES, done="another species"))
    named = [i for i in stretches if clean[i].observer]
    out += [_exact_copy(clean, int(at_gate.pop())) for _ in range(3)]
    out += [_exact_copy(clean, int(named.pop())) for _ in range(4)]
    out += [_near_copy(clean, int(named.pop()), roads, rng) for _ in range(5)]
    return out


def _in_year(report: Report, year: int) -> Report:
    return replace(report, when=report.when.replace(year=year), done=f"wrong year {year}")


def _forty_km_off(report: Report) -> Report:
    away = np.array([24_000.0, 32_000.0])
    return replace(report, lonlat=written_degrees(report.true_xy + away), done="40 km off")


def _coarse(report: Report) -> Report:
    lon, lat = (f"{float(v):.2f}" for v in report.lonlat)
    return replace(report, lonlat=(lon, lat), done="coordinates to 2 decimals")


def _exact_copy(clean: list[Report], i: int) -> Report:
    later = clean[i].when + timedelta(minutes=int(clean[i].has_time))
    return replace(clean[i], when=later, received=later, done="exact duplicate", copy_of=i)


def _near_copy(
    clean: list[Report], i: int, roads: dict[str, Road], rng: np.random.Generator
) -> Report:
    """Return the report of a second person who passed the same animal within the hour."""
    seen = clean[i]
    others = [
        n for n in range(1, OBSERVERS + 1) if f"observer-{n:03d}" not in (seen.observer, REPEATER)
    ]
    who = f"observer-{int(rng.choice(others)):03d}"
    other = _report(roads, _any_time(seen.road, seen.at_m, rng), who, rng, seen.stretch)
    when = seen.when + timedelta(minutes=int(rng.integers(5, 50)))
    return replace(
        other,
        when=when,
        received=when,
        has_time=seen.has_time,
        true_xy=seen.true_xy,
        lonlat=written_degrees(seen.true_xy + rng.normal(size=2) * 8),
        uncertainty_m=20,
        vitality=seen.vitality,
        sex=seen.sex,
        stage=seen.stage,
        behavior=seen.behavior,
        condition="",
        death=seen.death,
        remarks="",
        done="near duplicate",
        copy_of=i,
    )
