"""Stage matrices: by hand, against numpy and published ones."""

from __future__ import annotations

import numpy as np
import pytest

from roadrisk.errors import InputError
from roadrisk.mortality.projection import births, growth_of, project, stage_matrices, transitions
from roadrisk.settings import settings_from
from roadrisk.stage_settings import StagesSection

NONE = np.inf
STUDY = {"study": {"name": "x", "short_name": "x", "species": "Testudo ficta",
                   "start": "2024-01-01", "end": "2024-12-31", "time_zone": "UTC"},
         "fixes": {"file": "f.csv"}, "roads": {"osm": {"file": "r.osm"}}}  # fmt: skip


def section(included=True, adult=(0.9, 0.9), **more):
    return StagesSection.model_validate({
        "survival_includes_road_deaths": included, "source": "invented",
        "stage": [
            {"name": "young", "survival_low": 0.4, "survival_high": 0.4, "years": 5},
            {"name": "adult", "survival_low": adult[0], "survival_high": adult[1],
             "young_low": 3.0, "young_high": 3.0, "road_deaths": True},
        ], **more,
    })  # fmt: skip


def test_stage_by_hand() -> None:
    """Survival 0.5 over two years: of 1 + 0.5 animals 0.5 are in the second, so a third goes on."""
    moves = transitions(np.array([0.5, 0.8]), np.array([2.0, NONE]))
    assert moves == pytest.approx(np.array([[0.5 * 2 / 3, 0], [0.5 / 3, 0.8]]))
    even = transitions(np.array([0.5, 0.8]), np.array([4.0, NONE]), 0.5)
    assert even[1, 0] == pytest.approx(0.5 / 4)


def test_births_are_of_females_that_live() -> None:
    moves = np.array([[0.3, 0.0], [0.2, 0.8]])
    assert births(moves, np.array([0.0, 5.0]))[0].tolist() == pytest.approx([1.0, 4.0])


def test_growth_by_hand_and_against_numpy() -> None:
    """Two stages: λ² − 0.8 λ − 0.2 · 1 = 0 gives λ = 1; any matrix as numpy has it."""
    moves, born = np.array([[0.0, 0.0], [0.2, 0.8]]), np.array([[0.0, 1.0], [0.0, 0.0]])
    found = growth_of(moves, born)
    assert found.rate == pytest.approx(1.0)
    assert found.stable.tolist() == pytest.approx([0.5, 0.5])
    assert found.value.tolist() == pytest.approx([1.0, 5.0])
    # Mothers are of age 2, 3, ... with chances 0.2 · 0.8^k: the mean is 1 + 1 / 0.2.
    assert found.generation_years == pytest.approx(6.0)
    rng = np.random.default_rng(1)
    many = rng.random((50, 6, 6)) * 0.2
    born = np.zeros_like(many)
    born[:, 0] = rng.random((50, 6))
    rates = [max(np.linalg.eigvals(m).real) for m in many + born]
    assert growth_of(many, born).rate == pytest.approx(np.array(rates), abs=1e-12)


def test_stages_grow_as_single_years_of_age_do() -> None:
    """Stages of 1, 7 and any number of years against the matrix of ages 0, 1, ... 90."""
    survival, young = np.array([0.5, 0.75, 0.85]), 2.2
    moves, born = stage_matrices(
        survival[None], np.array([1.0, 7.0, NONE]), np.array([[0, 0, young]])
    )
    ages = np.zeros((91, 91))
    of_age = np.repeat(survival, [1, 7, 83])
    ages[np.arange(1, 91), np.arange(90)] = of_age[:-1]
    ages[90, 90] = of_age[-1]
    ages[0] = np.where(np.arange(91) >= 7, of_age * young, 0.0)
    expected = np.linalg.eigvals(ages).real.max()
    assert growth_of(moves, born).rate[0] == pytest.approx(expected, abs=1e-6)


def test_generation_time_is_the_mean_age_of_mothers() -> None:
    """Whole years of age, growth 1.05: Σ a λ^-a l_a m_a / Σ λ^-a l_a m_a."""
    survival, first = 0.9, 4
    moves = np.zeros((30, 30))
    moves[np.arange(1, 30), np.arange(29)] = survival
    born = np.zeros((30, 30))
    born[0, first - 1 :] = 0.6
    found = growth_of(moves, born)
    age = np.arange(1, 31)
    weight = found.rate**-age * survival ** (age - 1) * born[0]
    assert found.generation_years == pytest.approx((age * weight).sum() / weight.sum())


def test_with_and_without_road_deaths() -> None:
    """Adults live on with 0.9; roads kill a tenth: 1.0 without, or 0.81 with."""
    tenth = np.full(30, 0.1)
    part_of, on_top = project(section(True), tenth, 1), project(section(False), tenth, 1)
    assert part_of.matrix_with[:, 1, 1] == pytest.approx(0.9)
    assert part_of.matrix_without[:, 1, 1] == pytest.approx(0.9999)
    assert on_top.matrix_without[:, 1, 1] == pytest.approx(0.9)
    assert on_top.matrix_with[:, 1, 1] == pytest.approx(0.81)
    for found in (part_of, on_top):
        assert (found.without_road.rate > found.with_road.rate).all()
        assert "no forecast" in found.notes[1]
    assert "don't fit together" in part_of.notes[-1]
    none = project(section(True), np.zeros(30), 1)
    assert none.with_road.rate == pytest.approx(none.without_road.rate)


def test_ranges_are_ranges() -> None:
    found = project(section(False, adult=(0.8, 0.95)), np.full(2000, 0.05), 1)
    share = found.matrix_without[:, 1, 1]
    assert np.quantile(share, [0.05, 0.95]) == pytest.approx([0.8, 0.95], abs=0.01)
    row = found.table.iloc[0]
    assert row["value_low"] < row["value"] < row["value_high"]


@pytest.mark.parametrize(
    ("change", "problem"),
    [
        ({"years": None}, "last stage only"),
        ({"survival_low": 0.6}, "survival_low is above"),
        ({"young_low": 0.0, "young_high": 2.0}, "give a low end above 0"),
        ({"name": "adult"}, "two stages have one name"),
        ({"survival_high": 1.0}, "less than 1"),
    ],
)
def test_bad_stages_are_said_in_one_line(change, problem) -> None:
    data = section().model_dump()
    data["stage"] = [dict(data["stage"][0], **change), data["stage"][1]]
    with pytest.raises(InputError) as caught:
        settings_from({**STUDY, "stages": data})
    assert problem in str(caught.value)


def test_stages_are_settings() -> None:
    read = settings_from({**STUDY, "stages": section().model_dump()})
    assert read.stages == section()
    assert settings_from(STUDY).stages is None
