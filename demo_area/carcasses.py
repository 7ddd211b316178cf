"""What becomes of the carcasses: how long they lie, and which of them the surveys find."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import date, datetime, timedelta
from typing import TYPE_CHECKING

from movement import SEASONS, ZONE
from plane import Floats, beside, chainage, nearest_chainage, stream

if TYPE_CHECKING:
    import numpy as np
    from killed import Death
    from road_shapes import Road

STAY_SHAPE, STAY_SCALE_D = 0.7, 11.0  # Weibull: half are gone within 6.5 days, some stay for weeks
WITHIN_WIDTH = 0.88
FOUND_FIRST = {"walk": 0.75, "car": 0.4}
FOUND_LATER = 0.6  # factor on that chance with every search that missed it
SURVEYOR = "survey-crew"
_REMOVED, _MARKED_AGAIN = 0.7, 0.8
_SKIPPED = 0.06


@dataclass(frozen=True)
class Route:
    """What one survey covers: road keys, and for a part of one from where to where [m]."""

    name: str
    protocol: str
    weekday: int
    keys: tuple[str, ...]
    roads: str
    km_h: float
    observers: int
    width_m: float
    part_m: tuple[float, float] = (0.0, 1e9)

    def covers(self, key: str, at_m: float) -> bool:
        """Tell whether a place on a road is searched."""
        return key in self.keys and self.part_m[0] <= at_m <= self.part_m[1]


# Vellmark Road is walked by the agency's measures; the others go by name.
ROUTES = (
    Route("A", "walk", 1, ("main-west",), "Q7", 2.4, 2, 12, (400.0, 2200.0)),
    Route("B", "walk", 2, ("tarnholt-north", "tarnholt-south", "drove"),
          "Tarnholt Lane|Dunsallow Drove", 2.6, 2, 12),
    Route("C", "car", 3, ("osterlow", "mirefield"), "Osterlow Lane|Mirefield Lane", 20.0, 2, 12),
)  # fmt: skip


@dataclass(frozen=True)
class Survey:
    """One search of a route; `found` counts carcasses, those met again among them."""

    number: str
    when: datetime
    route: Route
    found: int


@dataclass(frozen=True)
class Find:
    """A survey's record of a carcass: which death, when, and what was done with it."""

    death: int
    survey: str
    when: datetime
    action: str


@dataclass(frozen=True)
class Carcass:
    """A carcass: where it lies, from when until when, and whether within the searched width."""

    xy: Floats
    since: datetime
    until: datetime
    inside: bool


@dataclass(frozen=True)
class Searched:
    """All surveys and what they found; carcasses in the order of the deaths."""

    surveys: list[Survey]
    finds: list[Find]
    carcasses: list[Carcass]


@dataclass
class _State:
    searches: int = 0
    marked: bool = False
    until: datetime | None = None
    finds: list[Find] = field(default_factory=list)


def searched(deaths: list[Death], roads: dict[str, Road]) -> Searched:
    """Let the carcasses lie, and search for them; what a survey removes lies no longer."""
    lying = _lying(deaths, roads)
    rng = stream("surveys")
    surveys: list[Survey] = []
    states = [_State(until=c.until) for c in lying]
    for when, route in _dates(rng):
        number = f"S{when:%y%m%d}-{route.name}"
        found = 0
        for k, (death, carcass) in enumerate(zip(deaths, lying, strict=True)):
            until = states[k].until or carcass.until
            there = carcass.inside and carcass.since < when < until
            if there and route.covers(death.road, death.at_m):
                moment = when + timedelta(minutes=int(rng.integers(5, 60)))
                found += _looked_for(k, states[k], route, number, moment, rng)
        surveys.append(Survey(number, when, route, found))
    finds = sorted((f for s in states for f in s.finds), key=lambda f: (f.when, f.death))
    after = [
        Carcass(c.xy, c.since, s.until or c.until, c.inside)
        for c, s in zip(lying, states, strict=True)
    ]
    return Searched(surveys, finds, after)


def _lying(deaths: list[Death], roads: dict[str, Road]) -> list[Carcass]:
    rng = stream("carcasses")
    found = []
    for death in deaths:
        stays = STAY_SCALE_D * float(rng.weibull(STAY_SHAPE))
        inside = bool(rng.random() < WITHIN_WIDTH)
        line = roads[death.road].xy
        thrown = float(rng.choice([-1, 1]) * rng.uniform(7, 14))
        at = nearest_chainage(line, death.xy)
        xy = death.xy if inside else beside(line, at, thrown)[0]
        until = death.when + timedelta(minutes=int(stays * 1440))
        found.append(Carcass(xy, death.when, until, inside))
    return found


def _dates(rng: np.random.Generator) -> list[tuple[datetime, Route]]:
    """Return when each route is searched: about once a week in the season, now and then not."""
    found = []
    for year in SEASONS:
        for route in ROUTES:
            first = date(year, 4, 10)
            day = first + timedelta(days=(route.weekday - first.weekday()) % 7)
            while day <= date(year, 10, 20):
                shift, begin = int(rng.integers(-1, 2)), int(rng.integers(0, 90))
                if rng.random() > _SKIPPED:
                    on = day + timedelta(days=shift)
                    when = datetime(on.year, on.month, on.day, 7, 30, tzinfo=ZONE)
                    found.append((when + timedelta(minutes=begin), route))
                day += timedelta(days=7)
    return sorted(found, key=lambda s: (s[0], s[1].name))


def _looked_for(
    death: int, state: _State, route: Route, survey: str, moment: datetime,
    rng: np.random.Generator,
) -> int:  # fmt: skip
    """Play one search of one carcass through; return 1 if it was found."""
    chance = FOUND_FIRST[route.protocol]
    if state.marked:
        seen, action = rng.random() < chance * _MARKED_AGAIN, "already marked"
    else:
        seen = rng.random() < chance * FOUND_LATER**state.searches
        action = "removed" if rng.random() < _REMOVED else "marked"
    state.searches += 1
    if not seen:
        return 0
    state.finds.append(Find(death, survey, moment, action))
    state.marked = state.marked or action == "marked"
    if action == "removed":
        state.until = moment
    return 1


def searched_km(route: Route, roads: dict[str, Road]) -> float:
    """Return the length of a route [km]."""
    ends = (
        (max(route.part_m[0], 0.0), min(route.part_m[1], float(chainage(roads[k].xy)[-1])))
        for k in route.keys
    )
    return sum(b - a for a, b in ends) / 1000
