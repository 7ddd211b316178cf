"""Numbers with intervals, by hand: where they stand, and what is said where there is none."""

from __future__ import annotations

import re

import numpy as np
import pytest

from roadrisk.reporting.chart_marks import round_top, ticks
from roadrisk.reporting.range_chart import Range, range_chart

ROWS = [Range("by crossings", 3.0, 1.0, 10.0), Range("by carcasses", np.nan, np.nan, np.nan)]


def places(svg: str) -> list[float]:
    """x of each line's two ends and of its dot, as shares of the scale."""
    line = re.search(r'd="M([\d.]+) [\d.]+H([\d.]+)" fill="none" stroke="#\w+" stroke-width="2.2"',
                     svg)  # fmt: skip
    dot = re.search(r'<circle cx="([\d.]+)"', svg)
    assert line
    assert dot
    return [(float(x) - 14.0) / 332.0 for x in (line[1], line[2], dot[1])]


def test_ends_and_dot_stand_where_they_should() -> None:
    """By hand: the scale goes from 0 to 10.4."""
    svg = range_chart("Killed, %", ROWS)
    assert places(svg) == pytest.approx([1 / 10.4, 10 / 10.4, 3 / 10.4], abs=0.001)
    assert ">3 (1 to 10)</text>" in svg


def test_what_is_not_identified_has_words_and_no_dot() -> None:
    svg = range_chart("Killed, %", ROWS)
    assert svg.count("<circle") == 1
    assert ">not identified</text>" in svg
    assert "by carcasses: not identified" in svg


def test_bounds_are_drawn_and_named() -> None:
    """Two bounds are a zone between two lines; one is one line."""
    two = range_chart("Killed, %", ROWS, zone=(2.0, 5.0), mark="bound of the species")
    one = range_chart("Change, %", ROWS, zone=(0.0, 0.0), mark="neither grows nor shrinks")
    assert two.count('stroke-dasharray="4 2"') == 2 * len(ROWS)
    assert one.count('stroke-dasharray="4 2"') == len(ROWS)
    assert "bound of the species" in two
    assert "broken line: neither grows nor shrinks" in one


def test_numbers_below_zero_have_room() -> None:
    """By hand: from -3 - 0.04 * 5 to 2 + 0.04 * 5."""
    svg = range_chart("Change, %", [Range("with", -1.0, -3.0, 2.0)])
    assert places(svg) == pytest.approx([0.2 / 5.4, 5.2 / 5.4, 2.2 / 5.4], abs=0.001)


def test_nothing_known_is_no_chart() -> None:
    assert range_chart("Killed, %", ROWS[1:]) == ""


@pytest.mark.parametrize(
    ("value", "top"), [(0.0, 1.0), (1.0, 1.0), (1.01, 2.0), (43.0, 50.0), (0.3, 0.5), (7e5, 1e6)]
)
def test_scales_end_at_round_numbers(value: float, top: float) -> None:
    assert round_top(value) == pytest.approx(top)


def test_ticks_are_round_and_within() -> None:
    assert ticks(0.0, 10.4) == [0.0, 2.0, 4.0, 6.0, 8.0, 10.0]
    assert ticks(-3.2, 2.2) == [-3.0, -2.0, -1.0, 0.0, 1.0, 2.0]
