"""Invented animals: where they live, how they move, when they were found.

An animal drifts round its home: a velocity that remembers half an hour, pulled home over ten
active hours (an Ornstein-Uhlenbeck process with velocity), on an activity clock, with rests.
Only elementwise arithmetic, so that every machine gets the same bytes.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date, datetime, timedelta, timezone
from itertools import pairwise
from typing import TYPE_CHECKING

import numpy as np
from plane import Floats, beside, meetings, nearest_chainage, stream

if TYPE_CHECKING:
    from numpy.typing import NDArray
    from road_shapes import Road

ZONE = timezone(timedelta(hours=2))  # Europe/Warsaw in summer, all that the study covers
SEASONS = (2023, 2024, 2025)
RADIUS_95_PER_SD = 2.4477  # of a bivariate normal error, as the stated uncertainty is meant

_STEP_H = 1 / 6
_FIRST_HOUR, _LAST_HOUR = 7, 20
_STEPS_A_DAY = (_LAST_HOUR - _FIRST_HOUR) * 6
PULL_H, MEMORY_H = 10.0, 0.5  # of moving time
REST_BEGINS, REST_ENDS = 0.05, 0.2  # chance at each step

# The warm middle of the day in spring and autumn; morning and late afternoon in summer.
ACTIVE_HOURS = (
    ((5, 6, 7, 8, 9), ((8, 12), (15.5, 19))),
    ((4, 10), ((10, 16),)),
)
SEASON_MONTHS = (4, 5, 6, 7, 8, 9, 10)


@dataclass(frozen=True)
class Stretch:
    """A true stretch: where far more animals cross than elsewhere."""

    name: str
    road: str
    near: tuple[float, float]
    length_m: float
    reports: int

    def span(self, roads: dict[str, Road]) -> tuple[float, float]:
        """Return the distances along the road at which the stretch begins and ends [m]."""
        middle = nearest_chainage(roads[self.road].xy, np.array(self.near))
        return middle - self.length_m / 2, middle + self.length_m / 2


STRETCHES = (
    Stretch("Vellmark Road by the pond", "main-west", (-1990, -35), 300, 60),
    Stretch("Tarnholt Lane at the alders", "tarnholt-north", (-420, 1180), 250, 50),
    Stretch("Dunsallow Drove in the dip", "drove", (40, -930), 280, 52),
)


@dataclass(frozen=True)
class Animal:
    """One tagged animal.

    `sd_m` is the standard deviation of its places on each axis [m]. `home` is a stretch's
    index, or a road and a place on it; the home's middle lies `along_m` farther along the
    road and `left_sd` times `sd_m` to the left of it.
    """

    number: str
    sex: str
    stage: str
    mass_g: int
    tag_g: float
    channel: str
    seasons: tuple[int, ...]
    sd_m: float
    home: int | tuple[str, float, float]
    along_m: float
    left_sd: float


# Homes at the true stretches first, then those elsewhere. `residents.py` holds the others.
ANIMALS = (
    Animal("T01", "female", "adult", 640, 18.5, "CH01", (2023, 2024), 31, 0, -70, -1.6),
    Animal("T02", "male", "adult", 585, 18.5, "CH02", (2023, 2024), 28, 0, -20, 1.7),
    Animal("T03", "female", "adult", 610, 18.5, "CH03", (2024, 2025), 33, 0, 30, -1.65),
    Animal("T04", "female", "juvenile", 290, 16.0, "CH04", (2025,), 25, 0, 75, -1.5),
    Animal("T05", "male", "adult", 560, 18.5, "CH05", (2023, 2025), 29, 0, 5, 1.6),
    Animal("T06", "female", "adult", 655, 18.5, "CH06", (2023, 2024), 26, 1, -45, 1.3),
    Animal("T07", "male", "adult", 570, 18.5, "CH07", (2024, 2025), 30, 1, 0, -1.3),
    Animal("T08", "female", "adult", 625, 18.5, "CH08", (2024,), 27, 1, 45, 1.2),
    Animal("T09", "male", "adult", 540, 18.5, "CH09", (2023, 2025), 24, 1, 15, -1.3),
    Animal("T10", "female", "adult", 600, 18.5, "CH10", (2023, 2024), 30, 2, -55, -1.4),
    Animal("T11", "male", "adult", 575, 18.5, "CH11", (2024, 2025), 27, 2, -10, 1.5),
    Animal("T12", "female", "adult", 645, 18.5, "CH12", (2025,), 29, 2, 20, 1.4),
    Animal("T13", "female", "subadult", 410, 18.5, "CH13", (2023, 2024), 25, 2, 55, -1.5),
    # Under the long bridge of Vellmark Road, by the creek: passes below, no crossing.
    Animal("T14", "male", "adult", 555, 18.5, "CH14", (2024, 2025), 22,
           ("main-west", -975, -28), 0, 0.2),
    # Beside the dual carriageway, beside a lane, and far from any road.
    Animal("T15", "female", "adult", 630, 18.5, "CH15", (2023, 2024), 30,
           ("torvane-out", 2150, 690), 0, -3.3),
    Animal("T16", "male", "adult", 590, 18.5, "CH16", (2023, 2025), 32,
           ("mirefield", -200, -1660), 0, 2.7),
    Animal("T17", "female", "adult", 615, 18.5, "CH16", (2024, 2025), 35,
           ("fennick", -2450, -700), 0, 14.0),
    Animal("T18", "male", "adult", 580, 18.5, "CH18", (2023,), 28,
           ("coldreed", 2300, 1300), 0, -9.0),
)  # fmt: skip


@dataclass(frozen=True)
class Walks:
    """Simulated places: `xy` has shape (steps, animals, 2), `when` the time of each step."""

    when: tuple[datetime, ...]
    xy: Floats


@dataclass(frozen=True)
class Fix:
    """One located animal: true and recorded place, and how it was found."""

    animal: int
    when: datetime
    has_time: bool
    true_xy: Floats
    xy: Floats
    uncertainty_m: int
    method: str


@dataclass(frozen=True)
class Passage:
    """One meeting of a walked path with a road."""

    animal: str
    when: datetime
    xy: Floats
    road: str
    at_m: float
    on_ground: bool


def homes(animals: tuple[Animal, ...], roads: dict[str, Road]) -> Floats:
    """Return the middle of each animal's home, shape (animals, 2)."""
    found = []
    for a in animals:
        road, at = home_road(a, roads)
        found.append(beside(roads[road].xy, at, a.left_sd * a.sd_m)[0])
    return np.array(found)


def home_road(animal: Animal, roads: dict[str, Road]) -> tuple[str, float]:
    """Return the road an animal's home lies beside, and how far along it [m]."""
    if isinstance(animal.home, int):
        road, near = STRETCHES[animal.home].road, STRETCHES[animal.home].near
    else:
        road, near = animal.home[0], animal.home[1:]
    return road, nearest_chainage(roads[road].xy, np.array(near)) + animal.along_m


def walk(animals: tuple[Animal, ...], roads: dict[str, Road], name: str) -> Walks:
    """Simulate animals through all seasons at steps of ten minutes, by a stream of that name."""
    rng = stream(name)
    days = [d for y in SEASONS for d in _days(date(y, 4, 1), date(y, 10, 31))]
    many = len(animals)
    sd = np.array([a.sd_m for a in animals])[:, None]
    # The velocity's spread that gives places the wanted spread round the home.
    speed_sd = sd * np.sqrt((PULL_H + MEMORY_H) / MEMORY_H) / PULL_H
    keep = 1 - _STEP_H / MEMORY_H
    fresh = np.sqrt(1 - keep * keep) * speed_sd
    x, v = rng.normal(size=(2, many, 2)) * (sd, speed_sd)
    resting = np.zeros(many, dtype=bool)
    places = np.empty((len(days) * _STEPS_A_DAY, many, 2))
    when = []
    row = 0
    for day in days:
        out = rng.random(many) > share_of_days_inside(day.month)
        for step in range(_STEPS_A_DAY):
            hour = _FIRST_HOUR + step * _STEP_H
            resting = np.where(
                resting,
                rng.random(len(resting)) > REST_ENDS,
                rng.random(len(resting)) < REST_BEGINS,
            )
            moving = (out & ~resting & active(hour, day.month))[:, None]
            x = np.where(moving, x + _STEP_H * (v - x / PULL_H), x)
            v = np.where(moving, keep * v + fresh * rng.normal(size=v.shape), v)
            places[row] = x
            when.append(datetime(day.year, day.month, day.day, tzinfo=ZONE) + timedelta(hours=hour))
            row += 1
    return Walks(tuple(when), places + homes(animals, roads))


def _days(first: date, last: date) -> list[date]:
    return [first + timedelta(days=i) for i in range((last - first).days + 1)]


def active(hour: float, month: int) -> bool:
    """Tell whether animals move about at all at that hour of the local day."""
    return any(
        begin <= hour < end
        for months, spells in ACTIVE_HOURS
        if month in months
        for begin, end in spells
    )


def share_of_days_inside(month: int) -> float:
    """Return the share of days on which an animal stays where it is."""
    return {4: 0.5, 7: 0.3, 8: 0.35, 9: 0.3, 10: 0.6}.get(month, 0.15)


def locate(walks: Walks) -> list[Fix]:
    """Find each tagged animal every two to four days, with gaps, with error."""
    start = {w: i for i, w in enumerate(walks.when)}
    fixes = []
    for i, animal in enumerate(ANIMALS):
        rng = stream(f"fixes {animal.number}")
        for year in animal.seasons:
            day = date(year, 4, 10) + timedelta(days=int(rng.integers(0, 8)))
            while day <= date(year, 10, 20):
                minute = int(rng.integers(8 * 60, 18 * 60))
                slot = datetime(day.year, day.month, day.day, tzinfo=ZONE) + timedelta(
                    minutes=minute - minute % 10
                )
                fixes.append(_fix(i, slot, walks.xy[start[slot], i], rng))
                gap = rng.random() < 0.03
                day += timedelta(days=int(rng.integers(9, 21) if gap else rng.integers(2, 5)))
    return fixes


def _fix(animal: int, when: datetime, place: Floats, rng: np.random.Generator) -> Fix:
    homed = bool(rng.random() < 0.7)
    uncertainty = int(rng.integers(5, 9) if homed else rng.integers(9, 16))
    error = rng.normal(size=2) * uncertainty / RADIUS_95_PER_SD
    has_time = bool(rng.random() > 0.08)
    method = "homed in" if homed else "triangulated"
    return Fix(animal, when, has_time, place, place + error, uncertainty, method)


def passages(walks: Walks, fixes: list[Fix], roads: dict[str, Road]) -> list[Passage]:
    """Find every meeting of the walked paths with a road while the animals were tracked.

    Each carriageway of a dual carriageway counts by itself. Tracked means from a season's
    first fix to its last.
    """
    found = []
    clock = np.array([w.timestamp() for w in walks.when])
    for i, animal in enumerate(ANIMALS):
        for year in animal.seasons:
            seen = [f.when.timestamp() for f in fixes if f.animal == i and f.when.year == year]
            if not seen:
                continue
            rows = np.flatnonzero((clock >= min(seen)) & (clock <= max(seen)))
            path = walks.xy[rows, i]
            for key, road in roads.items():
                if road.drivable:
                    found += _met(animal.number, path, rows, walks.when, key, road)
    return sorted(found, key=lambda p: (p.animal, p.when, p.road, p.at_m))


def _met(
    animal: str, path: Floats, rows: NDArray[np.int64], when: tuple[datetime, ...],
    key: str, road: Road,
) -> list[Passage]:  # fmt: skip
    found = []
    for step, share in zip(*meetings(path, road.xy), strict=True):
        place = path[step] + share * (path[step + 1] - path[step])
        began, ended = when[rows[step]], when[rows[step + 1]]
        at = nearest_chainage(road.xy, place)
        ground = bool(road.on_ground(np.array([at]))[0])
        moment = began + timedelta(seconds=int(float(share) * (ended - began).total_seconds()))
        found.append(Passage(animal, moment, place, key, at, ground))
    return found


def steps_across(
    fixes: list[Fix], roads: dict[str, Road], longest_days: float = 7.0
) -> list[Passage]:
    """Find where straight steps between recorded fixes meet a road."""
    found = []
    for i, animal in enumerate(ANIMALS):
        own = [f for f in fixes if f.animal == i]
        for a, b in pairwise(own):
            if (b.when - a.when).total_seconds() > longest_days * 86_400:
                continue
            step = np.vstack([a.xy, b.xy])
            for key, road in roads.items():
                if road.drivable:
                    found += _met(
                        animal.number, step, np.array([0, 1]), (a.when, b.when), key, road
                    )
    return found
