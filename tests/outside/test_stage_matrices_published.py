"""Stage matrices against published ones."""

from __future__ import annotations

import numpy as np
import pytest

from roadrisk.mortality.projection import growth_of, transitions

# Loggerhead sea turtles: survival, years and young of table 3 in Crouse, Crowder & Caswell 1987,
# Ecology 68:1412–1423, as rdrr.io/github/BruceKendall/mpmtools gives them (data-raw/sea-turtles).
SURVIVAL = np.array([0.6747, 0.7857, 0.6758, 0.7425, 0.8091, 0.8091, 0.8091])
YEARS = np.array([1, 7, 8, 6, 1, 1, np.inf])
YOUNG = np.array([0.0, 0, 0, 0, 127, 4, 80])

# Desert tortoise with medium-high fertility: Doak, Kareiva & Klepetka 1994, Ecological
# Applications 4:446–460, as rdrr.io/cran/popdemo gives it (Tort).
TORTOISE = np.array([
    [0, 0, 0, 0, 0, 1.3, 1.98, 2.57], [0.716, 0.567, 0, 0, 0, 0, 0, 0],
    [0, 0.149, 0.567, 0, 0, 0, 0, 0], [0, 0, 0.149, 0.604, 0, 0, 0, 0],
    [0, 0, 0, 0.235, 0.56, 0, 0, 0], [0, 0, 0, 0, 0.225, 0.678, 0, 0],
    [0, 0, 0, 0, 0, 0.249, 0.851, 0], [0, 0, 0, 0, 0, 0, 0.016, 0.86],
])  # fmt: skip


def test_loggerhead_matrix_and_its_growth() -> None:
    """Moves and growth 0.945 of the paper's table 4 from memory; births as the paper puts them.

    Its births are those of the count itself, not of mothers that live to breed, so they are
    laid in directly here.
    """
    moves = transitions(SURVIVAL, YEARS)
    stays, goes = np.diag(moves), np.diag(moves, -1)
    assert stays == pytest.approx([0, 0.7370, 0.6610, 0.6907, 0, 0, 0.8091], abs=2e-4)
    assert goes == pytest.approx([0.6747, 0.0486, 0.0147, 0.0518, 0.8091, 0.8091], abs=2e-4)
    born = np.zeros((7, 7))
    born[0] = YOUNG
    assert growth_of(moves, born).rate == pytest.approx(0.945, abs=5e-4)


def test_desert_tortoise_growth() -> None:
    """0.96 (from memory), and to the last digit what numpy finds."""
    born = np.zeros((8, 8))
    born[0] = TORTOISE[0]
    found = growth_of(TORTOISE - born, born)
    assert found.rate == pytest.approx(max(np.linalg.eigvals(TORTOISE).real), abs=1e-12)
    assert found.rate == pytest.approx(0.96, abs=0.005)
    sides = TORTOISE @ found.stable / found.rate, found.value @ TORTOISE / found.rate
    assert sides[0] == pytest.approx(found.stable, abs=1e-12)
    assert sides[1] == pytest.approx(found.value, abs=1e-9)
