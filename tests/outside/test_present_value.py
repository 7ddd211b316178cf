"""Present value factors against something outside.

Huijser, Duffield, Clevenger, Ament & McGowen 2009, Ecology and Society 14(2):15, discount over 75
years at 1, 3 and 7 %. The factor of 75 years at 3 %, 29.7018, is computed independently of this
package (check_values.md, section 8); the others are sums of exact fractions of the standard
library.
"""

from __future__ import annotations

from fractions import Fraction

import pytest

from roadrisk.mitigation.costs import present_value_factor, replacement_factor


def test_75_years_at_3_percent():
    assert present_value_factor(75, 0.03) == pytest.approx(29.7018, abs=5e-5)


@pytest.mark.parametrize("percent", [1, 3, 7, 20])
@pytest.mark.parametrize("years", [1, 30, 75, 100])
def test_sums_of_exact_fractions(percent, years):
    each = 1 / (1 + Fraction(percent, 100))
    exact = float(sum(each**k for k in range(1, years + 1)))
    assert present_value_factor(years, percent / 100) == pytest.approx(exact, rel=1e-13)


@pytest.mark.parametrize("life", [7, 20, 25, 75])
def test_things_bought_again_against_exact_fractions(life):
    each = 1 / (1 + Fraction(3, 100))
    exact = float(sum(each**k for k in range(1, 75) if k % life == 0))
    assert replacement_factor(life, 75, 0.03) == pytest.approx(exact, rel=1e-13)
