"""Benefit and cost: by hand."""

from __future__ import annotations

import math

import numpy as np
import pandas as pd
import pytest

from roadrisk.mitigation.benefit import benefit, motorists_words
from roadrisk.mitigation_settings import MitigationSection

SETTINGS = MitigationSection(horizon_years=20, discount_percent=0, currency="florins")
DRAWS = np.linspace(1, 3, 401)  # mean 2, 5 % point 1.1, 95 % point 2.9


def test_cost_for_each_death_averted():
    found = benefit(DRAWS, (3000.0, 4000.0, 6600.0), settings=SETTINGS)
    assert found.averted == pytest.approx(40)
    assert (found.averted_low, found.averted_high) == pytest.approx((22, 58))
    assert found.cost_per_death == pytest.approx(100)
    assert found.cost_per_death_low == pytest.approx(3000 / 58)
    assert found.cost_per_death_high == pytest.approx(300)
    assert math.isnan(found.value)
    assert found.words == (
        "All sites together: 100 florins for each death averted over 20 years (51.7 with low "
        "prices and many averted, to 300 with high prices and few). Costs are discounted at 0 % a "
        "year, deaths are not; as many are taken to be averted each year, however population and "
        "traffic change."
    )


def test_an_animal_has_a_value_only_if_the_study_gives_one():
    settings = SETTINGS.model_copy(update={"value_per_animal": 50.0, "discount_percent": 25.0,
                                           "horizon_years": 2})  # fmt: skip
    found = benefit(DRAWS, (1.0, 1.0, 1.0), settings=settings)
    assert found.value == pytest.approx(2 * 50 * (0.8 + 0.64))
    assert found.value_low == pytest.approx(1.1 * 50 * 1.44)


def test_perhaps_none_averted_and_none_expected():
    found = benefit(DRAWS - 1.5, (10.0, 10.0, 10.0), settings=SETTINGS)
    assert found.cost_per_death == pytest.approx(1)
    assert math.isinf(found.cost_per_death_high)
    assert "(at least 0.357, no upper bound: perhaps none is averted)" in found.words
    found = benefit(DRAWS - 2.5, (10.0, 10.0, 10.0), settings=SETTINGS)
    assert math.isnan(found.cost_per_death)
    assert found.words == "No deaths are expected to be averted, so there is no cost for each."


def test_no_prices_no_cost_for_each():
    found = benefit(DRAWS, (math.nan,) * 3, settings=SETTINGS)
    assert found.averted == pytest.approx(40)
    assert math.isnan(found.cost_per_death)
    assert math.isnan(found.cost_per_death_high)
    assert found.words.startswith("Prices not confirmed")


def test_motorists():
    assert motorists_words(None).startswith("No crash records supplied")
    crashes = pd.DataFrame({"animal": ["yes", "", "no", "yes"]})
    assert motorists_words(crashes, 1) == (
        "4 crash records supplied, 2 of them with an animal; 1 on the proposed sites. Whether the "
        "measures change crashes was not worked out."
    )
