"""Traffic that leaves a share of the deaths: by bisection on each road, and in any blocks."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import optimize

from roadrisk.mitigation import traffic_needed as module
from roadrisk.mitigation.traffic_needed import traffic_needed
from tests.mitigation.test_traffic_cut import inputs_of, left_of

AADT = [30.0, 400.0, 2500.0, 9000.0, 20_000.0]
# Pieces of five roads' segments; roads don't lie together.
AT = np.array([0, 3, 1, 4, 2, 2, 0, 1])
ROAD = np.array(["b", "a", "b", "a", "c", "c", "b", "d"], dtype=object)


def needed():
    inputs = inputs_of(AADT)
    deaths = np.random.default_rng(1).gamma(2.0, 1.0, (len(AT), 40))
    left = left_of(inputs)
    return left, deaths, traffic_needed(left, AT, deaths, ROAD, inputs.traffic.aadt[AT], 0.5)


@pytest.mark.parametrize("block", [1, 3, 1000])
def test_blocks_make_no_difference(monkeypatch, block) -> None:
    monkeypatch.setattr(module, "_BLOCK", block)
    _, _, (table, times) = needed()
    monkeypatch.undo()
    _, _, (again, times_again) = needed()
    assert table["road"].tolist() == again["road"].tolist()
    numbers = [c for c in table if c.startswith("vehicles")]
    np.testing.assert_allclose(table[numbers], again[numbers], rtol=1e-12)
    np.testing.assert_allclose(times, times_again, rtol=1e-12)


def test_half_of_the_deaths_are_left() -> None:
    """Against scipy's root of the same curve, draw by draw."""
    left, deaths, (table, times) = needed()
    every = deaths.sum(axis=0)
    for d in (0, 17, 39):

        def over(t: float, d: int = d) -> float:
            return float((deaths[:, d] * left.with_traffic(t)[AT, d]).sum() / every[d] - 0.5)

        assert times[d] == pytest.approx(optimize.brentq(over, 1e-3, 1.0), rel=0.01)
    assert set(table["road"]) == {"a", "b", "c", "d"}
    assert (table["vehicles_needed"] < table["vehicles_a_day"]).all()
