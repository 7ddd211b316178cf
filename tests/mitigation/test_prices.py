"""The price list: placeholders until every price that is needed is confirmed."""

from __future__ import annotations

import numpy as np

from roadrisk.mitigation.measures import built_in_measures
from roadrisk.mitigation.prices import price_list
from roadrisk.records.pay_items import pay_items
from tests.mitigation.price_tables import price_table

SIGN = (built_in_measures()["sign_standing"],)
PATROL = (built_in_measures()["patrol"],)


def test_no_price_is_built_in():
    prices = price_list(built_in_measures().values(), None)
    assert not prices.confirmed
    assert set(prices.missing) == set(pay_items())
    assert all(np.isnan(prices.unit(k).points).all() for k in pay_items())
    assert prices.words.startswith("Prices not confirmed: fence, ")


def test_only_what_is_needed_has_to_be_confirmed():
    table = price_table(5.0)
    table["confirmed"] = table["item"].isin(["patrol_hour", "permits"])
    assert price_list(PATROL, table).confirmed
    signs = price_list(SIGN, table)
    assert signs.missing == (
        "sign_standing", "mobilisation", "design", "traffic_control", "contingency",
        "sign_upkeep",
    )  # fmt: skip
    assert signs.unit("sign_standing").points == (5, 5, 5)
    assert price_list(PATROL, table[table["item"] != "permits"]).missing == ("permits",)


def test_prices_of_several_years_and_things_that_never_wear_out_are_told():
    table = price_table(5.0, life={"sign_standing": 12})
    assert price_list(SIGN, table).words == "All prices are confirmed, of 2025."
    table.loc[table["item"] == "permits", "price_year"] = 2023
    table.loc[table["item"] == "fence", "price_year"] = 1999  # a sign takes no fence
    prices = price_list(SIGN, table)
    assert prices.price_years == (2023, 2025)
    assert "of 2023 to 2025 and were not brought to one year" in prices.words
    words = price_list(SIGN, price_table(5.0)).words
    assert "how long these last, so they are bought once: sign_standing." in words
