"""Crossings as a source for the model of all sources: by hand."""

from __future__ import annotations

from types import SimpleNamespace

import numpy as np
import pytest

from roadrisk.mortality.crossing_deaths import deaths_from_crossings
from roadrisk.mortality.crossing_source import crossing_source
from roadrisk.mortality.sources import check_sources
from roadrisk.settings import PopulationSection
from tests.mortality.made_crossings import made_amounts

MANY = PopulationSection(adults=200, adults_low=200, adults_high=200)
PATHS = 100


class Pieces(SimpleNamespace):
    """As much of `roads.pieces.Pieces` as is asked for."""

    def __len__(self) -> int:
        return len(self.length_km)


def source(crossings, kill, reach, population=MANY, totals=True):
    crossings = np.asarray(crossings, dtype=float)
    animals, places = crossings.shape
    amounts = made_amounts(crossings, PATHS)
    years, weight = np.full(animals, 0.5), np.ones(animals)
    chances = np.repeat(np.array(kill, dtype=float)[:, None], PATHS, axis=1)
    deaths = deaths_from_crossings(
        amounts, years, weight, chances, 1, places=places, paths=PATHS, totals_identified=totals
    )
    pieces = Pieces(length_km=np.full(places, 0.1))
    return crossing_source(
        amounts, years, weight, deaths, chances, np.arange(places), pieces,
        np.array(reach), population, 1, paths=PATHS,
    )  # fmt: skip


def test_rate_that_it_stands_for_is_deaths_a_km_and_year() -> None:
    """Ten animals for half a year cross four times: 200 · 8 · 0.001 deaths on 0.1 km: 16 a km."""
    found = source([[4.0, 0.0, 0.0]] * 10, [0.001, 0.002, 0.5], [True, True, False])
    assert found.y.tolist() == pytest.approx([40.0, 0.0, 0.0])
    assert found.exposure.tolist() == pytest.approx([0.5, 0.5, 0.0])
    rate = found.y / found.exposure.clip(1e-9) / np.exp(found.log_q).mean(axis=1)
    # A little less: an animal dies once, and hazards of 0.008 make 0.00797 deaths.
    assert rate[0] == pytest.approx(16.0, rel=0.006)
    assert np.exp(found.log_q[1]).mean() == pytest.approx(1 / 0.4, rel=0.006)
    assert found.overdispersed
    check_sources([found], 3)


def test_without_a_population_it_says_where_only() -> None:
    found = source([[4.0, 4.0]] * 10, [0.001, 0.004], [True, True], population=None)
    assert not found.known
    where = found.y / found.exposure
    assert where[1] / where[0] == pytest.approx(4.0, rel=0.02)
    check_sources([found], 2)


def test_crossing_days_where_no_more_is_identified() -> None:
    assert source([[4.0]] * 10, [0.001], [True], totals=False).y.tolist() == pytest.approx([20.0])


def test_no_tagged_animals_and_no_traffic() -> None:
    nobody = source(np.zeros((0, 2)), [0.1, 0.1], [False, False])
    assert not nobody.watched
    quiet = source([[4.0]] * 10, [0.0], [True])
    assert np.isfinite(quiet.log_q).all()
    check_sources([quiet], 1)
