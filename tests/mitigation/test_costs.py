"""Costs: an estimate by hand, and the same from many runs at once."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest
from hypothesis import given
from hypothesis import strategies as st

from roadrisk.mitigation.costs import (
    COSTED,
    costed,
    fence_metres,
    present_value_factor,
    quantities_of,
    replacement_factor,
    run_costs,
    site_costs,
)
from roadrisk.mitigation.measures import built_in_measures
from roadrisk.mitigation_settings import MitigationSection
from tests.mitigation.price_tables import prices_of

MEASURES = tuple(built_in_measures().values())
FENCE = built_in_measures()["fence_and_passages"]
SIGN = built_in_measures()["sign_seasonal"]
PATROL = built_in_measures()["patrol"]
PRICES = prices_of(
    MEASURES, spread=0.5, fence=100, fence_end=500, passage_new=10_000, culvert_adaptation=2000,
    opening_treatment=3000, mobilisation=4000, permits=1000, land=0, design=10, traffic_control=5,
    contingency=20, fence_inspection=150, fence_upkeep=1, passage_upkeep=50, sign_fold=600,
    sign_fold_handling=40, sign_upkeep=10, patrol_hour=12, life={"fence": 20, "sign_fold": 10},
)  # fmt: skip
NOW = MitigationSection(horizon_years=30, discount_percent=0)


def estimate(measure, **counts):
    return costed(quantities_of(measure, **counts), PRICES)


def test_an_estimate_by_hand():
    """300 m of road: 600 m of fence, 4 ends, 2 new passages, 1 culvert, 3 openings."""
    table = estimate(FENCE, length_m=300, passages=2, culverts=1, openings=3)
    assert tuple(table.columns) == COSTED
    rows = table.set_index("item")
    assert rows.loc["fence", ["quantity", "unit", "cost"]].tolist() == [600, "m", 60_000]
    assert rows.loc["fence_end", "cost"] == 2000
    assert rows.loc["passage_new", "cost"] == 20_000
    assert rows.loc["culvert_adaptation", "cost"] == 2000
    assert rows.loc["opening_treatment", "cost"] == 9000
    works = 60_000 + 2000 + 20_000 + 2000 + 9000 + 4000 + 1000
    assert works == 98_000
    assert rows.loc["design", ["quantity", "unit", "unit_cost", "cost"]].tolist() == [
        1, "% of the works", 10, 9800,
    ]  # fmt: skip
    assert rows.loc["traffic_control", "cost"] == 4900
    assert rows.loc["contingency", ["cost_low", "cost", "cost_high"]].tolist() == [
        4900, 19_600, 0.3 * 147_000,
    ]  # fmt: skip
    assert rows.loc["fence_inspection", ["quantity", "unit", "cost"]].tolist() == [
        2, "visit a year", 300,
    ]  # fmt: skip
    assert rows.loc["passage_upkeep", "cost"] == 150
    # By hand: works and 35 %; upkeep 300 + 600 + 150; the fence is bought again after 20 years.
    (site,) = site_costs(table, PRICES, settings=NOW).to_dict("records")
    assert site["cost_build"] == pytest.approx(98_000 * 1.35)
    assert site["upkeep_per_year"] == pytest.approx(1050)
    assert site["present_cost"] == pytest.approx((98_000 + 60_000) * 1.35 + 30 * 1050)
    assert site["cost_build_low"] == pytest.approx(49_000 * 1.175)
    assert site["cost_build_high"] == pytest.approx(147_000 * 1.525)
    assert site["upkeep_per_year_high"] == pytest.approx(1575)


def test_works_come_first_then_percents_then_what_is_paid_each_year():
    items = quantities_of(FENCE, length_m=300, passages=2, openings=1)["item"].tolist()
    assert items == [
        "fence", "fence_end", "passage_new", "opening_treatment", "mobilisation", "permits",
        "land", "design", "traffic_control", "contingency", "fence_inspection", "fence_upkeep",
        "passage_upkeep",
    ]  # fmt: skip


def test_percents_are_of_each_sites_own_works():
    two = quantities_of(FENCE, length_m=300).assign(site=1)
    two = np.concatenate([two.to_numpy(), quantities_of(FENCE, length_m=600).assign(site=2)])
    names = ["item", "unit", "quantity", "site"]
    table = costed(pd.DataFrame(two, columns=names), PRICES)
    costs = site_costs(table, PRICES, settings=NOW).set_index("site")
    assert costs.loc[1, "cost_build"] == pytest.approx((60_000 + 7000) * 1.35)
    assert costs.loc[2, "cost_build"] == pytest.approx((120_000 + 7000) * 1.35)


@given(
    length=st.floats(1, 5000), passages=st.integers(0, 30), culverts=st.integers(0, 9),
    openings=st.integers(0, 9), signs=st.integers(0, 6), hours=st.floats(0, 900),
    years=st.integers(1, 100), percent=st.floats(0, 20),
    covers=st.sampled_from(["building", "building and upkeep"]),
    measure=st.sampled_from([FENCE, SIGN, PATROL]),
)  # fmt: skip
def test_many_runs_at_once_cost_what_their_estimates_say(
    length, passages, culverts, openings, signs, hours, years, percent, covers, measure
):
    settings = MitigationSection(
        horizon_years=years, discount_percent=percent, budget_covers=covers
    )
    counts = {"passages": passages, "culverts": culverts, "openings": openings, "signs": signs,
              "hours": hours}  # fmt: skip
    found = run_costs(
        measure, PRICES, np.array([length, length]), settings=settings,
        **{k: np.array([v, v]) for k, v in counts.items()},
    )  # fmt: skip
    table = site_costs(estimate(measure, length_m=length, **counts), PRICES, settings=settings)
    name = "cost_build" if covers == "building" else "present_cost"
    np.testing.assert_allclose(found, table.loc[0, name], rtol=1e-9)


def test_without_confirmed_prices_there_are_quantities_and_no_costs():
    prices = prices_of(MEASURES, likely=7, confirmed=False)
    table = costed(quantities_of(FENCE, length_m=300, passages=2), prices)
    assert table.set_index("item").loc["fence", "quantity"] == 600
    assert (table["unit_cost"] == 7).all()
    assert table[["cost_low", "cost", "cost_high"]].isna().all(axis=None)
    assert site_costs(table, prices, settings=NOW)["present_cost"].isna().all()
    assert np.isnan(run_costs(FENCE, prices, np.array([10.0, 20.0]), settings=NOW)).all()


def test_nothing_costs_nothing():
    table = costed(quantities_of(FENCE, length_m=300).iloc[:0], PRICES)
    assert table["source"].dtype == object
    assert site_costs(table, PRICES, settings=NOW).empty


def test_metres_of_fence():
    # By hand: both sides, and four ends of 6 m; a fence of no length has none; nor has a sign.
    np.testing.assert_array_equal(fence_metres(FENCE, np.array([0.0, 250.0])), [0, 524])
    assert fence_metres(FENCE, 250.0, ends=2) == 512
    assert fence_metres(SIGN, 250.0) == 0


def test_bought_again_until_the_horizon():
    # By hand: every 10 years within 30 years: at 10 and 20, not at 30, when all is over.
    assert replacement_factor(10, 30, 0) == 2
    assert replacement_factor(10, 31, 0) == 3
    assert replacement_factor(30, 30, 0.05) == 0
    assert replacement_factor(75, 30, 0.05) == 0
    assert replacement_factor(float("nan"), 30, 0.05) == 0
    assert replacement_factor(10, 30, 0.05) == pytest.approx(1.05**-10 + 1.05**-20, rel=1e-12)


def test_present_value_by_hand():
    assert present_value_factor(30, 0) == 30
    assert present_value_factor(1, 0.25) == pytest.approx(0.8)
    assert present_value_factor(2, 0.25) == pytest.approx(0.8 + 0.64)
    assert present_value_factor(30, 1e-12) == pytest.approx(30, rel=1e-9)
