"""The curve of survival, by hand: where its steps, band and numbers at risk stand."""

from __future__ import annotations

import re

import numpy as np
import pandas as pd
import pytest

from roadrisk.reporting.survival_chart import survival_chart

# The drawing's frame: x of the first and last day, y of all and of none alive.
LEFT, RIGHT, ALL, NONE = 40.0, 348.0, 30.0, 162.0


def curve(**changes: object) -> pd.DataFrame:
    made = pd.DataFrame({
        "group": "all", "day": [73.0, 219.0], "at_risk": [20, 10], "deaths": [1, 2],
        "survival": [0.95, 0.76], "survival_low": [0.8, 0.5], "survival_high": [0.99, 0.9],
    })  # fmt: skip
    return made.assign(**changes)


def test_steps_go_down_at_deaths_and_on_to_the_end_of_the_year() -> None:
    """By hand: day 73 is a fifth of the year, day 219 three fifths."""
    svg = survival_chart(curve(), "all")
    course = re.search(r'd="(M40\.0 30\.0[^"]*)"', svg)
    assert course
    numbers = [float(x) for x in re.findall(r"[\d.]+", course[1])]
    fifth = (RIGHT - LEFT) / 5
    y = [NONE - (NONE - ALL) * share for share in (1.0, 0.95, 0.76)]
    assert numbers == pytest.approx(
        [LEFT, y[0], LEFT + fifth, y[1], LEFT + 3 * fifth, y[2], RIGHT], abs=0.06
    )


def test_the_band_lies_between_the_ends_of_the_interval() -> None:
    """By hand: from day 73 to 219 between 80 and 99 %; after the last death between 50 and 90."""
    svg = survival_chart(curve(), "all")
    boxes = re.findall(r'<rect x="([\d.]+)" y="([\d.]+)" width="([\d.]+)" height="([\d.]+)"', svg)
    first, last = ([float(x) for x in b] for b in boxes)
    high = NONE - ALL
    assert first[1] == pytest.approx(NONE - 0.99 * high, abs=0.06)
    assert first[3] == pytest.approx(0.19 * high, abs=0.06)
    assert last[0] + last[2] == pytest.approx(RIGHT, abs=0.1)
    assert last[3] == pytest.approx(0.4 * high, abs=0.06)


def test_the_words_say_all_numbers() -> None:
    svg = survival_chart(curve(), "all")
    assert "day 73: 95 % alive (80 to 99), 20 watched" in svg
    assert "day 219: 76 % alive (50 to 90), 10 watched" in svg
    assert ">20</text>" in svg
    assert ">10</text>" in svg


def test_no_interval_is_no_band() -> None:
    """Where all that were watched died the interval isn't known."""
    svg = survival_chart(curve(survival=[0.5, 0.0], survival_low=np.nan, survival_high=np.nan),
                         "all")  # fmt: skip
    assert "<rect" not in svg
    assert "0 % alive (no interval)" in svg


def test_numbers_at_risk_do_not_run_into_each_other() -> None:
    """By hand: a death a day; a number needs 30 units, which are 35.6 days."""
    days = np.arange(100.0, 180.0)
    many = pd.DataFrame({"group": "all", "day": days, "at_risk": np.arange(900, 820, -1),
                         "deaths": 1, "survival": 0.9, "survival_low": 0.8,
                         "survival_high": 0.95})  # fmt: skip
    shown = re.findall(r">(8\d\d|900)</text>", survival_chart(many, "all"))
    assert shown == ["900", "864", "828"]


def test_a_group_without_a_death_has_no_curve() -> None:
    assert survival_chart(curve(), "female") == ""
