"""The population's interval on simulated animals; see `population_coverage` for the whole table."""

from __future__ import annotations

import pytest

from tests.truth.population_coverage import coverage


@pytest.mark.parametrize("animals", [4, 6, 10, 20, 40])
@pytest.mark.parametrize(("shape", "known"), [(0.4, 1.0), (3.0, 0.5)])
def test_population_interval_holds_its_level(animals: int, shape: float, known: float) -> None:
    """90 % intervals of the mean of gamma-Poisson animals, 200 studies a cell.

    1,000 studies a cell gave 87 to 97 % (the gamma-Poisson model rather more, resampled animals
    87 to 91 % where crossing-days are known); three standard errors of 200 are 6 points.
    """
    found = coverage(animals, shape, 15.0, known, 200)
    assert 0.82 <= found["held"] <= 0.995
    assert found["bias"] == pytest.approx(1.0, abs=0.25 if animals < 10 else 0.15)
