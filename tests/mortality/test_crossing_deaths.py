"""Deaths from crossings: by hand, and by asking a simulated world back."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from roadrisk.mortality.crossing_deaths import adults_weight, deaths_from_crossings
from roadrisk.settings import PopulationSection
from tests.mortality.made_crossings import made_amounts

MANY = PopulationSection(adults=100, adults_low=100, adults_high=100)
PATHS = 200


def deaths(crossings, kill, *, years=None, weight=None, a_day=2.0, seed=None, **more):
    crossings = np.asarray(crossings, dtype=float)
    animals, places = crossings.shape
    options = {"totals_identified": True, "population": MANY} | more
    return deaths_from_crossings(
        made_amounts(crossings, PATHS, a_day=a_day, seed=seed),
        np.ones(animals) if years is None else years,
        np.ones(animals) if weight is None else weight,
        np.broadcast_to(kill, (places, PATHS)).astype(float), 5, places=places, paths=PATHS,
        **options,
    )  # fmt: skip


def test_few_crossings_that_hardly_kill_are_a_product() -> None:
    """Ten animals, 4 and 1 crossings a year, p 0.001 and 0.002: 0.6 deaths in 100 animal-years."""
    found = deaths([[4, 1]] * 10, [[0.001], [0.002]])
    assert found.total_per_animal.mean() == pytest.approx(0.006, rel=0.1)
    table = found.places
    # An animal dies once: 1 − 0.999⁴ · 0.998 is 0.2 % less than 0.006.
    assert table["deaths_per_100_animal_years"].tolist() == pytest.approx([0.4, 0.2], rel=0.004)
    assert table["deaths_a_year_crossings"].tolist() == pytest.approx([0.4, 0.2], rel=0.004)
    assert found.plain.sum() == pytest.approx(1 - 0.999**4 * 0.998, rel=1e-9)
    assert (table["deaths_a_year_crossings_low"] < [0.4, 0.2]).all()
    assert (table["deaths_a_year_crossings_high"] > [0.4, 0.2]).all()
    assert found.among_tagged.mean() == pytest.approx(10 * 0.006)


def test_an_animal_dies_once() -> None:
    """Fifty crossings at p 0.5: everybody, and never more than there are."""
    found = deaths([[50, 50]] * 10, [[0.5], [0.5]])
    assert found.total_per_animal.max() <= 1.0
    assert found.total_per_animal.mean() == pytest.approx(1.0, abs=0.01)
    assert found.total_a_year.max() <= 100.0 + 1e-9
    assert found.places["deaths_a_year_crossings"].tolist() == pytest.approx([50, 50])


def test_half_a_year_watched_is_twice_the_rate() -> None:
    whole = deaths([[4]] * 10, [[0.001]])
    half = deaths([[2]] * 10, [[0.001]], years=np.full(10, 0.5))
    assert half.total_per_animal.mean() == pytest.approx(whole.total_per_animal.mean(), rel=0.15)
    assert half.among_tagged.mean() == pytest.approx(whole.among_tagged.mean() / 2)


def test_crossing_days_are_a_lower_bound_and_say_so() -> None:
    totals, days = (
        deaths([[4]] * 10, [[0.001]], a_day=2.0, totals_identified=known) for known in (True, False)
    )
    assert days.lower_bound
    assert not totals.lower_bound
    assert days.among_tagged.mean() == pytest.approx(totals.among_tagged.mean() / 2)
    assert "lower bound" in " ".join(days.notes)
    assert "lower bound" not in " ".join(totals.notes)


def test_uncertain_chances_are_shared_by_all_places() -> None:
    kill = np.linspace(0.0005, 0.002, PATHS)[None, :].repeat(2, axis=0)
    found = deaths([[4, 4]] * 12, kill)
    assert np.corrcoef(found.per_animal)[0, 1] > 0.5
    wide = np.quantile(found.total_per_animal, [0.05, 0.95])
    assert wide[1] / wide[0] > 2.5


def test_without_a_population_only_per_animal() -> None:
    found = deaths([[4]] * 10, [[0.001]], population=None)
    assert np.isnan(found.total_a_year).all()
    assert found.places["deaths_a_year_crossings"].isna().all()
    assert found.places["deaths_per_100_animal_years"].notna().all()
    assert "not identified" in found.places["crossing_deaths_note"].iloc[0]
    assert "how many animals there are isn't known" in " ".join(found.notes)


def test_without_tagged_animals_nothing_is_known() -> None:
    found = deaths(np.zeros((0, 3)), [[0.1]] * 3)
    assert np.isnan(found.per_animal).all()
    assert "no tagged animal was watched" in found.notes[0]
    assert (found.places["crossing_deaths_note"].str.contains("no tagged animal")).all()


def test_one_animal_and_places_nobody_crossed() -> None:
    found = deaths([[4, 0]], [[0.001]] * 2)
    assert np.isnan(found.total_per_animal).all()
    assert "one tagged animal" in " ".join(found.notes)
    assert found.places["crossing_deaths_note"].iloc[1].startswith("not identified: no drawn path")


def test_seen_deaths_are_held_against_expected_ones() -> None:
    few = deaths([[30]] * 10, [[0.2]], road_deaths_seen=1)
    assert "fewer than crossings and traffic lead to expect" in few.notes[-2]
    assert "below 0.001" in few.notes[-2]
    # Garwood: one death is 0.0513 to 4.744, of 300 crossings.
    assert "chance 0.0033 (0.00017 to 0.016)" in few.notes[-1]
    many = deaths([[3]] * 10, [[0.002]], road_deaths_seen=3)
    assert "more than crossings" in many.notes[-2]
    fits = deaths([[3]] * 10, [[0.03]], road_deaths_seen=1)
    assert "doesn't contradict" in fits.notes[-2]


def test_young_ones_are_left_out_where_adults_are_known() -> None:
    weight = np.array([1.0, 0.5, 1.0])
    assert adults_weight(weight, pd.Series(["adult", "Adult", "juvenile"])).tolist() == [1, 0.5, 0]
    assert adults_weight(weight, pd.Series(["", "", ""])).tolist() == weight.tolist()
    assert adults_weight(weight, pd.Series(["adult"] * 3)).tolist() == weight.tolist()


def test_truth_simulated_populations() -> None:
    """Forty worlds: gamma crossing rates, 15 tagged of many; 90 % intervals hold the true rate.

    At least 31 of 40, which a true 90 % misses once in 200.
    """
    rng = np.random.default_rng(8)
    inside = 0
    for _ in range(40):
        shape, places = 1.2, 3
        mean = np.array([6.0, 2.0, 0.5])
        rates = rng.gamma(shape, 1 / shape, (200_000, 1)) * mean
        p = np.array([0.02, 0.05, 0.1]) * np.exp(0.3 * rng.standard_normal())
        truth = -np.expm1(-(rates @ p)).mean()
        tagged = rng.poisson(rates[:15])
        kill = np.array([[0.02], [0.05], [0.1]]) * np.exp(0.3 * rng.standard_normal(PATHS))
        found = deaths(tagged, kill.reshape(places, PATHS))
        low, high = np.quantile(found.total_per_animal, [0.05, 0.95])
        inside += bool(low <= truth <= high)
    assert inside >= 31
