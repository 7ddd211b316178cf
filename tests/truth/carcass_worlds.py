"""Simulated roads on which animals die, carcasses vanish, and people search: the truth is known."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

if TYPE_CHECKING:
    from collections.abc import Callable

    Stay = Callable[[np.random.Generator, int], np.ndarray]

START = float((pd.Timestamp("2024-04-01") - pd.Timestamp(0)) / pd.Timedelta(days=1))
SEASON_DAYS = 214.0  # April to October
MONTHS = tuple(range(4, 11))
SIZES = ("small", "large")


def weibull(scale, shape):
    return lambda rng, n: scale * rng.weibull(shape, n)


def spike_and_tail(gone_fast=0.5, fast_days=0.8, slow_days=10.0):
    """Some carcasses go at once, others lie for long: no curve of the four families."""

    def stay(rng, n):
        fast = rng.random(n) < gone_fast
        return np.where(fast, rng.exponential(fast_days, n), rng.exponential(slow_days, n))

    return stay


@dataclass(frozen=True)
class Scenario:
    """What happens in a world, and how it was searched and tried."""

    name: str
    deaths: float = 60.0
    stay: Stay = field(default_factory=lambda: weibull(5.0, 0.7))
    detection: tuple[float, float] = (0.45, 0.75)  # small, large
    small: float = 0.35
    later: float = 0.6
    mean_gap_days: float = 4.0
    trial_carcasses: int = 30
    stay_carcasses: int = 30
    second_looks: bool = True
    checks: tuple[float, ...] = (0.5, 1, 2, 4, 7, 10, 14, 21)


SCENARIOS = (
    Scenario("weibull, on foot"),
    Scenario("spike and tail", stay=spike_and_tail()),
    Scenario("few carcasses", deaths=10.0),
    Scenario("hardly any", deaths=2.0),
    Scenario("no second looks", second_looks=False),
    Scenario("missed ones stay missed", later=0.1, detection=(0.35, 0.7)),
    Scenario("missed ones as easy", later=1.0, second_looks=False),
    Scenario("by car", detection=(0.12, 0.25), deaths=200.0, trial_carcasses=40),
    Scenario("small trials", trial_carcasses=15, stay_carcasses=15),
    Scenario("rare searches", mean_gap_days=14.0, deaths=120.0),
)


@dataclass(frozen=True)
class World:
    """What was searched, found and tried, and the truth."""

    look_day: np.ndarray
    trials: pd.DataFrame
    found: dict[str, int]
    rate_a_day: float
    died_at: np.ndarray


def make_world(scenario: Scenario, rng: np.random.Generator) -> World:
    """Deaths through the whole season; the first search comes 20 to 50 days into it."""
    first = START + rng.uniform(20, 50)
    # Irregular dates: gaps from half to twice the mean, and weather that skips some searches.
    gaps = (
        scenario.mean_gap_days
        * rng.uniform(0.5, 1.5, 200)
        * rng.choice([1, 2], 200, p=[0.85, 0.15])
    )
    looks = first + np.concatenate([[0], np.cumsum(gaps)])
    looks = looks[looks < START + SEASON_DAYS - 1]
    died = np.sort(START + rng.uniform(0, SEASON_DAYS, rng.poisson(scenario.deaths)))
    stay = scenario.stay(rng, len(died))
    large = rng.random(len(died)) >= scenario.small
    found = dict.fromkeys(SIZES, 0)
    for t, lies, is_large in zip(died, stay, large, strict=True):
        p = scenario.detection[int(is_large)]
        for _ in looks[(looks > t) & (looks <= t + lies)]:
            if rng.random() < p:
                found[SIZES[int(is_large)]] += 1
                break
            p *= scenario.later
    rate = scenario.deaths / SEASON_DAYS
    return World(looks, make_trials(scenario, rng), found, rate, died)


def make_trials(scenario: Scenario, rng: np.random.Generator) -> pd.DataFrame:
    """Rows of the table of trials: detection by size with second looks, and persistence."""
    rows = []
    for size, p in zip(SIZES, scenario.detection, strict=True):
        count = scenario.trial_carcasses // 2
        hit = int(rng.binomial(count, p))
        rows.append((size, "detection", 1, count, hit, np.nan, np.nan))
        if scenario.second_looks and count > hit:
            again = int(rng.binomial(count - hit, p * scenario.later))
            rows.append((size, "detection", 2, count - hit, again, np.nan, np.nan))
    checks = np.concatenate([[0.0], scenario.checks])
    for stay in scenario.stay(rng, scenario.stay_carcasses):
        at = int(np.searchsorted(checks, stay, side="right")) - 1
        gone = checks[at + 1] if at + 1 < len(checks) else np.nan
        rows.append(("", "persistence", 1, 1, np.nan, checks[at], gone))
    columns = ["size", "trial", "look", "carcasses", "found", "last_seen_days", "first_gone_days"]
    return pd.DataFrame(rows, columns=columns).assign(samplingProtocol="walk")
