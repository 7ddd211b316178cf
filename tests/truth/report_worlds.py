"""Invented worlds of reports from the public: who reported which animal is known.

Forty kilometres of road with hot stretches and sections of different traffic, three years of
which half is season. Carcasses last a Weibull time; passers-by without a name, named people (most
of them seldom, few often, near their homes) and one person at a gate report what lies there; each
carcass is more or less conspicuous. After a report the same person reports the same animal less
often, or sends a second report soon. Live animals stay for some minutes. A survey marks or
removes carcasses. Stated uncertainties may be too small or missing, times missing, sex and
stage wrong. None of this is the process that the linkage supposes: no chains, no exponential
lasting, no kernels.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import pandas as pd

from roadrisk.base.seeds import generator
from tests.sightings.made_reports import reports

ROAD_M, STEP_M = 40_000.0, 10.0
YEARS, SEASON = 3, (91, 274)  # days of the year
DAYS = 365 * YEARS
FIRST_DAY = pd.Timestamp("2021-01-01", tz="UTC")
DEFAULT_M = 100.0
PER_RADIUS = 2.4477  # standard deviations in a stated 95 % radius

DEAD_EVENTS, LIVE_EVENTS = 700.0, 700.0  # expected, reported or not
LASTING_SHAPE, LASTING_DAYS = 0.8, 3.4  # Weibull
STAY_DAYS = 25.0 / 1440.0  # exponential
SEEN_SHAPE = 2.5  # gamma with mean 1: how conspicuous an animal is
CROWD_RATE, NAMED_RATE, LIVE_FACTOR = 0.05, 0.05, 40.0  # reports a day of an average animal
PEOPLE, RANGE_M, ANYWHERE = 60, 3000.0, 0.02
GATE_RATE, GATE_REACH_M = 0.15, 100.0
AGAIN, AGAIN_GATE = 0.2, 0.8  # rate of a person who has reported this animal already
SECOND, SECOND_DAYS = 0.1, 0.12  # soon after a named report another of the same person
SURVEY_M, SURVEY_DAYS, SURVEY_HOUR = (10_000.0, 22_000.0), 14, 10.0
FOUND, SAYS_MARKED = 0.7, 0.5
RADII, TOO_SMALL, TOO_SMALL_BY = (5.0, 10.0, 20.0, 50.0, 100.0), 0.18, 3.0
NO_RADIUS, UNSTATED_SD, UNSTATED = 0.15, (5.0, 15.0, 40.0), (0.4, 0.4, 0.2)
DAY_ONLY, UNCERTAIN = 0.08, 0.04
SEX_SAID, SEX_WRONG, FEMALE = 0.25, 0.08, 0.55
STAGE_SAID, STAGE_WRONG, ADULT = 0.4, 0.1, 0.7
SIZE_SAID, SIZE_ERROR = 0.15, 0.12
SIZES = ((np.log(80.0), 0.3), (np.log(150.0), 0.2))  # juvenile, adult
REMARK_SAID, HAS, SAYS, SAYS_WRONG = 0.5, 0.15, 0.5, 0.03
FEATURES = (
    "shell split lengthwise", "left hind foot missing", "yellow paint on the back", "very muddy",
    "eggs scattered beside it", "lying upside down", "crushed flat", "beside the culvert marker",
    "under the birch", "tail bitten off", "near the milk stand", "on the white line",
)  # fmt: skip
GENERAL = ("seen from the car", "took a photo", "sad", "on my way to work", "no time to stop", "")
PATROL, GATE = "Patrol", "Keeper at the gate"


def hour_share(hour):
    """Relative rate at which people pass and report, mean 1 over the day."""
    return np.where((hour >= 6) & (hour < 21), 1.5, 0.1 * np.ones_like(hour) + 0.0667)


def hours_up_to(time):
    """Integral of `hour_share` from day 0 [days]."""
    day, hour = np.floor(time), (time - np.floor(time)) * 24.0
    night, light = 0.1667, 1.5
    part = night * np.minimum(hour, 6) + light * np.clip(hour - 6, 0, 15)
    return day * (night * 9 + light * 15) / 24 + (part + night * np.maximum(hour - 21, 0)) / 24


def killed_share(hour):
    """Relative rate of deaths over the hours, mean 1: mostly from dusk to dawn."""
    return np.where((hour >= 19) | (hour < 5), 1.8, 3.0 / 7.0)


@dataclass(frozen=True)
class World:
    """What is true: of roads, people and days (arrays on a grid of 10 m, or by day or person)."""

    xy: np.ndarray
    dead: np.ndarray  # events a metre, by place
    live: np.ndarray
    by_day: np.ndarray  # share of events, by day
    traffic: np.ndarray
    homes: np.ndarray
    activity: np.ndarray
    gate: float
    removes: bool
    surveys: np.ndarray

    def person_rates(self, s):
        """Rate of each named person, the keeper last, for an average carcass at s [1/day]."""
        near = np.exp(-np.abs(s - self.homes) / RANGE_M) + ANYWHERE
        keeper = GATE_RATE * np.exp(-0.5 * ((s - self.gate) / GATE_REACH_M) ** 2)
        return np.append(NAMED_RATE * self.activity * near, keeper)

    def crowd_rate(self, s):
        """Rate of people without a name [1/day]."""
        return CROWD_RATE * self.traffic[int(min(s, ROAD_M - 1) / STEP_M)]


def make_world(rng: np.random.Generator, removes: bool) -> World:
    """Draw roads, hot stretches, people and days."""
    grid = np.arange(0, ROAD_M, STEP_M) + STEP_M / 2
    heading = 0.6 * np.sin(2 * np.pi * np.arange(0, ROAD_M + STEP_M, STEP_M) / 7000.0)
    xy = np.cumsum(STEP_M * np.column_stack([np.cos(heading), np.sin(heading)]), axis=0)
    hot = np.ones_like(grid)
    for _ in range(6):
        centre, width = rng.uniform(500, ROAD_M - 500), rng.uniform(60, 250)
        hot += rng.uniform(8, 25) * np.exp(-0.5 * ((grid - centre) / width) ** 2)
    hot /= hot.mean()
    day = np.arange(DAYS) % 365
    season = np.exp(-0.5 * ((day - 150) / 20.0) ** 2) + 0.7 * np.exp(
        -0.5 * ((day - 245) / 15.0) ** 2
    )
    season = (season + 0.25) * ((day >= SEASON[0]) & (day < SEASON[1]))
    by_day = season * rng.gamma(2.0, 0.5, DAYS)
    activity = np.minimum(rng.pareto(1.3, PEOPLE), 4.0) + 0.2
    homes = rng.uniform(0, ROAD_M, PEOPLE)
    reach = sum(
        a * (np.exp(-np.abs(grid - h) / RANGE_M) + ANYWHERE)
        for a, h in zip(activity, homes, strict=True)
    )
    days = np.flatnonzero((day >= SEASON[0]) & (day < SEASON[1]))
    return World(
        xy=xy,
        dead=DEAD_EVENTS * hot / ROAD_M,
        live=LIVE_EVENTS * (0.5 + 0.5 * hot) / ROAD_M,
        by_day=by_day / by_day.sum(),
        traffic=np.repeat(rng.gamma(4.0, 0.25, 8), len(grid) // 8),
        homes=homes,
        activity=activity / reach.mean(),
        gate=float(grid[np.argmax(hot)]),
        removes=removes,
        surveys=days[::SURVEY_DAYS] + SURVEY_HOUR / 24.0,
    )


@dataclass(frozen=True)
class Event:
    """An animal at a place and time."""

    s: float
    begin: float
    end: float
    alive: bool
    seen: float
    female: bool
    adult: bool
    size: float
    has: np.ndarray


def _events(world: World, rng: np.random.Generator):
    for alive, rate in ((False, world.dead), (True, world.live)):
        for _ in range(rng.poisson(rate.sum() * STEP_M)):
            cell = rng.choice(len(rate), p=rate / rate.sum())
            day = rng.choice(DAYS, p=world.by_day)
            while True:
                hour = rng.uniform(0, 24)
                share = hour_share(np.array(hour)) / 1.5 if alive else killed_share(hour) / 1.8
                if rng.random() < share:
                    break
            lasting = (
                rng.exponential(STAY_DAYS) if alive else LASTING_DAYS * rng.weibull(LASTING_SHAPE)
            )
            adult = rng.random() < ADULT
            mean, sd = SIZES[int(adult)]
            begin = day + hour / 24
            yield Event(
                (cell + rng.random()) * STEP_M, begin, begin + lasting, alive,
                rng.gamma(SEEN_SHAPE, 1 / SEEN_SHAPE), rng.random() < FEMALE, adult,
                rng.normal(mean, sd), rng.random(len(FEATURES)) < HAS,
            )  # fmt: skip


def _reports_of(event: Event, world: World, rng: np.random.Generator) -> list[tuple]:
    """Times, persons (-1: no name, -2: the patrol) and what a survey did, in order of time."""
    factor = event.seen * (LIVE_FACTOR if event.alive else 1.0)
    person = factor * world.person_rates(event.s)
    crowd = factor * world.crowd_rate(event.s)
    surveys = [] if event.alive else [
        t for t in world.surveys
        if event.begin < t < event.end and SURVEY_M[0] <= event.s < SURVEY_M[1]
    ]  # fmt: skip
    out, end, marked = [], event.end, False
    for t in surveys:
        if t >= end or rng.random() >= FOUND:
            continue
        if marked:
            if rng.random() < SAYS_MARKED:
                out.append((t, -2, "already marked"))
        elif world.removes:
            out.append((t, -2, "removed"))
            end = t
        else:
            out.append((t, -2, "marked"))
            marked = True
    out += _by_people(event, person, crowd, end, rng)
    return sorted(out)


def _by_people(event, person, crowd, end, rng):
    """Thinning at the highest rate of all hours; people who reported go on at a lower rate."""
    out, again = [], np.ones(len(person))
    t = event.begin
    pending: list[tuple[float, int]] = []
    while True:
        rates = np.append(person * again, crowd)
        gap = rng.exponential(1 / (1.5 * rates.sum()))
        second = min(pending, default=(np.inf, -1))
        if second[0] <= t + gap:
            t, who = second
            pending.remove(second)
            if t >= end:
                continue
        else:
            t += gap
            if t >= end:
                break
            if rng.random() >= hour_share(np.array((t % 1) * 24)) / 1.5:
                continue
            who = int(rng.choice(len(rates), p=rates / rates.sum()))
            who = -1 if who == len(person) else who
        out.append((t, who, ""))
        if who >= 0:
            again[who] = AGAIN_GATE if who == len(person) - 1 else AGAIN
            # A Poisson number of second reports, each after an exponential time.
            pending += [(t + rng.exponential(SECOND_DAYS), who) for _ in range(rng.poisson(SECOND))]
    return out


@dataclass(frozen=True)
class Reported:
    """A world, its reports, and which animal each is of.

    `table` has the columns of SIGHTINGS and: s (place along the road as reported), default (no
    uncertainty was stated), day (of the study, with fraction), who (-1 no name, -2 the patrol),
    animal.
    """

    world: World
    table: pd.DataFrame
    on_road_xy: np.ndarray


def make_reports(seed: int) -> Reported:
    """Draw a world and its reports."""
    rng = generator(seed, "truth.report_worlds")
    world = make_world(rng, removes=seed % 2 == 1)
    rows = []
    for number, event in enumerate(_events(world, rng)):
        for t, who, action in _reports_of(event, world, rng):
            if t < DAYS:
                rows.append(_row(number, event, t, who, action, rng))
    table = pd.DataFrame(rows).sort_values("day", ignore_index=True)
    table["occurrenceID"] = [f"w{seed}-{k}" for k in range(len(table))]
    where = np.clip(table["s"].to_numpy() / STEP_M, 0, len(world.xy) - 1.001)
    low = where.astype(int)
    xy = world.xy[low] + (where - low)[:, None] * (world.xy[low + 1] - world.xy[low])
    made = reports(xy, time=FIRST_DAY + pd.to_timedelta(table["shown_day"], unit="D"),
                   **{c: table[c].to_numpy() for c in _TOLD})  # fmt: skip
    for c in ("s", "default", "day", "who", "animal", "features"):
        made[c] = table[c].to_numpy()
    return Reported(world, made.assign(repeats=1), xy)


_TOLD = (
    "occurrenceID", "time_known", "coordinateUncertaintyInMeters", "vitality", "recordedBy",
    "sex", "lifeStage", "length_mm", "occurrenceRemarks", "carcass_action", "samplingProtocol",
)  # fmt: skip


def _row(number, event, t, who, action, rng):
    radius = float(rng.choice(RADII)) if who != -2 else 5.0
    default = who != -2 and rng.random() < NO_RADIUS
    sd = radius / PER_RADIUS * (TOO_SMALL_BY if rng.random() < TOO_SMALL else 1.0)
    if default:
        sd = rng.choice(UNSTATED_SD, p=UNSTATED)
    day_only = who != -2 and rng.random() < DAY_ONLY
    remarked = rng.random() < REMARK_SAID
    said = rng.random(len(FEATURES)) < np.where(event.has, SAYS, SAYS_WRONG)
    words = [f for f, is_said in zip(FEATURES, said, strict=True) if is_said]
    words.append(str(rng.choice(GENERAL)))
    name = {-1: "", -2: PATROL, PEOPLE: GATE}.get(who, f"Person {who}")
    female = event.female != (rng.random() < SEX_WRONG)
    adult = event.adult != (rng.random() < STAGE_WRONG)
    state = "alive" if event.alive else "dead"
    return {
        "animal": number,
        "s": float(np.clip(event.s + rng.normal(0, sd), 0, ROAD_M - 1)),
        "default": default,
        "coordinateUncertaintyInMeters": DEFAULT_M if default else radius,
        "day": t,
        "shown_day": np.floor(t) + 0.5 if day_only else t,
        "time_known": not day_only,
        "who": who,
        "recordedBy": name,
        "vitality": state if rng.random() >= UNCERTAIN or who == -2 else "uncertain",
        "sex": ("female" if female else "male") if rng.random() < SEX_SAID else "",
        "lifeStage": ("adult" if adult else "juvenile") if rng.random() < STAGE_SAID else "",
        "length_mm": np.exp(event.size + rng.normal(0, SIZE_ERROR))
        if rng.random() < SIZE_SAID
        else np.nan,
        "features": said if remarked else np.full(len(FEATURES), -1),
        "occurrenceRemarks": ", ".join(w for w in words if w) if remarked else "",
        "carcass_action": action,
        "samplingProtocol": "carcass survey" if who == -2 else "",
    }
