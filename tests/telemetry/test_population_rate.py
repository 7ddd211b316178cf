"""Rates for the population from draws of the tagged animals, by hand."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from roadrisk.base.seeds import generator
from roadrisk.telemetry.population_rate import (
    BOOTSTRAP,
    COLUMNS,
    GAMMA_POISSON,
    NONE,
    population_rate,
    population_rates,
)


def rng() -> np.random.Generator:
    return generator(7, "tests.population")


def certain(counts: list[float]) -> np.ndarray:
    return np.repeat(np.array(counts, dtype=float)[:, None], 50, axis=1)


def test_mean_is_crossing_days_over_years_of_all_animals() -> None:
    """(2 + 0 + 7) / (0.5 + 1 + 1.5); draws of an animal are averaged."""
    days = np.array([[1.0, 3.0], [0.0, 0.0], [7.0, 7.0]])
    found = population_rate(days, np.array([0.5, 1.0, 1.5]), rng())
    assert found.mean == pytest.approx(9 / 3)
    assert found.low < found.mean < found.high


def test_weights_weigh_days_and_years() -> None:
    """(2·2 + 1·6) / (2·1 + 1·3)."""
    found = population_rate(certain([2, 6]), np.array([1.0, 3.0]), rng(), weight=np.array([2, 1.0]))
    assert found.mean == pytest.approx(10 / 5)


def test_animal_of_no_weight_is_as_if_it_weren_t_there() -> None:
    days, years = certain([3, 5, 90, 8]), np.array([1.0, 2.0, 1.0, 1.0])
    out = population_rate(days, years, rng(), weight=np.array([1.0, 1, 0, 1]))
    without = population_rate(days[[0, 1, 3]], years[[0, 1, 3]], rng())
    assert (out.mean, out.low, out.high) == (without.mean, without.low, without.high)
    assert out.note.startswith("3 animals")


@pytest.mark.parametrize("years", [[], [0.0, 0.0]])
def test_nobody_watched(years: list[float]) -> None:
    found = population_rate(np.zeros((len(years), 5)), np.array(years), rng())
    assert np.isnan([found.mean, found.low, found.high]).all()
    assert (found.method, found.note) == (NONE, "not identified: no tagged animal was watched")
    assert len(found.draws) == 0


def test_one_animal_has_a_mean_and_no_interval() -> None:
    found = population_rate(certain([6]), np.array([0.5]), rng())
    assert found.mean == 12
    assert np.isnan([found.low, found.high]).all()
    assert "not identified" in found.note
    assert found.method == NONE


@pytest.mark.parametrize(("animals", "method"), [(2, GAMMA_POISSON), (7, GAMMA_POISSON),
                                                 (8, BOOTSTRAP), (30, BOOTSTRAP)])  # fmt: skip
def test_method_follows_the_number_of_animals(animals: int, method: str) -> None:
    found = population_rate(certain(list(range(animals))), np.ones(animals), rng())
    assert found.method == method
    assert f"{animals} animals" in found.note


def test_few_crossing_animals_are_not_resampled() -> None:
    """Two of twenty crossed: resampling them would put the upper limit too low."""
    found = population_rate(certain([4, 3] + [0] * 18), np.ones(20), rng())
    assert found.method == GAMMA_POISSON
    assert "about 2.0 of 20 animals crossed here" in found.note
    # Percentiles of resampled animals end at 0.75.
    assert found.high > 0.9


def test_animals_all_alike_have_an_interval() -> None:
    found = population_rate(certain([5] * 10), np.ones(10), rng())
    assert found.method == GAMMA_POISSON
    assert found.low < 4.5 < 5.5 < found.high


def test_no_crossing_says_nothing_of_other_animals() -> None:
    """None of twenty crossed: others may live right there, so there is no upper limit."""
    found = population_rate(certain([0] * 20), np.ones(20), rng())
    assert found.mean == 0
    assert np.isnan([found.low, found.high]).all()
    assert found.method == NONE
    assert "how often others would is not identified" in found.note


def test_no_rate_is_above_the_days_of_a_year() -> None:
    found = population_rate(certain([0, 90]), np.array([0.5, 0.5]), rng(), most_a_year=180)
    assert found.high <= 180
    assert found.draws.max() <= 180.01


def test_unsure_paths_widen_the_interval() -> None:
    """The same means, once known and once spread over the animal's paths."""
    count = np.arange(2.0, 14.0)
    known = population_rate(certain(list(count)), np.ones(12), rng())
    spread = count[:, None] * np.tile([0.0, 2.0], 25)
    unsure = population_rate(spread, np.ones(12), rng())
    assert unsure.mean == pytest.approx(known.mean)
    assert unsure.high - unsure.low > 1.5 * (known.high - known.low)


def test_fractions_of_days_are_taken() -> None:
    """A day shared out among places: thirds of the counts move the limits about by a third."""
    whole = population_rate(certain([3, 6, 2, 9]), np.ones(4), rng())
    third = population_rate(certain([1, 2, 2 / 3, 3]), np.ones(4), rng())
    assert third.mean == pytest.approx(whole.mean / 3)
    assert third.low < whole.low / 3 * 1.1
    assert whole.high / 3 < third.high < whole.high


def test_many_places_equal_each_alone() -> None:
    """Rows of one place, animal and draw add up; places without rows have none."""
    draw = generator(3, "tests.many")
    days = draw.poisson(draw.gamma(0.5, 4, (5, 12, 1)), (5, 12, 40)).astype(float)
    days[2] = 0
    days[3, 2:] = 0
    years = draw.uniform(0.5, 1, 12)
    place, animal, path = np.nonzero(days)
    long = pd.DataFrame(
        {"place": place, "animal": animal, "draw": path, "amount": days[days > 0] / 2}
    )
    table = population_rates(pd.concat([long, long]), years, rng(), places=5, draws=40)
    assert list(table.columns) == COLUMNS
    assert list(table["method"]) == [BOOTSTRAP, BOOTSTRAP, NONE, GAMMA_POISSON, BOOTSTRAP]
    for row, each in zip(table.itertuples(), days, strict=True):
        alone = population_rate(each, years, rng())
        assert row.mean == pytest.approx(alone.mean)
        assert (row.low, row.high) == pytest.approx(
            (alone.low, alone.high), rel=0.12, abs=1e-12, nan_ok=True
        )


def test_same_seed_same_interval_and_input_untouched() -> None:
    days, years = certain([1, 2, 8, 0, 3, 3, 9, 12, 0, 1]), np.ones(10)
    before = days.copy()
    first, second = (population_rate(days, years, rng()) for _ in range(2))
    assert (first.low, first.high) == (second.low, second.high)
    assert np.array_equal(days, before)
