"""What an estimator of crossings is given, what it hands back, and how that is scored.

An estimator sees fixes with their errors, straight roads and the animals' active hours. It
never sees the path. Whoever writes one needs this file only.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy.stats import rankdata

Floats = NDArray[np.float64]
Ints = NDArray[np.int64]
LEVEL = 0.90


@dataclass(frozen=True, eq=False)
class Tracks:
    """Fixes of the animals of one study, sorted by animal and time; arrays of one length.

    Attributes
    ----------
    animal : ndarray of int64
        0 to animals - 1, every one with at least two fixes.
    time_hours : ndarray
        Hours since midnight of the first day, so the clock stands at ``time_hours % 24``.
    x, y : ndarray
        Where the animal was found [m].
    sd_m : ndarray
        Standard deviation of the location error on each axis [m], known.
    """

    animal: Ints
    time_hours: Floats
    x: Floats
    y: Floats
    sd_m: Floats

    @property
    def animals(self) -> int:
        """Number of animals."""
        return int(self.animal[-1]) + 1


@dataclass(frozen=True, eq=False)
class Road:
    """Straight roads of one width, divided into segments.

    Attributes
    ----------
    ends : ndarray, shape (roads, 4)
        x and y where the centreline begins and ends [m]; the ends are out of every reach.
    width_m : float
        Carriageway, edge to edge.
    segment_road : ndarray of int64, shape (segments,)
        Row of `ends`.
    segment_from_m, segment_to_m : ndarray, shape (segments,)
        Along the centreline from its beginning [m]; a road's segments cover it without a gap.
    ranked : ndarray of bool, shape (segments,)
        Segments whose order is scored. The others are the long ends.
    """

    ends: Floats
    width_m: float
    segment_road: Ints
    segment_from_m: Floats
    segment_to_m: Floats
    ranked: NDArray[np.bool_]

    @property
    def segments(self) -> int:
        """Number of segments, the long ends included."""
        return len(self.segment_road)

    @property
    def frames(self) -> Floats:
        """Begin and direction of each centreline: x, y, ux, uy, shape (roads, 4)."""
        along = self.ends[:, 2:] - self.ends[:, :2]
        return np.hstack([self.ends[:, :2], along / np.linalg.norm(along, axis=1)[:, None]])

    def segment_lines(self) -> Floats:
        """Each segment's centreline, shape (segments, 2, 2) [m]."""
        frame = self.frames[self.segment_road]
        reach = np.stack([self.segment_from_m, self.segment_to_m], axis=1)
        return frame[:, None, :2] + reach[:, :, None] * frame[:, None, 2:]

    def segment_at(self, road: Ints, along_m: Floats) -> Ints:
        """Segment that holds each place (a road's row, metres along it)."""
        out = np.zeros(len(road), dtype=np.int64)
        for each in range(len(self.ends)):
            rows = np.flatnonzero(self.segment_road == each)
            here = road == each
            found = np.searchsorted(self.segment_from_m[rows], along_m[here], side="right") - 1
            out[here] = rows[np.clip(found, 0, len(rows) - 1)]
        return out


@dataclass(frozen=True)
class Clock:
    """Hours of the day in which the animals may move."""

    start_hour: float
    end_hour: float

    @property
    def hours(self) -> float:
        """Active hours a day."""
        return self.end_hour - self.start_hour

    def active_hours(self, time_hours: Floats) -> Floats:
        """Active hours passed since midnight of the first day."""
        day, hour = np.divmod(time_hours, 24.0)
        return day * self.hours + np.clip(hour - self.start_hour, 0.0, self.hours)


@dataclass(frozen=True, eq=False)
class Estimates:
    """What an estimator hands back, about the span from each animal's first fix to its last.

    A crossing goes from clear of one carriageway edge to clear of the other.

    Attributes
    ----------
    crossing_days : ndarray, shape (animals, draws)
        Days on which the animal crossed any of the roads at least once. One draw: no interval.
    total_crossings : ndarray of shape (animals, draws), or None
        None where the estimator says that totals aren't identified.
    least_crossings : ndarray, shape (animals,)
        What the fixes force.
    segment_days : ndarray, shape (animals, segments)
        Mean over draws of the days on which the animal crossed the segment.
    """

    crossing_days: Floats
    total_crossings: Floats | None
    least_crossings: Floats
    segment_days: Floats


@dataclass(frozen=True, eq=False)
class Truth:
    """What really happened between each animal's first fix and its last.

    Attributes
    ----------
    crossing_days, total_crossings : ndarray, shape (animals,)
    segment_days : ndarray, shape (animals, segments)
    walked_m_per_active_hour : ndarray, shape (animals,)
        Length of the path at steps of a minute, as a trailed thread would show it.
    """

    crossing_days: Floats
    total_crossings: Floats
    segment_days: Floats
    walked_m_per_active_hour: Floats


Estimator = Callable[[Tracks, Road, Clock, np.random.Generator], Estimates]


@dataclass(frozen=True, eq=False)
class StudyScore:
    """Score of one estimator on one study.

    Attributes
    ----------
    animals : pandas.DataFrame
        One row an animal: days_true, days_mean, days_low, days_high, days_inside, days_level,
        least_wrong, and total_true, total_mean, total_inside, total_level (NaN without totals).
    segment_order, segment_order_per_m, animal_order : float
        Spearman's rank correlation with the truth: of the ranked segments by crossing-days of
        all animals together, by crossing-days per metre, and of animals by crossing-days. 0
        where the estimate is the same for all, NaN where the truth is.
    """

    animals: pd.DataFrame
    segment_order: float
    segment_order_per_m: float
    animal_order: float


def score(estimates: Estimates, truth: Truth, road: Road) -> StudyScore:
    """Hold an estimator's answers against the truth.

    The interval is equal-tailed from the draws and holds its ends. Counts are whole numbers,
    so such an interval holds more than its level when counts are small: `days_level` is the
    chance that the truth's place among the draws, ties broken at random, lies in the middle
    90 %. Its mean is 0.90 for a right model, however small the counts; NaN for one draw.
    """
    _check_shapes(estimates, truth)
    days = estimates.crossing_days
    low, high = _interval(days)
    table = pd.DataFrame({
        "days_true": truth.crossing_days, "days_mean": days.mean(axis=1),
        "days_low": low, "days_high": high,
        "days_inside": (low <= truth.crossing_days) & (truth.crossing_days <= high),
        "days_level": _level(days, truth.crossing_days),
        "least_wrong": estimates.least_crossings > truth.total_crossings,
        "total_true": truth.total_crossings,
        "total_mean": np.nan, "total_inside": np.nan, "total_level": np.nan,
    })  # fmt: skip
    totals = estimates.total_crossings
    if totals is not None:
        low, high = _interval(totals)
        inside = (low <= truth.total_crossings) & (truth.total_crossings <= high)
        table["total_mean"] = totals.mean(axis=1)
        table["total_inside"] = inside.astype(float)
        table["total_level"] = _level(totals, truth.total_crossings)
    found = estimates.segment_days.sum(axis=0)[road.ranked]
    real = truth.segment_days.sum(axis=0)[road.ranked]
    length = (road.segment_to_m - road.segment_from_m)[road.ranked]
    return StudyScore(
        table,
        spearman(found, real),
        spearman(found / length, real / length),
        spearman(days.mean(axis=1), truth.crossing_days),
    )


def summary(scores: list[StudyScore], rng: np.random.Generator) -> dict[str, float]:
    """One line of the table from the studies of one cell, `_se` after each standard error.

    coverage and level: share of animals (see `score`). bias: sum of the estimates over sum of
    the truth. width: mean width of the interval over the mean truth. Orders: mean over
    studies. Standard errors: whole studies drawn again with replacement, since animals of one
    study share a road and may share a prior; 400 times. NaN for one study.
    """
    sums = pd.DataFrame([_sums(s.animals) for s in scores])
    orders = np.array([[s.segment_order, s.segment_order_per_m, s.animal_order] for s in scores])
    whole = _line(sums, orders)
    again = []
    for _ in range(400):
        rows = rng.integers(0, len(scores), len(scores))
        again.append(_line(sums.iloc[rows], orders[rows]))
    spread = pd.DataFrame(again).std(ddof=1)
    out: dict[str, float] = {}
    for name, value in whole.items():
        out[name] = value
        if name not in {"animals", "true_days", "never_cross", "true_total"}:
            out[f"{name}_se"] = float(spread[name]) if len(scores) > 1 else np.nan
    return out


def spearman(estimate: Floats, truth: Floats) -> float:
    """Spearman's rank correlation, ties at mean rank; 0 if the estimate shows no order."""
    if len(truth) < 2 or np.ptp(truth) == 0:
        return float("nan")
    if np.ptp(estimate) == 0:
        return 0.0
    return float(np.corrcoef(rankdata(estimate), rankdata(truth))[0, 1])


def _sums(animals: pd.DataFrame) -> dict[str, float]:
    """Sums over the animals of one study."""
    out = {str(name): float(animals[name].sum(skipna=False)) for name in animals}
    out["days_width"] = out["days_high"] - out["days_low"]
    return out | {"animals": len(animals), "none": float((animals["days_true"] == 0).sum())}


def _line(sums: pd.DataFrame, orders: Floats) -> dict[str, float]:
    whole = dict(zip(map(str, sums.columns), sums.to_numpy(np.float64).sum(axis=0), strict=True))
    animals, days, total = whole["animals"], whole["days_true"], whole["total_true"]
    return {
        "animals": animals,
        "true_days": days / animals,
        "never_cross": whole["none"] / animals,
        "coverage": whole["days_inside"] / animals,
        "level": whole["days_level"] / animals,
        "bias": whole["days_mean"] / days if days else np.nan,
        "width": whole["days_width"] / days if days else np.nan,
        "segment_order": _mean(orders[:, 0]),
        "segment_order_per_m": _mean(orders[:, 1]),
        "animal_order": _mean(orders[:, 2]),
        "least_wrong": whole["least_wrong"] / animals,
        "true_total": total / animals,
        "total_coverage": whole["total_inside"] / animals,
        "total_level": whole["total_level"] / animals,
        "total_bias": whole["total_mean"] / total if total else np.nan,
    }


def _mean(values: Floats) -> float:
    known = values[~np.isnan(values)]
    return float(known.mean()) if len(known) else float("nan")


def _interval(draws: Floats) -> tuple[Floats, Floats]:
    """Equal-tailed; each end is one of the draws."""
    tails = [(1 - LEVEL) / 2, (1 + LEVEL) / 2]
    low, high = np.quantile(draws, tails, axis=1, method="inverted_cdf")
    return low, high


def _level(draws: Floats, truth: Floats) -> Floats:
    """Chance that below + U·equal (U uniform) lies in the middle `LEVEL` of 0 to 1.

    The truth counts as one draw more: a right model's draws and the truth are exchangeable.
    """
    if draws.shape[1] == 1:
        return np.full(len(truth), np.nan)
    count = draws.shape[1] + 1
    below = (draws < truth[:, None]).sum(axis=1) / count
    equal = ((draws == truth[:, None]).sum(axis=1) + 1) / count
    tail = (1 - LEVEL) / 2
    top = np.minimum(below + equal, 1 - tail)
    held: Floats = np.maximum(top - np.maximum(below, tail), 0.0) / equal
    return held


def _check_shapes(estimates: Estimates, truth: Truth) -> None:
    animals, draws = estimates.crossing_days.shape
    totals = estimates.total_crossings
    right = (
        animals == len(truth.crossing_days)
        and estimates.least_crossings.shape == (animals,)
        and estimates.segment_days.shape == truth.segment_days.shape
        and (totals is None or totals.shape == (animals, draws))
    )
    if not right:
        raise ValueError("estimates and truth disagree about animals, draws or segments")
    if not np.isfinite(estimates.crossing_days).all():
        raise ValueError("crossing-days must be finite numbers for every animal")
