"""Times, distances and chances in words. By hand."""

from __future__ import annotations

import pandas as pd
import pytest

from roadrisk.review.report_words import (
    chance_words,
    lag_words,
    near_words,
    when_words,
    where_words,
)

ZONE = "Europe/Warsaw"


def test_times_are_local() -> None:
    """Poland's clock is two hours ahead of UTC in summer, one in winter."""
    summer = pd.Timestamp("2024-06-30T22:30", tz="UTC")
    assert when_words(summer, "x", time_known=True, zone=ZONE) == "Mon 1 July 2024, 00:30"
    winter = pd.Timestamp("2024-12-01T22:30", tz="UTC")
    assert when_words(winter, "x", time_known=True, zone=ZONE) == "Sun 1 December 2024, 23:30"
    only_day = when_words(winter, "x", time_known=False, zone=ZONE)
    assert only_day == "Sun 1 December 2024, time of day not given"
    assert when_words(pd.NaT, "31.02.24\u202e", time_known=True, zone=ZONE) == (
        "31.02.24[U+202E] (can't be read)"
    )
    assert when_words(pd.NaT, " ", time_known=False, zone=ZONE) == "not given"


@pytest.mark.parametrize(
    ("probability", "words"),
    [(0.999, "almost certainly (over 99 in 100)"), (0.93, "probably (93 in 100)"),
     (0.5, "rather yes than no (50 in 100)"), (0.31, "rather no than yes (31 in 100)"),
     (0.06, "probably not (6 in 100)"), (0.004, "hardly (under 1 in 100)")],
)  # fmt: skip
def test_chances(probability: float, words: str) -> None:
    assert chance_words(probability) == words


@pytest.mark.parametrize(
    ("seconds", "words"),
    [(0, "at the same time"), (80, "at the same time"), (600, "10 minutes later"),
     (-3600, "1 hour earlier"), (86_400, "1 day later"), (-5 * 86_400, "5 days earlier"),
     (float("nan"), "date unknown")],
)  # fmt: skip
def test_lags(seconds: float, words: str) -> None:
    assert lag_words(seconds) == words


@pytest.mark.parametrize(
    ("far", "words"),
    [(4.0, "east of Mill Lane; 4 m from the road's middle"),
     (36_580.0, "36.58 km from the nearest road: east of Mill Lane"),
     (float("nan"), "far from every road")],
)  # fmt: skip
def test_where(far: float, words: str) -> None:
    row = {"longitude": 19.4, "distance_m": far, "place": "east of Mill Lane", "road": "Heron Road"}
    assert where_words(row, "metric") == words
    assert where_words(row | {"longitude": float("nan")}, "us") == "no place that can be used"


def test_short_distances_are_to_the_metre() -> None:
    assert near_words(4.4, "metric") == "4 m"
    assert near_words(123.0, "metric") == "120 m"
    assert near_words(30.48, "us") == "100 ft"
