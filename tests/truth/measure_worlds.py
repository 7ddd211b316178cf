"""Fences chosen from what a study can know, scored on the deaths that are true.

Worlds of `death_worlds`: the model of deaths sees surveys, tags and reports, the choice its draws,
and the score the true rates. What a fence does is wrongly assumed on purpose: the study takes the
package's own ranges (0 to 1.1 of what is averted near an end comes back there, over 50 to 200 m),
and in truth 0, 0.2, 0.9 or 1 comes back over 25 or 200 m, by world. That is wrong in every world
and right on average, so that what is realised over what is predicted shows whether places were
chosen for their luck. `HARDER` are truths that are wrong on average too.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cache

import numpy as np

from roadrisk.mitigation.candidate_runs import candidate_runs, passages_of_runs
from roadrisk.mitigation.candidates import Candidates
from roadrisk.mitigation.choice import choose_for_budget
from roadrisk.mitigation.effects import EffectDraws, draw_effects
from roadrisk.mitigation.lines import RoadLines, road_lines
from roadrisk.mitigation.measures import built_in_measures
from roadrisk.mitigation.portfolio import evaluate, mean_values
from roadrisk.mortality.joint_model import JointDeaths
from roadrisk.roads.lixels import lay_lixels
from tests.truth.death_coverage import fit
from tests.truth.death_worlds import SCENARIOS, Place, World, lay_place, make_world
from tests.truth.networks import tree_of_roads

PIECE_M = 100.0
# Invented prices: a fence, a metre of road fenced on both sides, a passage.
A_FENCE, A_METRE, A_PASSAGE, SPACING_M = 20_000.0, 250.0, 30_000.0, 150.0
# Four fences on 5 % of the 36 km.
BUDGET = 4 * A_FENCE + 1_800 * (A_METRE + A_PASSAGE / SPACING_M)
TRUE_DISPLACED, TRUE_END_M = (0.0, 0.2, 0.9, 1.0), (25.0, 200.0)
HARDER = {"nothing moves": (0.0, 25.0), "all, 200 m": (1.0, 200.0), "all, 400 m": (1.0, 400.0)}
KINDS = {
    "surveys on all roads": "surveys on all roads",
    "few found": "surveys, few found",
    "half surveyed, reports": "surveys on half the roads, reports",
    "surveys on 60 %, tags": "surveys and crossings",
}
MORE_KINDS = {
    "all three": "surveys, crossings, reports",
    "half surveyed, biased reports": "half surveyed, biased reports",
}
WAYS = ("tool", "stretches", "windows", "worst 500 m", "longer windows")


@dataclass(frozen=True, eq=False)
class Roads:
    """The roads of all worlds, and every fence that may stand on them."""

    place: Place
    lines: RoadLines
    fences: Candidates


@dataclass(frozen=True)
class Score:
    """Of one world: deaths averted a year in truth by each way of choosing, at equal money."""

    world: int
    displaced: float
    end_m: float
    true: dict[str, float]
    harder: dict[str, dict[str, float]]  # the same, by truth of `HARDER`
    metres: dict[str, float]
    predicted: float
    held: bool  # whether the 90 % interval of what is averted holds the truth
    as_assumed: float  # averted on the true deaths if fences did what is assumed
    before: float  # true deaths on the tool's fences
    before_predicted: float
    deaths: float


@cache
def lay_roads() -> Roads:
    place, network = lay_place(PIECE_M), tree_of_roads()
    lines = road_lines(network, lay_lixels(network, 10.0), place.pieces)
    runs = candidate_runs(lines, least_m=100.0, longest_m=3000.0)
    new, _ = passages_of_runs(
        lines, runs, passage_at_m=np.zeros(0), passage_line=np.zeros(0, int), spacing_m=SPACING_M
    )
    cost = A_FENCE + A_METRE * runs.length_m + A_PASSAGE * new
    some = np.zeros(len(runs))
    fences = Candidates(
        runs.line, runs.first, runs.last, some.astype(int), some == 0, some, cost
    )  # fmt: skip
    return Roads(place, lines, fences)


def assumed(draws: int, seed: int) -> EffectDraws:
    """What a study takes a fence to do."""
    fence = built_in_measures()["fence_and_passages"]
    return draw_effects(fence, np.random.default_rng([77, seed]), draws)


def truth(world: int, effects: EffectDraws) -> EffectDraws:
    """What a fence does: the effect is one of the draws, f and l are not."""
    f = TRUE_DISPLACED[world % 4]
    reach = TRUE_END_M[world // 4 % 2]
    e = np.random.default_rng([78, world]).choice(effects.effect)
    return EffectDraws(np.array([e]), np.array([f]), np.array([reach]))


def try_world(kind: str, k: int, *, budget: float = BUDGET, draws: int = 400) -> Score | None:
    """Choose in a world and score; None where no survey found a death."""
    roads = lay_roads()
    world = make_world(
        roads.place, SCENARIOS[(KINDS | MORE_KINDS)[kind]], np.random.default_rng([11, k])
    )
    if not any(s.known and s.counted for s in world.sources):
        return None
    result = fit(world, k)
    every = result.expected_draws
    assert every is not None
    deaths = every[roads.lines.piece, :draws]
    effects = assumed(deaths.shape[1], k)
    length, fences = roads.lines.length_m, roads.fences
    fences = replace(fences, value=mean_values(deaths, length, fences, [effects]))
    chosen = choose_for_budget(fences, budget).chosen
    ways = {"tool": chosen, **rules_of_thumb(roads, result, budget)}
    real = true_deaths(roads, world)
    does = truth(k, effects)
    others = {
        name: replace(does, displaced=np.array([f]), end_m=np.array([reach]))
        for name, (f, reach) in HARDER.items()
    }
    true, harder, metres = {}, {}, {}
    for name, rows in ways.items():
        built = evaluate(real[:, None], length, fences, rows, [does])
        assert built.cost <= budget * (1 + 1e-9)
        true[name] = built.mean
        harder[name] = {
            other: evaluate(real[:, None], length, fences, rows, [effect]).mean
            for other, effect in others.items()
        }
        metres[name] = sum(length[fences.first[r] : fences.last[r]].sum() for r in rows)
    thought = evaluate(deaths, length, fences, chosen, [effects])
    same = np.repeat(real[:, None], deaths.shape[1], axis=1)
    as_assumed = evaluate(same, length, fences, chosen, [effects])
    low, high = thought.interval
    return Score(
        k, float(does.displaced[0]), float(does.end_m[0]), true, harder, metres, thought.mean,
        low <= true["tool"] <= high, as_assumed.mean, float(as_assumed.before.mean(axis=1).sum()),
        float(thought.before.mean(axis=1).sum()), float(real.sum()),
    )  # fmt: skip


def true_deaths(roads: Roads, world: World) -> np.ndarray:
    return (world.rate * roads.place.pieces.length_km)[roads.lines.piece]


def rules_of_thumb(roads: Roads, result: JointDeaths, budget: float) -> dict[str, np.ndarray]:
    """What one would fence from the same model of deaths without weighing ends and prices."""
    per_km = result.points[roads.lines.piece]
    lines = roads.lines
    stretches = _stretches(lines, per_km, 2.0 * np.average(per_km, weights=lines.length_m))
    windows = [(i, i + 1) for i in np.argsort(-per_km, kind="stable")]
    half_km = _five_hundreds(lines, per_km)
    of_line = np.searchsorted(lines.first, [a for a, _ in half_km], side="right")
    worst = [half_km[np.flatnonzero(of_line == line)[0]] for line in dict.fromkeys(of_line)]
    orders = {
        "stretches": stretches,
        "windows": windows,
        "worst 500 m": worst,
        "longer windows": half_km,
    }
    return {name: _while_it_lasts(roads, runs, budget) for name, runs in orders.items()}


def _stretches(lines: RoadLines, per_km: np.ndarray, least: float) -> list[tuple[int, int]]:
    """Stretches with more than twice the mean of all roads, most deaths per km first."""
    found = []
    for begin, end in zip(lines.first[:-1], lines.first[1:], strict=True):
        hot = np.concatenate([[False], per_km[begin:end] > least, [False]]).astype(int)
        found += zip(begin + np.flatnonzero(np.diff(hot) == 1), begin + np.flatnonzero(
            np.diff(hot) == -1), strict=True)  # fmt: skip
    mean = [np.average(per_km[a:b], weights=lines.length_m[a:b]) for a, b in found]
    return [found[i] for i in np.argsort(-np.array(mean), kind="stable")]


def _five_hundreds(lines: RoadLines, per_km: np.ndarray) -> list[tuple[int, int]]:
    """Windows of 500 m, or all of a shorter line, most deaths first; none overlaps a worse one."""
    found, amount = [], []
    deaths = per_km * lines.length_m
    for begin, end in zip(lines.first[:-1], lines.first[1:], strict=True):
        for a in range(begin, end):
            # As many places as come nearest to 500 m.
            b = a + 1 + int(np.argmin(np.abs(np.cumsum(lines.length_m[a:end]) - 500.0)))
            if a == begin or lines.length_m[a:b].sum() > 450.0:
                found.append((a, b))
                amount.append(deaths[a:b].sum())
    taken = np.zeros(len(per_km), bool)
    kept = []
    for i in np.argsort(-np.array(amount), kind="stable"):
        a, b = found[i]
        if not taken[a:b].any():
            taken[a:b] = True
            kept.append((a, b))
    return kept


def _while_it_lasts(roads: Roads, runs: list[tuple[int, int]], budget: float) -> np.ndarray:
    """Fence one run after another, passing by what is too dear; what touches becomes one."""
    fences = roads.fences
    row_of = {
        (int(a), int(b)): row
        for row, (a, b) in enumerate(zip(fences.first, fences.last, strict=True))
    }
    built: list[tuple[int, int]] = []
    for run in runs:
        wanted = _joined(roads.lines, [*built, run])
        rows = [row_of.get(one, -1) for one in wanted]
        if min(rows) >= 0 and fences.cost[rows].sum() <= budget:
            built = wanted
    return np.array([row_of[one] for one in built], dtype=np.int64)


def _joined(lines: RoadLines, runs: list[tuple[int, int]]) -> list[tuple[int, int]]:
    out: list[tuple[int, int]] = []
    for a, b in sorted((int(a), int(b)) for a, b in runs):
        if out and out[-1][1] == a and a not in lines.first:
            out[-1] = (out[-1][0], b)
        else:
            out.append((a, b))
    return out
