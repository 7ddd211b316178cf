"""Tables of many rows are read as their rows would be a few at a time (by hand)."""

from __future__ import annotations

from zoneinfo import ZoneInfo

import numpy as np
import pandas as pd
import pytest

from roadrisk.records.columns import numbers
from roadrisk.records.dates import read_dates
from roadrisk.records.positions import degrees
from roadrisk.records.words import carcass_action, sex, vitality

_DATES = (
    "2025-03-04", "2025-03-04T17:30", "2025-03-04 7:05:09,5 pm", "2025-03-30T02:30",
    "2025-10-26T02:30", "2025-3-4", "2025-03-04T17:30+02:00", "2025-03-04T17:30Z", "20250304",
    "4 March 2025", "March 4th, 2025", "03/04/2025", "2025-02-31", "2025-03-04T27:30",
    "2025/03/04, 17.30", "2025-03-04x", "2025-03-04T", "0000-00-00", "", "soon", "1492-10-12",
    "2025-03-041", "2025-03-04T17:30:15.25 UTC", "12-03-04",
)  # fmt: skip


@pytest.mark.parametrize("order", [None, "day-first", "year-first"])
def test_dates_are_read_alike_among_many_and_alone(order):
    zone = ZoneInfo("Europe/Warsaw")
    picked = np.random.default_rng(2).integers(0, len(_DATES), 3000)
    many = read_dates(pd.Series([_DATES[k] for k in picked], dtype=str), zone, order)
    few = read_dates(pd.Series(_DATES, dtype=str), zone, order)
    for name in ("time", "day"):
        expected = getattr(few, name).take(picked).reset_index(drop=True)
        pd.testing.assert_series_equal(getattr(many, name), expected, check_names=False)
    for name in ("time_known", "ordered", "twice", "never"):
        np.testing.assert_array_equal(getattr(many, name), getattr(few, name)[picked])
    assert few.time.notna().sum() > 10


@pytest.mark.parametrize("axis", ["lat", "lon"])
def test_degrees_are_read_alike_among_many_and_alone(axis):
    texts = ("40.1234", "40,1234", "−40.5", "40°12'30\"N", "75 12.34 W", "", "x", "1e2", "inf",
             "1,234.5", "+7", "40.12 N", "12 34 56,5 S")  # fmt: skip
    picked = np.random.default_rng(3).integers(0, len(texts), 3000)
    alone = np.array([degrees(pd.Series([t], dtype=str), axis)[0] for t in texts])
    many = degrees(pd.Series([texts[k] for k in picked], dtype=str), axis)
    np.testing.assert_array_equal(many, alone[picked])


@pytest.mark.parametrize("decimal_comma", [False, True])
def test_numbers_are_read_alike_among_many_and_alone(decimal_comma):
    texts = ("12", "12,5", "12.5", "12,345", "1,234,567.5", "", "many", "nan", "inf", "-3,0")
    picked = np.random.default_rng(4).integers(0, len(texts), 3000)
    alone = [numbers(pd.Series([t], dtype=str), decimal_comma=decimal_comma)[0] for t in texts]
    text = pd.Series([texts[k] for k in picked], dtype=str)
    many = numbers(text, decimal_comma=decimal_comma)
    np.testing.assert_array_equal(many, np.array(alone)[picked])


def test_words_are_understood_alike_among_many_and_alone():
    texts = ("DOR", "alive.", " Road  kill", "", "squashed", "M", "♀", "removed", "Marked")
    picked = np.random.default_rng(5).integers(0, len(texts), 3000)
    text = pd.Series([texts[k] for k in picked], dtype=str)
    for understand in (vitality, carcass_action):
        values, strange = understand(text)
        alone, strange_alone = understand(pd.Series(texts, dtype=str))
        assert values.tolist() == [alone[k] for k in picked]
        assert strange == strange_alone
    assert sex(text).tolist() == [sex(pd.Series(texts, dtype=str))[k] for k in picked]
