"""Sums and draws of all divisions, held against plain enumeration of every division."""

from __future__ import annotations

import numpy as np

from roadrisk.sightings.linking_partitions import _chances


def divisions(items):
    """Every set partition of a list."""
    if not items:
        yield []
        return
    head, rest = items[0], items[1:]
    for smaller in divisions(rest):
        yield [[head], *smaller]
        for k in range(len(smaller)):
            yield [*smaller[:k], [head, *smaller[k]], *smaller[k + 1 :]]


def test_chances_of_groups_are_those_of_plain_enumeration():
    units = 6
    rng = np.random.default_rng(3)
    weight = rng.exponential(1.0, 1 << units) * (rng.random(1 << units) < 0.8)
    for u in range(units):
        weight[1 << u] = 1.0
    wanted, total, number = np.zeros(1 << units), 0.0, 0
    for division in divisions(list(range(units))):
        masks = [sum(1 << u for u in group) for group in division]
        w = np.prod(weight[masks])
        total, number = total + w, number + 1
        wanted[masks] += w
    assert number == 203  # Bell number
    np.testing.assert_allclose(_chances(weight, units)[1:], wanted[1:] / total, rtol=1e-12)
