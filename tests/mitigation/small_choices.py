"""Small sets of candidates for tests of the choice, and all their choices one by one."""

from __future__ import annotations

import numpy as np

from roadrisk.mitigation.candidates import Candidates
from roadrisk.roads.network import Floats


def candidates(rows) -> Candidates:
    """Of (line, first, last, measure, barrier, value, cost)."""
    columns = list(zip(*rows, strict=True)) if rows else [[]] * 7
    kinds = (np.int64, np.int64, np.int64, np.int64, np.bool_, np.float64, np.float64)
    return Candidates(*(np.array(x, dtype=k) for x, k in zip(columns, kinds, strict=True)))


def drawn(rng, many=12, *, lines=3, places=6, longest=3, whole=False) -> Candidates:
    """Random candidates; some avert less than nothing; `whole` numbers make ties."""
    line = rng.integers(lines, size=many)
    at = rng.integers(places, size=many)
    last = np.minimum(at + rng.integers(1, longest + 1, size=many), places)
    value, cost = rng.gamma(0.7, 1.0, many) - 0.3, rng.gamma(1.0, 1.0, many) + 0.1
    if whole:
        value, cost = np.round(2 * value), np.ceil(cost)
    return Candidates(
        line, line * places + at, line * places + last, rng.integers(4, size=many),
        rng.random(many) < 0.6, value, cost,
    )  # fmt: skip


def exclude(c: Candidates, i: int, j: int) -> bool:
    """Whether two candidates exclude each other, by the definition's own words."""
    if c.line[i] != c.line[j]:
        return False
    if set(range(c.first[i], c.last[i])) & set(range(c.first[j], c.last[j])):
        return True
    touch = c.last[i] == c.first[j] or c.last[j] == c.first[i]
    return bool(c.barrier[i] and c.barrier[j] and touch)


def all_choices(c: Candidates) -> tuple[list[tuple[int, ...]], Floats, Floats]:
    """Every set of candidates that can be built together, with its value and cost."""
    sets: list[tuple[int, ...]] = [()]
    for i in range(len(c)):
        sets += [(*s, i) for s in sets if not any(exclude(c, i, j) for j in s)]
    value = np.array([c.value[list(s)].sum() for s in sets])
    return sets, value, np.array([c.cost[list(s)].sum() for s in sets])
