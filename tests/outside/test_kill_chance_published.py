"""The chance that a crossing kills, against values worked out apart from this project.

The table was computed from the formula alone (``1 − exp(−N a / v)``, Hels & Buchwald 2001,
Biological Conservation 99:331–340, the formula from memory), independently of this project:
`check_values.md`, section 1. Implied exponents are of the chances in that paper's abstract
(https://escholarship.org/uc/item/0mf9859v): 0.34 to 0.61 on a road of 3,207 vehicles a day and
0.89 to 0.98 on a motorway. They aren't in one proportion, so no single scaling is tested.
"""

from __future__ import annotations

import math

import numpy as np
import pytest

from roadrisk.kill_settings import KillSection
from roadrisk.mortality.kill_formula import chance_killed, minutes_on_strip
from roadrisk.mortality.traffic_by_hour import FROM_MEMORY, traffic_shares

MINUTES_A_DAY = 1440
TABLE = {
    500: (0.0285, 0.0562, 0.0562, 0.0778),
    1000: (0.0562, 0.1093, 0.1093, 0.1496),
    2000: (0.1093, 0.2066, 0.2066, 0.2768),
    5000: (0.2513, 0.4394, 0.4394, 0.5552),
    10000: (0.4394, 0.6857, 0.6857, 0.8022),
    20000: (0.6857, 0.9012, 0.9012, 0.9609),
}


@pytest.mark.parametrize("aadt", TABLE)
def test_table_of_chances(aadt: int) -> None:
    """5 s and 10 s on the strip; 0.5 m and 0.7 m at 3 m/min."""
    per_min = aadt / MINUTES_A_DAY
    width, speed = np.array([5 / 60, 10 / 60, 0.5, 0.7]), np.array([1.0, 1.0, 3.0, 3.0])
    assert chance_killed(per_min, width, speed) == pytest.approx(TABLE[aadt], abs=5e-5)


def test_traffic_at_which_half_are_killed() -> None:
    """``ln 2 · 1440 · 3 / 0.5`` vehicles a day: 5988.79."""
    aadt = math.log(2) * MINUTES_A_DAY / float(minutes_on_strip(0.5, 3.0))
    assert aadt == pytest.approx(5988.79, abs=0.005)
    assert chance_killed(aadt / MINUTES_A_DAY, 0.5, 3.0) == pytest.approx(0.5, abs=1e-12)


def test_walking_speeds_of_sources_that_disagree() -> None:
    speeds = np.array([0.98, 1.77, 3.0, 5.5])
    found = chance_killed(2000 / MINUTES_A_DAY, 0.5, speeds)
    assert found == pytest.approx([0.5077, 0.3245, 0.2066, 0.1186], abs=5e-5)


def test_exponents_that_published_chances_imply() -> None:
    published = np.array([0.34, 0.61, 0.89, 0.98])
    exponents = np.array([0.4155, 0.9416, 2.2073, 3.9120])
    assert chance_killed(exponents, 1.0, 1.0) == pytest.approx(published, abs=5e-5)
    ratios = exponents[2:] / exponents[:2]
    assert ratios == pytest.approx([5.31, 4.15], abs=0.01)


def test_effect_of_the_hours() -> None:
    """2,000 vehicles a day, 30 s on the strip: all day alike, or day hours of a town's profile.

    The profile is from memory (`check_values.md`); so is the built-in one, which is the same.
    Its figures are rounded and sum to 1.0010; ours are brought to 1.
    """
    alike = chance_killed(2000 / MINUTES_A_DAY, 0.5, 1.0)
    as_printed = chance_killed(2000 * np.array(FROM_MEMORY) / 60, 0.5, 1.0)
    by_hour = chance_killed(2000 * traffic_shares(KillSection()) / 60, 0.5, 1.0)
    assert alike == pytest.approx(0.5006, abs=5e-5)
    assert sum(FROM_MEMORY) == pytest.approx(1.0010, abs=5e-5)
    assert as_printed[8:18].mean() == pytest.approx(0.6390, abs=5e-5)
    assert by_hour[8:18].mean() == pytest.approx(0.6390, abs=5e-4)
