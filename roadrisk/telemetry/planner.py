"""Before tagging: what a schedule of fixes would tell about crossings, by simulation.

Animals walk by the movement process beside a straight road; fixes are taken from their paths by
each schedule, and go through the same estimate as real ones. The same paths serve all
schedules, so that these differ by their fixes alone.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely

from roadrisk.base.progress import Silent
from roadrisk.errors import RoadriskError
from roadrisk.roads.edges import network_from_segments
from roadrisk.roads.grid import PieceIndex
from roadrisk.roads.lixels import lay_lixels
from roadrisk.telemetry.crossing_days import PathSettings, estimate_crossing_days
from roadrisk.telemetry.fix_schedule import SCHEDULES, Schedule, schedule_from
from roadrisk.telemetry.movement_tracks import MovementTrack, isotropic_error
from roadrisk.telemetry.population_rate import population_rate
from roadrisk.telemetry.simulated_animals import STEP_H, active_days, draw_animals, walk

if TYPE_CHECKING:
    from collections.abc import Sequence

    from roadrisk.base.progress import Progress
    from roadrisk.roads.network import Ints, Lixels, Network
    from roadrisk.telemetry.movement_fit import TrackFit
    from roadrisk.telemetry.movement_prior import MovementPrior
    from roadrisk.telemetry.movement_tracks import ActiveClock
    from roadrisk.telemetry.simulated_animals import ActiveDays, Walked

__all__ = ["COLUMNS", "SCHEDULES", "WIDTH_M", "Schedule", "plan_schedules", "schedule_from"]

COLUMNS = [
    "code", "schedule", "days", "fixes", "crossing_days", "estimated", "width", "held",
    "rate_width", "total_crossings", "total_width", "total_held", "totals",
]  # fmt: skip

# Anywhere: the road is invented.
_CRS = "EPSG:32633"
_ORIGIN = np.array([500_000.0, 5_000_000.0])
WIDTH_M = 6.0
"""Carriageway of the simulated road [m]: a lane each way (common practice)."""

_HALF_ROAD_M = 5_000.0
_DRAWS = 100


def plan_schedules(
    schedules: Sequence[Schedule],
    prior: MovementPrior,
    clock: ActiveClock,
    rng: np.random.Generator,
    *,
    animals: int = 10,
    days: int = 120,
    error_m: float = 5.0,
    distance_m: float = 30.0,
    studies: int = 3,
    level: float = 0.90,
    fitted: Sequence[TrackFit] = (),
    progress: Progress | None = None,
) -> pd.DataFrame:
    """Simulate what each schedule would tell.

    Parameters
    ----------
    schedules : sequence of Schedule
    prior : MovementPrior
        Animals are drawn from it, and it is the prior of the estimate.
    clock : ActiveClock
    rng : numpy.random.Generator
    animals : int
        Tagged in one study.
    days : int
        Active days each is followed, from the season's first; no more than one season.
    error_m : float
        Standard deviation of a fix on each axis [m].
    distance_m : float
        From each animal's centre of activity to the road's middle [m].
    studies : int
        Simulated studies.
    level : float
        Coverage of the intervals, two-sided.
    fitted : sequence of TrackFit, optional
        Animals walk as these fits say, and not as the prior does.
    progress : Progress, optional

    Returns
    -------
    pandas.DataFrame
        One row a schedule, in order. Columns: code and schedule (words), days (active days
        followed), fixes (an animal, in these days),
        crossing_days (true, mean an animal), estimated (over the true ones), width (mean width
        of the animals' intervals over the mean truth), held (share of intervals that hold the
        truth), rate_width (width of the interval for the population of such animals, over its
        mean), total_crossings, total_width, total_held (the same for all crossings), totals
        (how far total crossings would be identified).

    Raises
    ------
    RoadriskError
        If a number is out of its range, or a schedule gives fewer than two fixes in the season.

    Notes
    -----
    The estimate runs with one centre of activity and 100 paths an animal, so that it is done in
    a minute. Animals with more than one centre need wider intervals than these.
    """
    _check_numbers(animals=animals, days=days, error_m=error_m, distance_m=distance_m,
                   studies=studies)  # fmt: skip
    season = active_days(clock, days)
    for schedule in schedules:
        if schedule.every_days >= len(season.day):
            raise RoadriskError(
                f"{schedule.words}: fewer than two fixes in {len(season.day)} active days"
            )
    place = _road()
    parts: list[list[_Scored]] = [[] for _ in schedules]
    with (progress or Silent()).step("Simulating", studies * (len(schedules) + 1)) as tick:
        for stream in rng.spawn(studies):
            own, *streams = stream.spawn(1 + len(schedules))
            pars = draw_animals(animals, prior, own, fitted)
            steps = int(season.begin_step[-1])
            walked = [walk(p, steps, distance_m, WIDTH_M, own) for p in pars]
            tick()
            for each, schedule, theirs in zip(parts, schedules, streams, strict=True):
                run = _Run(schedule, season, clock, prior, error_m, level)
                each.append(_scored(run, walked, place, theirs))
                tick()
    rows = [_row(s, len(season.day), p) for s, p in zip(schedules, parts, strict=True)]
    return pd.DataFrame(rows, columns=COLUMNS)


_LIMITS = {
    "animals": (1, 200), "days": (14, 366), "error_m": (0.1, 500), "distance_m": (0, 5000),
    "studies": (1, 50),
}  # fmt: skip


def _check_numbers(**given: float) -> None:
    wrong = [
        f"{name.removesuffix('_m')} {value:g} must lie between {low:g} and {high:g}"
        for name, value in given.items()
        for low, high in [_LIMITS[name]]
        if not low <= value <= high
    ]
    if wrong:
        raise RoadriskError("; ".join(wrong))


class _Run(NamedTuple):
    schedule: Schedule
    season: ActiveDays
    clock: ActiveClock
    prior: MovementPrior
    error_m: float
    level: float


class _Place(NamedTuple):
    network: Network
    lixels: Lixels
    pieces: PieceIndex


class _Scored(NamedTuple):
    """One study, one schedule: a row an animal, and what holds for all."""

    table: pd.DataFrame
    rate_mean: float
    rate_width: float


def _road() -> _Place:
    ends = _ORIGIN + np.array([[-_HALF_ROAD_M, 0.0], [_HALF_ROAD_M, 0.0]])
    lines = gpd.GeoDataFrame({"name": ["road"]}, geometry=[shapely.LineString(ends)], crs=_CRS)
    network = network_from_segments(lines)
    return _Place(network, lay_lixels(network, 50.0), PieceIndex.build(network))


def _scored(
    run: _Run, walked: Sequence[Walked], place: _Place, rng: np.random.Generator
) -> _Scored:
    tracks, truth = [], []
    for number, path in enumerate(walked):
        step = _fix_steps(run.schedule, run.season, rng)
        tracks.append(_track(f"{number:03d}", path, step, run, rng))
        crossed = path.crossed_step[(path.crossed_step > step[0]) & (path.crossed_step <= step[-1])]
        truth.append((len(step), len(np.unique(_day_rows(run.season, crossed - 1))), len(crossed)))
    gap = max(PathSettings().longest_gap_days, 2.0 * run.schedule.every_days)
    found = estimate_crossing_days(
        tracks, place.network, place.lixels, place.pieces, rng, clock=run.clock, prior=run.prior,
        width_m=np.full(len(place.network.segments), WIDTH_M),
        settings=PathSettings(
            draws=_DRAWS, other_draws=0, most_centres=1, longest_gap_days=gap, level=run.level
        ),
    )  # fmt: skip
    table = found.animals.copy()
    table[["fixes", "true_days", "true_total"]] = truth
    years = table["days_watched"].to_numpy(np.float64) / found.days_a_year
    rate = population_rate(found.crossing_days, years, rng, level=run.level)
    return _Scored(table, rate.mean, rate.high - rate.low)


def _fix_steps(schedule: Schedule, season: ActiveDays, rng: np.random.Generator) -> Ints:
    begin, count = season.begin_step[:-1], np.diff(season.begin_step)
    regular = np.arange(0, len(begin), schedule.every_days)
    steps = [begin[regular] + rng.integers(count[regular])]
    if schedule.burst_fixes:
        apart = max(round(schedule.burst_apart_h / STEP_H), 1)
        first = min(schedule.burst_every_days // 2, len(begin) - 1)
        for day in range(first, len(begin), schedule.burst_every_days):
            within = apart * np.arange(schedule.burst_fixes)
            steps.append(begin[day] + within[within < count[day]])
    return np.unique(np.concatenate(steps))


def _day_rows(season: ActiveDays, step: Ints) -> Ints:
    rows = np.searchsorted(season.begin_step, step, side="right") - 1
    return np.clip(rows, 0, len(season.day) - 1)


def _track(
    name: str, path: Walked, step: Ints, run: _Run, rng: np.random.Generator
) -> MovementTrack:
    row = _day_rows(run.season, step)
    day = run.season.day[row]
    active = np.asarray((step - run.season.begin_step[row]) * STEP_H, dtype=np.float64)
    hour = run.clock.hour_of(active, day)
    sd = np.full(len(step), run.error_m)
    xy = _ORIGIN + path.xy[step] + rng.normal(0, run.error_m, (len(step), 2))
    return MovementTrack(name, day * 24.0 + hour, xy, isotropic_error(sd))


def _row(schedule: Schedule, days: int, parts: Sequence[_Scored]) -> dict[str, object]:
    table = pd.concat([p.table for p in parts])
    rate = sum(p.rate_mean for p in parts)
    return {
        "code": schedule.code,
        "schedule": schedule.words,
        "days": days,
        "fixes": float(table["fixes"].mean()),
        **_held(table, "crossing_days", "true_days", ("crossing_days", "width", "held")),
        "estimated": _over(table["crossing_days"].sum(), table["true_days"].sum()),
        "rate_width": _over(sum(p.rate_width for p in parts), rate),
        **_held(
            table, "total_crossings", "true_total",
            ("total_crossings", "total_width", "total_held"),
        ),
        "totals": _totals_words(table),
    }  # fmt: skip


def _held(
    table: pd.DataFrame, estimate: str, truth: str, names: tuple[str, str, str]
) -> dict[str, float]:
    low, high, true = table[f"{estimate}_low"], table[f"{estimate}_high"], table[truth]
    values = (
        float(true.mean()),
        _over((high - low).sum(), true.sum()),
        float(((low <= true) & (true <= high)).mean()),
    )
    return dict(zip(names, values, strict=True))


def _over(value: float, by: float) -> float:
    return float(value / by) if by > 0 else float("nan")


def _totals_words(table: pd.DataFrame) -> str:
    notes = table["totals_note"].astype(str)
    if (table["path_scale"] == "bursts").all():
        return "identified, by bursts"
    return "not identified" if notes.str.startswith("not").any() else "only under the prior"
