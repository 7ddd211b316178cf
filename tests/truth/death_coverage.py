"""Coverage, bias and ranking of the one model of deaths: python -m tests.truth.death_coverage.

`--worlds 300 --first 1000` for the figures, which no setting has seen (settings were chosen on
worlds below 1000); `--scenario NAME` for one of them; `--district 120` for roads cut into
districts of at most so many pieces, as many roads are. Prints a line a scenario.
"""

from __future__ import annotations

import argparse
import time
from dataclasses import dataclass

import numpy as np

from roadrisk.mortality.death_ranks import best_number
from roadrisk.mortality.joint_districts import Division
from roadrisk.mortality.joint_model import JointDeaths, joint_deaths
from tests.truth.death_worlds import SCENARIOS, World, lay_place, make_world

TOP = 5


@dataclass(frozen=True)
class Score:
    """Of one world. Deaths in the top five are shares of all deaths a year."""

    total_held: bool
    watched_held: bool
    pieces_held: float
    total_true: float
    total_mean: float
    total_median: float
    total_best: float
    watched_true: float
    watched_mean: float
    watched_median: float
    watched_best: float
    width: float
    top_model: float
    top_counts: float
    top_kernel_pieces: float
    top_kernel_peaks: float
    top_best: float


def score(world: World, result: JointDeaths) -> Score:
    km = world.place.pieces.length_km
    assert result.rate is not None
    seen = result.watched
    low, high = np.quantile(result.rate, [0.05, 0.95], axis=1)
    total, watched = result.per_year, km[seen] @ result.rate[seen]
    assert total is not None
    true, true_watched = world.rate @ km, world.rate[seen] @ km[seen]
    deaths = world.rate * km
    # What a plain map would show: every dead animal found or reported, or else the crossings.
    dead = [s.y for s in world.sources if s.name != "crossings"]
    counts = np.sum(dead or [s.y for s in world.sources], axis=0)
    smooth, peaks = _kernel(world, counts)
    return Score(
        _holds(total, true),
        _holds(watched, true_watched),
        float(np.mean((low <= world.rate) & (world.rate <= high))),
        true,
        total.mean(),
        float(np.median(total)),
        float(best_number(total)),
        true_watched,
        watched.mean(),
        float(np.median(watched)),
        float(best_number(watched)),
        float(np.ptp(np.quantile(total, [0.05, 0.95]))),
        _top(result.rate.mean(axis=1), deaths),
        _top(counts / km, deaths),
        _top(smooth, deaths),
        _top(np.where(peaks, smooth, -1.0), deaths),
        _top(world.rate, deaths),
    )


def _holds(draws: np.ndarray, true: float) -> bool:
    low, high = np.quantile(draws, [0.05, 0.95])
    return bool(low <= true <= high)


def _top(order: np.ndarray, deaths: np.ndarray) -> float:
    best = np.argsort(-order, kind="stable")[:TOP]
    return float(deaths[best].sum() / deaths.sum())


def _kernel(world: World, counts: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Density of all counts (normal kernel, sd 200 m), and its local peaks."""
    xy, km = world.place.xy, world.place.pieces.length_km
    apart = np.hypot(*(xy[:, None, :] - xy[None, :, :]).transpose(2, 0, 1))
    weight = np.exp(-((apart / 200.0) ** 2) / 2)
    smooth = (weight @ counts) / (weight @ km)
    peak = np.ones(len(km), dtype=bool)
    for a, b in world.place.pieces.neighbours:
        peak[a if smooth[a] < smooth[b] else b] = False
    return smooth, peak


def fit(world: World, seed: int, district: int = 0) -> JointDeaths:
    place = world.place
    return joint_deaths(
        place.pieces, world.sources, seed=seed, roads=place.road, xy=place.xy,
        division=Division(above=0, most=district) if district else None,
    )  # fmt: skip


def run(
    name: str, worlds: int, first: int = 0, length_m: float = 100.0, district: int = 0
) -> list[Score]:
    place = lay_place(length_m)
    scores = []
    for k in range(first, first + worlds):
        world = make_world(place, SCENARIOS[name], np.random.default_rng([11, k]))
        if any(s.known and s.counted for s in world.sources):
            scores.append(score(world, fit(world, k, district)))
    return scores


def summary(name: str, scores: list[Score]) -> str:
    def mean(field: str) -> float:
        return float(np.mean([getattr(s, field) for s in scores]))

    true, watched = mean("total_true"), mean("watched_true")
    return (
        f"{name} ({len(scores)} worlds): coverage totals {mean('total_held'):.3f}, "
        f"watched {mean('watched_held'):.3f}, pieces {mean('pieces_held'):.3f}; bias of totals "
        f"best number {mean('total_best') / true - 1:+.3f} (standard error "
        f"{np.std([s.total_best / s.total_true for s in scores]) / len(scores) ** 0.5:.3f}), "
        f"mean {mean('total_mean') / true - 1:+.3f} median {mean('total_median') / true - 1:+.3f}, "
        f"watched best number {mean('watched_best') / watched - 1:+.3f} "
        f"mean {mean('watched_mean') / watched - 1:+.3f} "
        f"median {mean('watched_median') / watched - 1:+.3f}; "
        f"width/true {mean('width') / true:.2f}; deaths in the top {TOP}: "
        f"model {mean('top_model'):.4f}, counts {mean('top_counts'):.4f}, kernel "
        f"{mean('top_kernel_pieces'):.4f}, its peaks {mean('top_kernel_peaks'):.4f}, "
        f"best possible {mean('top_best'):.4f}"
    )


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--worlds", type=int, default=300)
    parser.add_argument("--first", type=int, default=0, help="number of the first world")
    parser.add_argument("--scenario", choices=list(SCENARIOS))
    parser.add_argument("--district", type=int, default=0, help="cut roads: pieces a district")
    given = parser.parse_args()
    for name in [given.scenario] if given.scenario else SCENARIOS:
        start = time.perf_counter()
        print(
            summary(name, run(name, given.worlds, given.first, district=given.district)),
            f"[{time.perf_counter() - start:.0f} s]",
            flush=True,
        )


if __name__ == "__main__":
    main()
