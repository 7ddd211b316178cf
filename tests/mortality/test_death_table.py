"""Deaths by place as a table: by hand."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from roadrisk.mortality.death_table import death_table, screened_rates
from roadrisk.mortality.joint_model import joint_deaths
from tests.mortality.made_deaths import KNOWN_Q, hump, reports, straight_road, surveys

ROAD = straight_road()
STRETCH = np.where(np.arange(60) < 50, np.arange(60) // 5, -1)


def test_stretches_of_half_a_kilometre() -> None:
    """By hand: numbers inside, ranks follow rates, the hump's stretch (pieces 20 to 24) leads."""
    source = surveys(3 * hump())
    found = joint_deaths(ROAD, [source], seed=2)
    screened, words = screened_rates([source], found.length_km, np.zeros((60, 0)))
    table = death_table(found, STRETCH, k=2, screened=screened)
    assert len(table) == 10
    assert table["length_km"].tolist() == pytest.approx([0.5] * 10)
    assert set(table.index[table["rank"] <= 2]) <= {3, 4}
    assert sorted(table["rank"]) == list(range(1, 11))
    assert (table["rank_low"] <= table["rank"]).all()
    assert (table["rank"] <= table["rank_high"]).all()
    assert table["chance_among_worst"].sum() == pytest.approx(2.0)
    assert found.rate is not None
    draws = found.rate[:50].reshape(10, 5, -1).mean(axis=1)
    middle = np.median(draws, axis=1) * found.to_best
    assert table["deaths_per_km_year"].to_numpy() == pytest.approx(middle)
    assert (table["deaths_per_km_year_low"] < table["deaths_per_km_year"]).all()
    assert table["screened_per_km_year"].idxmax() in {3, 4}
    assert "weighs" in words


def test_screening_is_counted_over_effort_on_average() -> None:
    """By hand: screened rates times effort times chance add up to about the counts."""
    source = surveys(4 * hump())
    rate, _ = screened_rates([source], np.full(60, 0.1), np.zeros((60, 0)))
    assert (rate * 0.2 * KNOWN_Q).sum() == pytest.approx(source.counted, rel=0.06)


def test_unknown_and_nothing_found() -> None:
    """By hand: relative rates only without a known chance; only a bound where nothing was found."""
    free = joint_deaths(ROAD, [reports(4 * hump())], seed=2)
    table = death_table(free, STRETCH, k=3)
    assert table["deaths_per_km_year_high"].isna().all()
    assert table["relative_rate"].notna().all()
    assert np.isnan(table["screened_per_km_year"]).all()
    none = replace(surveys(hump()), y=np.zeros(60))
    bound = death_table(joint_deaths(ROAD, [none], seed=2), STRETCH, k=3)
    assert bound["deaths_per_km_year"].isna().all()
    assert (bound["deaths_per_km_year_low"] == 0).all()
    assert (bound["deaths_per_km_year_high"] > 0).all()
    assert bound["excess_per_km_year_high"].isna().all()
    rate, words = screened_rates([none], np.full(60, 0.1), np.zeros((60, 0)))
    assert np.isnan(rate).all()
    assert words.startswith("No network screening")
