"""Choice of measures on invented networks, beside scipy's MILP solver (HiGHS) in the same run.

    python -m tests.benchmarks.choice_speed [part ...]

Parts (all unless told): `demo` (150 places, runs to 30 places, four measures), `network` (20,000
places of 100 m on lines of 20 to 200 places, runs to 30 places, a budget that fences about 1 % of
the road; two kinds of fence, on even ground and on ground where each place has its own price, then
with a standing measure that costs little; wanted gap 1 %, then 0, then as a target), `flat` (the
same rate everywhere, where many choices are nearly as good: the hardest) and `peer` (networks that
scipy.optimize.milp can do as well: one row a place, one a border where fences end or begin, one
for the budget). Rates are skewed (gamma, shape 0.3); costs are so much a site, a metre, and a
passage each 300 m, rounded up. Prints time, gap, largest memory and ratios. Compiled code is
warmed up before.
"""

from __future__ import annotations

import resource
import sys
import time
from dataclasses import replace

import numpy as np
from scipy import optimize, sparse

from roadrisk.base.seeds import generator
from roadrisk.mitigation.candidates import Candidates
from roadrisk.mitigation.choice import Choice, choose_for_budget, choose_for_target
from roadrisk.roads.network import Floats, Ints

PLACE_M = 100.0
# Share averted, share displaced, within so many metres, barrier, cost a site, metre, passage.
MEASURES = (
    (0.75, 0.4, 200.0, True, 8_000.0, 90.0, 25_000.0),
    (0.60, 0.6, 200.0, True, 5_000.0, 70.0, 0.0),
    (0.20, 0.0, 0.0, False, 1_500.0, 4.0, 0.0),
    (0.35, 0.0, 0.0, False, 12_000.0, 15.0, 0.0),
)


def memory() -> str:
    most = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 2**20
    return f"largest memory so far {most:.2f} GiB"


def network(places: int, seed: int) -> tuple[Floats, Ints]:
    """Deaths a year of each place, and the borders of the lines."""
    rng = generator(seed, "network")
    sizes = rng.integers(20, 201, size=places // 20)
    first = np.concatenate([[0], np.cumsum(sizes)])
    first = np.append(first[first < places], places)
    return rng.gamma(0.3, 0.05 / 0.3, places), first


def candidates(deaths: Floats, first: Ints, *, longest: int, measures: int) -> Candidates:
    """All runs of up to `longest` places, with every measure."""
    line = np.repeat(np.arange(len(first) - 1), np.diff(first))
    end = first[1:][line]
    begin = np.repeat(np.arange(len(deaths)), longest)
    last = begin + np.tile(np.arange(1, longest + 1), len(deaths))
    fits = last <= end[begin]
    begin, last = begin[fits], last[fits]
    total = np.concatenate([[0.0], np.cumsum(deaths)])
    sums, length_m = total[last] - total[begin], (last - begin) * PLACE_M
    value, cost = [], []
    for effect, displaced, within_m, _, site, metre, passage in MEASURES[:measures]:
        lost = np.zeros(len(begin))
        for step in range(int(within_m // PLACE_M)):
            # Mean of 1 - d/l over the step-th place from either end (at most 1 in sum).
            weight = 1 - (step + 0.5) * PLACE_M / within_m
            for at in (begin + step, last - 1 - step):
                inside = (at >= begin) & (at < last)
                lost += np.where(inside, weight * deaths[np.clip(at, 0, len(deaths) - 1)], 0.0)
        value.append(effect * (sums - displaced * np.minimum(lost, sums)))
        cost.append(site + metre * length_m + passage * np.ceil(length_m / 300.0))
    many = len(begin)
    return Candidates(
        np.tile(line[begin], measures), np.tile(begin, measures), np.tile(last, measures),
        np.repeat(np.arange(measures), many),
        np.repeat([m[3] for m in MEASURES[:measures]], many),
        np.concatenate(value), np.concatenate(cost),
    )  # fmt: skip


def budget_of(places: int, share: float) -> float:
    """What it costs to fence a share of the road in runs of 1 km."""
    _, _, _, _, site, metre, passage = MEASURES[0]
    return places * share / 10 * (site + 1000 * metre + 4 * passage)


def constraints(c: Candidates) -> sparse.csr_array:
    """Rows of the MILP: at most one at a place; no barrier ends where another begins."""
    rows, columns = [], []
    for k in range(len(c)):
        span = np.arange(c.first[k], c.last[k])
        rows.append(span)
        columns.append(np.full(len(span), k))
    places = int(c.last.max())
    # A barrier from a to b stands at borders a and b: all that begin or end at one exclude each
    # other, but for barriers that share a place and exclude each other anyway.
    fence = np.flatnonzero(c.barrier)
    border = c.line[fence] * (places + 1)
    for at in (c.first[fence], c.last[fence]):
        rows.append(places + border + at)
        columns.append(fence)
    row = np.unique(np.concatenate(rows), return_inverse=True)[1]
    column = np.concatenate(columns)
    return sparse.csr_array((np.ones(len(row)), (row, column)))


def peer_choice(c: Candidates, budget: float, seconds: float = 120.0) -> tuple[float, float]:
    """Value that HiGHS finds with its gap set to 0, and the gap it states."""
    one = constraints(c)
    found = optimize.milp(
        -c.value, integrality=np.ones(len(c)), bounds=optimize.Bounds(0, 1),
        constraints=[
            optimize.LinearConstraint(one, -np.inf, 1.0),
            optimize.LinearConstraint(c.cost[None, :], -np.inf, budget),
        ],
        options={"mip_rel_gap": 0.0, "time_limit": seconds},
    )  # fmt: skip
    return float(-found.fun), float(found.mip_gap)


def told(name: str, c: Candidates, choice: Choice, took: float) -> None:
    places = int((c.last - c.first)[choice.chosen].sum())
    print(
        f"{name}: {len(c):,} candidates, {took:.2f} s, gap {100 * choice.gap:.4f} %, "
        f"{len(choice.chosen)} measures on {places} places, value {choice.value:.4f}, "
        f"cost {choice.cost:,.0f}; {memory()}",
        flush=True,
    )


def timed(name: str, c: Candidates, budget: float, **options: float) -> tuple[Choice, float]:
    start = time.perf_counter()
    choice = choose_for_budget(c, budget, **options)
    took = time.perf_counter() - start
    told(name, c, choice, took)
    return choice, took


def on_ground(c: Candidates, seed: int) -> Candidates:
    """The same, where a metre costs 0.8 to 1.3 times as much, place by place."""
    dear = generator(seed, "ground").uniform(0.8, 1.3, int(c.last.max()))
    total = np.concatenate([[0.0], np.cumsum(dear)])
    return replace(c, cost=c.cost * (total[c.last] - total[c.first]) / (c.last - c.first))


def both_ways(name: str, c: Candidates, budget: float) -> None:
    """For the budget, then for what it averts as a target."""
    choice, _ = timed(name, c, budget)
    start = time.perf_counter()
    aim = choose_for_target(c, choice.value)
    told(f"{name}, as target", c, aim, time.perf_counter() - start)


def demo() -> None:
    for seed in range(3):
        deaths, first = network(150, seed)
        c = candidates(deaths, first, longest=30, measures=4)
        both_ways(f"demo size, network {seed}", c, budget_of(150, 0.1))


def large() -> None:
    budget = budget_of(20_000, 0.01)
    for seed in (1, 2):
        deaths, first = network(20_000, seed)
        for measures, even in ((2, True), (2, False), (3, False)):
            c = candidates(deaths, first, longest=30, measures=measures)
            c = c if even else on_ground(c, seed)
            name = f"network {seed}, {measures} measures, {'even' if even else 'own'} prices"
            timed(f"{name}, gap 1 %", c, budget, gap=0.01)
            both_ways(name, c, budget)


def flat() -> None:
    for places in (2_000, 20_000):
        _, first = network(places, 1)
        c = candidates(np.full(places, 0.05), first, longest=30, measures=2)
        timed(f"flat, {places:,} places, gap 1 %", c, budget_of(places, 0.05), gap=0.01)
        both_ways(f"flat, {places:,} places", c, budget_of(places, 0.05))


def peer() -> None:
    for places, longest in ((150, 10), (400, 10), (400, 30)):
        deaths, first = network(places, 5)
        c = candidates(deaths, first, longest=longest, measures=3)
        budget = budget_of(places, 0.05)
        choice, own = timed(f"{places} places, runs to {longest}", c, budget)
        start = time.perf_counter()
        value, gap = peer_choice(c, budget)
        theirs = time.perf_counter() - start
        print(f"  HiGHS: {theirs:.2f} s ({theirs / own:.0f} times ours), value {value:.4f}, "
              f"gap {100 * gap:.4f} %", flush=True)  # fmt: skip
        if gap == 0 and abs(value - choice.value) > 1e-6 * value:
            raise SystemExit("The two differ.")


PARTS = {"demo": demo, "network": large, "flat": flat, "peer": peer}


if __name__ == "__main__":
    deaths, first = network(60, 0)
    warm = candidates(deaths, first, longest=5, measures=3)
    choose_for_target(warm, choose_for_budget(warm, budget_of(60, 0.1)).value)
    for part in sys.argv[1:] or PARTS:
        PARTS[part]()
