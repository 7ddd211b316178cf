"""What is known of a structure, and whether an animal can use it: by hand."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pandas as pd
import pytest

from roadrisk.mitigation.structures import structure_verdicts

if TYPE_CHECKING:
    from roadrisk.base.units import Units

GOOD = {
    "type": "culvert", "span_m": 1.5, "rise_m": 1.2, "length_m": 18.0, "perched": "no",
    "water": "dry", "grate": "no", "condition": "good",
}  # fmt: skip


def judge(
    habitat: str = "land", least_rise_m: float = 0.5, units: Units = "metric", **other: object
) -> pd.Series:
    table = pd.DataFrame([GOOD | other])
    return structure_verdicts(table, habitat=habitat, least_rise_m=least_rise_m, units=units).iloc[
        0
    ]


def test_a_sound_dry_culvert_is_usable() -> None:
    found = judge()
    assert found["verdict"] == "usable"
    assert found["why"] == "1.2 m high; no step at its ends, no grate; dry"
    assert found["look_at"] == ""
    assert found["openness_m"] == pytest.approx(1.5 * 1.2 / 18.0)


@pytest.mark.parametrize(
    ("other", "says"),
    [
        ({"perched": "yes"}, "outlet is perched"),
        ({"grate": "yes"}, "a grate closes it"),
        ({"rise_m": 0.3}, "only 0.3 m high, and 0.5 m are needed"),
        ({"span_m": 0.4}, "only 0.4 m wide"),
        ({"water": "full"}, "full of water all the active season"),
        ({"water": "wet"}, "the animal lives on land"),
        ({"condition": "bad"}, "repair it first"),
    ],
)
def test_one_thing_closes_it_even_where_others_are_not_known(other, says) -> None:
    for more in ({}, {"perched": "", "grate": "", "rise_m": np.nan} | other):
        found = judge(**(other | more))
        assert found["verdict"] == "not usable"
        assert says in found["why"]


@pytest.mark.parametrize(
    ("other", "why", "look"),
    [
        ({"perched": ""}, "whether its outlet is perched", "look for a step"),
        ({"water": ""}, "whether water stands in it", "in the active season"),
        ({"grate": ""}, "whether a grate closes it", "at both ends"),
        ({"rise_m": np.nan}, "how high it is", "measure its height"),
        ({"type": ""}, "what it is", "from one side"),
        ({"type": "overpass"}, "carries anything but traffic", "from one side"),
        ({"type": "bridge", "water": "wet"}, "dry bank", "dry bank"),
    ],
)
def test_what_is_missing_is_said_and_where_to_look(other, why, look) -> None:
    found = judge(**other)
    assert found["verdict"] == "not known"
    assert why in found["why"]
    assert look in found["look_at"]


def test_a_swimmer_uses_wet_culverts_but_none_that_is_full() -> None:
    assert judge("freshwater", water="wet")["verdict"] == "usable"
    assert judge("freshwater", water="full")["verdict"] == "not usable"
    assert judge("freshwater", type="bridge", water="wet")["verdict"] == "usable"


def test_a_dry_bridge_needs_no_outlet_and_no_grate() -> None:
    found = judge(type="bridge", perched="", grate="")
    assert found["verdict"] == "usable"
    assert "grate" not in found["why"]


def test_lower_than_guidelines_ask_for_is_said() -> None:
    found = judge(rise_m=0.7, water="seasonal", condition="")
    assert found["verdict"] == "usable"
    assert "guidelines ask for 1 m" in found["why"]
    assert "water in it for part of the season" in found["why"]
    assert "its condition isn't said" in found["why"]
    assert judge(rise_m=0.7, least_rise_m=0.8)["verdict"] == "not usable"


def test_openness_judges_nothing() -> None:
    assert judge(length_m=400.0)["verdict"] == "usable"
    assert np.isnan(judge(length_m=np.nan)["openness_m"])


def test_heights_stand_in_the_units_of_the_study() -> None:
    """By hand: 0.3 m is 0.98 ft, 0.5 m 1.6 ft, 0.8 m 2.6 ft, 1 m 3.3 ft."""
    assert judge(units="us", rise_m=0.3)["why"] == "only 0.98 ft high, and 1.6 ft are needed"
    assert "2.6 ft high (guidelines ask for 3.3 ft)" in judge(units="us", rise_m=0.8)["why"]
