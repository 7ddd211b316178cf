"""The choice of measures against scipy.optimize.milp (HiGHS) on a few hundred candidates."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy import optimize, sparse

from roadrisk.mitigation.choice import choose_for_budget, choose_for_target
from tests.benchmarks.choice_speed import budget_of, candidates, constraints, network

# HiGHS takes sums within 1e-6 of a limit and numbers within 1e-6 of whole ones as kept; a dozen
# measures together may be off by some such shares.
NEAR = 1e-5


def solved(objective, rows, low, high) -> float:
    found = optimize.milp(
        objective, integrality=np.ones(len(objective)), bounds=optimize.Bounds(0, 1),
        constraints=[optimize.LinearConstraint(rows, low, high)], options={"mip_rel_gap": 0.0},
    )  # fmt: skip
    assert found.success
    return float(found.fun)


@pytest.mark.parametrize("seed", range(50))
def test_equals_highs(seed: int) -> None:
    """scipy.optimize.milp (HiGHS) with its gap set to 0: the same value, and the same cost."""
    rng = np.random.default_rng(seed)
    places = int(rng.integers(36, 44))
    deaths, first = network(places, seed)
    first = np.unique(np.concatenate([first, [places // 3, places // 2]]))
    made = candidates(deaths, first, longest=int(rng.integers(3, 5)), measures=3)
    # Ground differs from place to place; ties would keep HiGHS busy for long.
    made = replace(made, cost=made.cost * rng.uniform(0.8, 1.25, len(made)))
    assert 200 <= len(made) <= 600
    excluded = constraints(made)
    ones, none = np.ones(excluded.shape[0]), np.full(excluded.shape[0], -np.inf)
    budget = budget_of(places, rng.uniform(0.03, 0.3))
    cost, value = made.cost / budget, made.value / made.value.max()

    choice = choose_for_budget(made, budget)
    rows = sparse.vstack([excluded, sparse.csr_array(cost[None, :])])
    best = -solved(-value, rows, np.append(none, -np.inf), np.append(ones, 1.0))
    assert choice.gap == 0
    assert choice.value / made.value.max() == pytest.approx(best, rel=NEAR)

    target = choice.value * rng.uniform(0.3, 1.0)
    aim = choose_for_target(made, target)
    rows = sparse.vstack([excluded, sparse.csr_array(value[None, :])])
    low, high = np.append(none, target / made.value.max()), np.append(ones, np.inf)
    least = solved(cost, rows, low, high)
    assert aim.gap == 0
    assert aim.value >= target * (1 - 1e-9)
    assert aim.cost / budget == pytest.approx(least, rel=NEAR)
