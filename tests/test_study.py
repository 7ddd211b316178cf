"""Settings of the population, of animals caught at roads, and of paths: by hand."""

from __future__ import annotations

from typing import Any

import pytest

from roadrisk.errors import InputError
from roadrisk.settings import Settings, settings_from
from roadrisk.species import GENERIC, built_in_profile
from tests.reporting.made_up import study

ADULTS = {"adults": 80, "adults_low": 50, "adults_high": 130}
A_HECTARE = {
    "adults_per_ha": 0.5, "adults_per_ha_low": 0.25, "adults_per_ha_high": 1.0, "habitat_ha": 120,
}  # fmt: skip


def settings(**more: Any) -> Settings:
    return settings_from(
        {
            "study": {
                "name": "x", "short_name": "x", "species": "Testudo exempli", "time_zone": "UTC",
                "start": "2024-01-01", "end": "2024-12-31",
            },
            "sightings": {"file": "s.csv"},
            "roads": {"osm": {"file": "r.osm"}},
            **more,
        }
    )  # fmt: skip


def refused(**more: Any) -> str:
    with pytest.raises(InputError) as caught:
        settings(**more)
    (line,) = caught.value.lines()
    return line


def test_a_number_of_adults() -> None:
    population = settings(population=ADULTS).population
    assert population is not None
    assert population.abundance == (80, 50, 130)


def test_adults_a_hectare() -> None:
    population = settings(population=A_HECTARE).population
    assert population is not None
    assert population.abundance == (60, 30, 120)


def test_nothing_is_known_of_the_population_unless_it_is_said() -> None:
    assert settings().population is None


@pytest.mark.parametrize(
    "given",
    [
        {},
        {"adults": 80},
        {"adults": 80, "adults_low": 50},
        {**ADULTS, **A_HECTARE},
        {**ADULTS, "habitat_ha": 120},
        {k: v for k, v in A_HECTARE.items() if k != "habitat_ha"},
    ],
)
def test_half_a_population_or_two_of_them(given: dict[str, float]) -> None:
    line = refused(population=given)
    assert line.startswith("study.toml, column population: write all of adults, adults_low")
    assert "or all of adults_per_ha" in line


@pytest.mark.parametrize("low", [81, 200])
def test_an_interval_in_the_wrong_order(low: float) -> None:
    assert f"not in order: {low}, 80, 130" in refused(population={**ADULTS, "adults_low": low})


@pytest.mark.parametrize(("key", "value"), [("adults_low", 0), ("adults", -3), ("adults", "nan")])
def test_numbers_that_are_none(key: str, value: float) -> None:
    assert f"column population.{key}: " in refused(population={**ADULTS, key: value})


def test_an_unknown_key_gets_the_nearest() -> None:
    assert "did you mean 'adults_high'" in refused(population={**ADULTS, "adult_high": 3})


def test_animals_caught_at_a_road() -> None:
    animals = settings(animals={"file": "a.csv"}).animals
    assert animals is not None
    assert (animals.caught_at_road, animals.caught_near_road_m) == ("keep", 100)
    for word in ("leave out", "weight"):
        settings(animals={"file": "a.csv", "caught_at_road": word})
    assert "caught_at_road" in refused(animals={"file": "a.csv", "caught_at_road": "drop"})
    assert "caught_near_road_m" in refused(animals={"file": "a.csv", "caught_near_road_m": 0})


def test_paths_and_long_steps() -> None:
    crossings = settings().crossings
    assert (crossings.longest_step_days, crossings.draws) == (14, 400)
    for draws in (19, 20_001):
        assert "crossings.draws" in refused(crossings={"draws": draws})


def test_a_study_made_by_hand_has_the_generic_animal() -> None:
    made = study()
    assert made.profile is built_in_profile(GENERIC)
    assert "stands in" in made.profile_words


@pytest.mark.parametrize(
    ("given", "key", "says"),
    [
        ({"kernel": "planar"}, "kernel", "'straight'"),
        ({"kernel_shape": "triangle"}, "kernel_shape", "'quartic'"),
        ({"edge_correction": True}, "edge_correction", "needs study_area"),
        (
            {"edge_correction": True, "study_area": "a.gpkg", "kernel": "straight"},
            "edge_correction", "not for 'straight'",
        ),
        ({"bandwidth_from": "records", "kernel": "simple"}, "bandwidth_from", "can't choose"),
        ({"bandwidth_from": "records", "kernel": "straight"}, "bandwidth_from", "can't choose"),
        (
            {"bandwidth_from": "records", "study_area": "a.gpkg", "edge_correction": True},
            "bandwidth_from", "with edge_correction",
        ),
    ],
)  # fmt: skip
def test_kernels_that_are_not_offered(given: dict[str, Any], key: str, says: str) -> None:
    line = refused(hotspots=given)
    assert f"hotspots.{key}" in line
    assert says in line


def test_kernels_that_are_offered() -> None:
    assert settings().hotspots.kernel == "continuous"
    assert settings().hotspots.edge_correction is False
    for kernel in ("continuous", "discontinuous"):
        for more in ({"bandwidth_from": "records"},
                     {"study_area": "a.gpkg", "edge_correction": True}):  # fmt: skip
            settings(hotspots={"kernel": kernel, "kernel_shape": "gaussian", **more})
