"""Rows, limits in km/h and what the table doesn't hold: by hand."""

from __future__ import annotations

import math

import pytest

from roadrisk.errors import InputError
from roadrisk.mitigation.sign_distances import (
    advance_distance,
    assumed_limit_kmh,
    edition_words,
)


@pytest.mark.parametrize(
    ("kmh", "row"),
    [(30, 20), (40, 25), (48, 30), (50, 35), (56, 35), (60, 40), (80, 50), (89, 55), (90, 60),
     (100, 65), (130, 85), (10, 20)],
)  # fmt: skip
def test_km_h_take_the_next_higher_row(kmh: float, row: int) -> None:
    """48, 56 and 89 km/h are 30, 35 and 55 mph in whole km/h; 50 and 90 km/h lie above a row."""
    assert advance_distance(kmh).row_mph == row


def test_words_name_edition_conversion_and_doubt() -> None:
    words = advance_distance(90).words
    assert words.startswith(
        "MUTCD 11th edition (2023), Table 2C-3 (unverified transcription), 60 mph, condition B to 0"
    )
    assert "174 m (570 ft)" in words
    assert "90 km/h are 55.9 mph" in words
    assert "unverified transcription" in words
    old = advance_distance(90, edition="2009", units="us").words
    assert "2009 edition, Table 2C-4" in old
    assert "from memory" in old
    assert " m (" not in old


def test_outside_the_table_is_said() -> None:
    fast, slow = advance_distance(150), advance_distance(20)
    assert fast.beyond
    assert "above the table's last row of 85 mph: its distance is too short" in fast.words
    assert not slow.beyond
    assert "below the first row" in slow.words
    assert advance_distance(130, edition="2009").beyond


def test_a_column_that_is_not_kept_has_no_distance() -> None:
    found = advance_distance(80, condition="A", edition="2009")
    assert math.isnan(found.metres)
    assert "hold no column for condition A" in found.words
    assert advance_distance(80, condition="A").feet == 885


@pytest.mark.parametrize(
    "wrong",
    [{"speed_kmh": 0.0}, {"speed_kmh": math.nan}, {"speed_kmh": -50.0},
     {"speed_kmh": 50.0, "condition": "C"}, {"speed_kmh": 50.0, "edition": "1988"}],
)  # fmt: skip
def test_nonsense_is_named(wrong) -> None:
    with pytest.raises(InputError, match=r"above 0|B to 0 mph|2023 or 2009"):
        advance_distance(wrong.pop("speed_kmh"), **wrong)


def test_limits_by_class_and_words_of_an_edition() -> None:
    assert assumed_limit_kmh("secondary_link") == assumed_limit_kmh("secondary")
    assert assumed_limit_kmh("nothing known") == 80
    assert "Source" in edition_words("2009")[1]
