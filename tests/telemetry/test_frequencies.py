"""Rates by group and segment, and the sentences about them: by hand."""

from __future__ import annotations

from dataclasses import replace
from types import SimpleNamespace

import numpy as np
import pandas as pd
import pytest

from roadrisk.base.seeds import generator
from roadrisk.settings import PopulationSection
from roadrisk.telemetry.capture import CaptureWeights, capture_weights
from roadrisk.telemetry.frequencies import frequency_words, most_at_one_place, only_watched
from roadrisk.telemetry.rate_groups import NOT_AT_ROADS, rate_groups

RATE = "crossing_days_per_animal_year"
MANY = "population_crossing_days_per_year"


def found(days: list[float], draws: int = 50) -> SimpleNamespace:
    """Animals whose crossing-days are known; twice as many crossings, one forced each."""
    known = np.repeat(np.array(days, dtype=float)[:, None], draws, axis=1)
    animals = pd.DataFrame({"organismID": [f"a{k}" for k in range(len(days))],
                            "least_crossings": 1, "totals_note": "under the prior"})  # fmt: skip
    others = pd.DataFrame({"total_crossings": [3.0, 50.0, 700.0]})
    return SimpleNamespace(
        crossing_days=known, total_crossings=2 * known, animals=animals, others=others
    )


def groups(
    days: list[float], sex: list[str], caught: CaptureWeights | None = None,
    population: PopulationSection | None = None, stage: list[str] | None = None,
) -> pd.DataFrame:  # fmt: skip
    weights = caught or capture_weights(np.zeros(len(days), bool), "keep")
    return rate_groups(
        found(days), np.full(len(days), 0.5), weights, pd.Series(sex, dtype=object),
        pd.Series(stage or [""] * len(days), dtype=object), population,
        generator(1, "groups"), level=0.90,
    )  # fmt: skip


def test_sums_and_rates_by_sex() -> None:
    """Ten animals for half a season each: 30 days in 5 animal-years are 6; females 4, males 8."""
    table = groups([2.0] * 5 + [4.0] * 5, ["female"] * 5 + ["male"] * 5).set_index("group")
    assert table.index.tolist() == ["all tagged animals", "female", "male"]
    assert table["crossing_days"].tolist() == [30, 10, 20]
    assert table["total_crossings_high"].tolist() == [60, 20, 40]
    assert table["least_crossings"].tolist() == [10, 5, 5]
    assert table[RATE].tolist() == [6, 4, 8]
    assert table.loc["all tagged animals", f"{RATE}_low"] < 6
    assert table.loc["all tagged animals", f"{RATE}_high"] > 6
    assert table[MANY].isna().all()


def test_one_sex_makes_no_row_and_unknown_ones_have_theirs() -> None:
    assert groups([1.0, 2.0], ["female"] * 2)["group"].tolist() == ["all tagged animals"]
    names = groups([1.0, 2.0], ["female", ""])["group"].tolist()
    assert names == ["all tagged animals", "female", "sex not known"]


def test_population_is_the_rate_times_the_abundance() -> None:
    """By hand: 6 a year times 100 adults; a sure abundance keeps the rate's own interval."""
    sure = PopulationSection(adults=100, adults_low=100, adults_high=100)
    row = groups([2.0] * 5 + [4.0] * 5, [""] * 10, population=sure).iloc[0]
    assert row[MANY] == pytest.approx(600)
    assert row[f"{MANY}_low"] == pytest.approx(100 * row[f"{RATE}_low"], rel=0.02)
    assert row[f"{MANY}_high"] == pytest.approx(100 * row[f"{RATE}_high"], rel=0.02)
    wide = PopulationSection(adults=100, adults_low=50, adults_high=200)
    unsure = groups([2.0] * 5 + [4.0] * 5, [""] * 10, population=wide).iloc[0]
    assert unsure[f"{MANY}_low"] < row[f"{MANY}_low"]
    assert unsure[f"{MANY}_high"] > row[f"{MANY}_high"]


def test_adults_carry_the_population() -> None:
    """Two young ones cross often; 100 adults cross as the eight do: 2 days in half a year."""
    sure = PopulationSection(adults=100, adults_low=100, adults_high=100)
    table = groups(
        [30.0] * 2 + [2.0] * 8, [""] * 10, population=sure, stage=["juvenile"] * 2 + ["adult"] * 8
    ).set_index("group")
    assert table.loc["adults", MANY] == pytest.approx(400)
    assert np.isnan(table.loc["all tagged animals", MANY])


def test_totals_that_are_not_identified_have_a_range_and_no_value() -> None:
    """By hand: the ends are those under other priors and widths; none for one sex alone."""
    some = found([2.0] * 5 + [4.0] * 5)
    some.animals["totals_note"] = ["not identified from these fixes"] + ["from bursts"] * 9
    table = rate_groups(
        some, np.full(10, 0.5), capture_weights(np.zeros(10, bool), "keep"),
        pd.Series(["female"] * 5 + ["male"] * 5), pd.Series([""] * 10), None,
        generator(1, "groups"), level=0.90,
    ).set_index("group")  # fmt: skip
    total = ["total_crossings", "total_crossings_low", "total_crossings_high"]
    assert np.isnan(table.loc["all tagged animals", total[0]])
    assert table.loc["all tagged animals", total[1:]].tolist() == [3, 700]
    assert table.loc["female", total].isna().all()
    assert table.loc["male", total].tolist() == [40, 40, 40]


def test_animals_caught_at_roads_are_left_out_beside() -> None:
    """Two of ten were caught at a road and cross often: 8 others make 2 days in 4 years."""
    caught = np.array([True, True] + [False] * 8)
    table = groups([20.0, 20.0] + [0.25] * 8, [""] * 10, capture_weights(caught, "keep"))
    rates = table.set_index("group")[RATE]
    assert rates["all tagged animals"] == pytest.approx(42 / 5)
    assert rates[NOT_AT_ROADS] == pytest.approx(2 / 4)
    gone = groups([20.0, 20.0] + [0.25] * 8, [""] * 10, capture_weights(caught, "leave out"))
    assert gone["group"].tolist() == ["all tagged animals"]
    assert gone[RATE].tolist() == [pytest.approx(2 / 4)]


def test_one_animal_has_no_interval_and_the_words_say_why() -> None:
    table = groups([3.0], ["female"])
    assert np.isnan(table[f"{RATE}_low"][0])
    assert "not identified" in frequency_words(table)
    assert "if animals don't respond to the road" in frequency_words(table)
    assert most_at_one_place(table) == 366
    assert frequency_words(groups([], [])) == ""


def test_nobody_near_is_said() -> None:
    """A rate of 0 where no animal was near is taken back; where one was near it stays."""
    segments = pd.DataFrame({
        "crossing_days": [0.0, 0.0, 0.02], RATE: [0.0, 0.0, 0.01], f"{RATE}_low": 0.0,
        f"{RATE}_high": 0.1, "crossing_days_note": "3 animals",
    })  # fmt: skip
    kept = only_watched(segments, pd.Series([0, 2, 0]))
    assert kept[RATE].isna().tolist() == [True, False, False]
    assert kept["crossing_days_note"].tolist()[0] == "no tagged animal within reach"
    assert segments[RATE].notna().all()


def test_weights_not_identified_keep_all_alike() -> None:
    """Asked for by weight, but nothing is known of their time near roads: both rates are shown."""
    caught = np.array([True] * 3 + [False] * 7)
    weights = capture_weights(caught, "weight")
    assert not weights.identified
    table = groups([9.0] * 3 + [1.0] * 7, [""] * 10, replace(weights))
    assert table["group"].tolist() == ["all tagged animals", NOT_AT_ROADS]
