"""Animals with known paths: a walker, a commuter and an avoider, beside roads 6 m wide.

**Frozen.** The habits, places and schedules below were fixed before any estimator was tuned
against them, and a test holds their digest. None of the three is a Gaussian process: paths
are steps of a minute with turning angles, rests and a pull towards home, so no estimator of the
Ornstein-Uhlenbeck family or of Brownian bridges has the right model.

Why each is realistic (all values from memory unless a source is named):

walker
    A small land turtle in its home range. It moves in bouts of minutes with rests of minutes
    to hours between (lognormal: many short stops, some long ones), 10 hours a day. Moving
    it makes about 1.2 m a minute (Gould 1957 in Legler 1960 reports 0.98 to 1.77 m a minute
    for *Terrapene carolina*), with gamma step lengths and von Mises turns: some 175 m of
    path a day, which end about 30 m from where they began (Gibbs & Shriver, as reported in
    2001: about 50 m on most days). Its heading is turned towards home, the more the farther
    away it is, which keeps 95 % of its time within about 1.2 ha (Murfreesboro, Tennessee:
    95 % hull 1.19 ha). Speed, winding and range differ from animal to animal.
commuter
    The same animal with two patches, 100 to 200 m apart, say woods and a pond's edge. It
    stays in each for days to weeks (gamma, mean 12 days), then walks over with few rests and
    twice the speed: paths between known places are walked straighter and faster. Each patch
    is smaller than the walker's range.
avoider
    The walker, but when its next step would take it from clear ground onto the carriageway it
    turns round with a chance of 0.7 to 0.8, its own. It may come back and try again. Once on
    the road it walks on. Small animals that avoid the open surface do this.

Frequent crossers have their (nearer) centre 5 to 30 m from a centreline, rare ones 45 to 70 m.
Homes are unevenly spread along the road, so that its segments differ.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from tests.truth.walk_paths import crossings_along, walk_minutes
from tests.truth.walk_scoring import Clock, Floats, Ints, Road

CLOCK = Clock(8.0, 18.0)
DAYS = 120
ROAD_WIDTH_M = 6.0
ACTIVE_MINUTES = 600
KINDS = ("walker", "commuter", "avoider")
VERSIONS = ("rare", "frequent")
LAYOUTS = ("one road", "two roads")
SPACINGS_DAYS = (1, 3, 7)


@dataclass(frozen=True)
class Habits:
    """How one kind of animal moves; pairs are the bounds of a uniform draw an animal.

    Attributes
    ----------
    step_m : tuple of float
        Mean step in a minute of moving [m].
    step_shape : float
        Shape of the gamma law of step lengths.
    winding : tuple of float
        Concentration of the von Mises turn from one minute to the next.
    stop_chance : float
        Chance to begin a rest after each minute of moving.
    rest_log_minutes, rest_log_sd : float
        Mean and standard deviation of the logarithm of a rest's length in minutes.
    pull : float
        Largest weight of the direction home in the next heading, 0 to 1.
    pull_reach_m : tuple of float
        The weight is ``pull * (1 - exp(-(d / reach)**2))`` at distance d from home [m].
    patches : int
        1 or 2 centres of activity.
    patch_apart_m : tuple of float
        Distance between the two [m].
    stay_shape, stay_days : float
        Gamma law of the days spent in a patch: shape and mean.
    least_stay_days : float
        Added to it.
    travel_speed, travel_stops : float
        Factors on step length and stop chance between patches.
    turns_back : tuple of float
        Chance to turn round when about to step onto the carriageway.
    """

    step_m: tuple[float, float] = (0.9, 1.5)
    step_shape: float = 3.0
    winding: tuple[float, float] = (2.0, 4.0)
    stop_chance: float = 0.12
    rest_log_minutes: float = 2.5
    rest_log_sd: float = 1.2
    pull: float = 0.5
    pull_reach_m: tuple[float, float] = (85.0, 140.0)
    patches: int = 1
    patch_apart_m: tuple[float, float] = (100.0, 200.0)
    stay_shape: float = 2.0
    stay_days: float = 10.0
    least_stay_days: float = 2.0
    travel_speed: float = 2.0
    travel_stops: float = 0.25
    turns_back: tuple[float, float] = (0.0, 0.0)


HABITS = {
    "walker": Habits(),
    "commuter": Habits(patches=2, pull_reach_m=(60.0, 100.0)),
    "avoider": Habits(turns_back=(0.7, 0.8)),
}


@dataclass(frozen=True)
class Places:
    """Where homes lie and how they are tracked; pairs are the bounds of a uniform draw.

    Attributes
    ----------
    frequent_m, rare_m : tuple of float
        Distance of the (nearer) centre from a centreline [m], either side.
    segment_m : tuple of float
        Length of a ranked segment [m]; ten of them.
    clusters, cluster_sd_m, scattered : int, float, float
        Homes along the road: that many places, spread about each [m], share spread evenly.
    roads_apart_m, tilt_degrees : float
        Second road: distance at mid-length, and angle to the first.
    fix_hours : tuple of float
        Clock time of a fix; a little wider than the active hours.
    error_m : tuple of float
        Standard deviation of a fix on each axis [m], known to the estimator.
    burst_first_day, burst_every_days : int
        Days with hourly fixes from the first active hour to the last.
    """

    frequent_m: tuple[float, float] = (5.0, 30.0)
    rare_m: tuple[float, float] = (45.0, 70.0)
    segment_m: tuple[float, float] = (20.0, 50.0)
    clusters: int = 3
    cluster_sd_m: float = 25.0
    scattered: float = 0.3
    roads_apart_m: float = 150.0
    tilt_degrees: float = 8.0
    fix_hours: tuple[float, float] = (7.0, 19.0)
    error_m: tuple[float, float] = (3.0, 8.0)
    burst_first_day: int = 10
    burst_every_days: int = 14


PLACES = Places()


@dataclass(frozen=True, eq=False)
class World:
    """One study's animals, their paths and their crossings.

    Attributes
    ----------
    road : Road
    path : ndarray of float32, shape (animals, DAYS * ACTIVE_MINUTES + 1, 2)
        Where each animal is at the end of each active minute [m].
    walked_m : ndarray, shape (animals,)
        Length of the path.
    animal, crossed_road : ndarray of int64, shape (crossings,)
    time_hours, along_m : ndarray, shape (crossings,)
        When the animal came clear of the far edge, and where it last met the centreline.
    """

    road: Road
    path: np.ndarray[tuple[int, int, int], np.dtype[np.float32]]
    walked_m: Floats
    animal: Ints
    crossed_road: Ints
    time_hours: Floats
    along_m: Floats


def world(kind: str, version: str, layout: str, animals: int, rng: np.random.Generator) -> World:
    """Let the animals of one study walk for `DAYS` days.

    Parameters
    ----------
    kind : str
        One of `KINDS`.
    version : str
        One of `VERSIONS`.
    layout : str
        One of `LAYOUTS`.
    animals : int
    rng : numpy.random.Generator

    Returns
    -------
    World
    """
    habits, road = HABITS[kind], road_of(layout, rng)
    steps = DAYS * ACTIVE_MINUTES
    path = np.empty((animals, steps + 1, 2), dtype=np.float32)
    walked = np.empty(animals)
    places = _places_along(road, animals, rng)
    found = []
    for each in range(animals):
        centres = _centres(road, version, habits, places[each], rng)
        # The order is that of `walk_minutes`.
        own = np.array([
            rng.uniform(*habits.step_m), habits.step_shape, rng.uniform(*habits.winding),
            habits.stop_chance, habits.rest_log_minutes, habits.rest_log_sd, habits.pull,
            rng.uniform(*habits.pull_reach_m), habits.travel_speed, habits.travel_stops,
            rng.uniform(*habits.turns_back),
        ])  # fmt: skip
        leaves = _leaving_steps(habits, steps, rng)
        xy = np.empty((steps + 1, 2))
        walked[each] = walk_minutes(rng, centres, leaves, own, road.frames, road.width_m / 2, xy)
        path[each] = xy
        step, which, along = crossings_along(xy, road.frames, road.width_m / 2)
        found.append((np.full(len(step), each), which, _end_of_minute(step - 1), along))
    animal, which, time, along = (np.concatenate(column) for column in zip(*found, strict=True))
    return World(road, path, walked, animal, which, time, along)


def road_of(layout: str, rng: np.random.Generator) -> Road:
    """Draw a road of ten ranked segments, or two of five, with long ends."""
    per_road = 10 if layout == "one road" else 5
    ends, of_road, start, stop, ranked = [], [], [], [], []
    for number in range(10 // per_road):
        lengths = rng.uniform(*PLACES.segment_m, per_road)
        bounds = 2000 - lengths.sum() / 2 + np.append(0, np.cumsum(lengths))
        angle = math.radians(PLACES.tilt_degrees) * number
        half = 2000 * np.array([math.cos(angle), math.sin(angle)])
        middle = np.array([0.0, PLACES.roads_apart_m * number])
        ends.append(np.append(middle - half, middle + half))
        of_road += [number] * (per_road + 2)
        start += [0.0, *bounds]
        stop += [*bounds, 4000.0]
        ranked += [False, *[True] * per_road, False]
    return Road(
        np.array(ends), ROAD_WIDTH_M, np.array(of_road), np.array(start), np.array(stop),
        np.array(ranked),
    )  # fmt: skip


def _places_along(road: Road, animals: int, rng: np.random.Generator) -> list[tuple[int, float]]:
    """Road and metres along it beside which each animal lives."""
    spans = []
    for each in range(len(road.ends)):
        rows = road.ranked & (road.segment_road == each)
        spans.append((road.segment_from_m[rows].min(), road.segment_to_m[rows].max()))

    def anywhere() -> tuple[int, float]:
        number = int(rng.integers(len(spans)))
        return number, float(rng.uniform(*spans[number]))

    good = [anywhere() for _ in range(PLACES.clusters)]
    out = []
    for _ in range(animals):
        if rng.random() < PLACES.scattered:
            out.append(anywhere())
            continue
        number, along = good[rng.integers(len(good))]
        out.append((number, along + PLACES.cluster_sd_m * float(rng.standard_normal())))
    return out


def _centres(
    road: Road, version: str, habits: Habits, place: tuple[int, float], rng: np.random.Generator
) -> Floats:
    """Centres of activity, shape (patches, 2); none nearer to any road than asked for."""
    bounds = PLACES.frequent_m if version == "frequent" else PLACES.rare_m
    away = rng.uniform(*bounds)
    number, along = place
    x, y, ux, uy = road.frames[number]
    offset = away * (1 if rng.random() < 0.5 else -1)
    home = np.array([x + along * ux - offset * uy, y + along * uy + offset * ux])
    if habits.patches == 1:
        return home[None, :]
    while True:
        angle, apart = rng.uniform(0, 2 * np.pi), rng.uniform(*habits.patch_apart_m)
        other = home + apart * np.array([np.cos(angle), np.sin(angle)])
        if np.abs(_offsets(road, other)).min() >= away:
            return np.array([home, other])


def _offsets(road: Road, point: Floats) -> Floats:
    """Signed distance of a point from each centreline [m]."""
    x, y, ux, uy = road.frames.T
    offsets: Floats = (point[1] - y) * ux - (point[0] - x) * uy
    return offsets


def _leaving_steps(habits: Habits, steps: int, rng: np.random.Generator) -> Ints:
    """Steps at which the animal leaves for its other patch, the last one never reached."""
    if habits.patches == 1:
        return np.array([steps + 1])
    stays = rng.gamma(habits.stay_shape, habits.stay_days / habits.stay_shape, 80)
    days = np.cumsum(stays + habits.least_stay_days)
    return np.append((days * ACTIVE_MINUTES).astype(np.int64), steps + 1)


def _end_of_minute(minute: Ints) -> Floats:
    """Hours since midnight of the first day at which an active minute ends."""
    day, within = np.divmod(minute, ACTIVE_MINUTES)
    hours: Floats = day * 24 + CLOCK.start_hour + (within + 1) / 60
    return hours
