"""The default range of a sign's effect against the exact interval of the published counts.

Seburn & McCurdy-Adams 2019, Canadian Field-Naturalist 133:279: 30 dead before, 27 after. The exact
(conditional) interval of the ratio by scipy's beta quantiles; check_values.md, section 8, has
0.5148 to 1.5664.
"""

from __future__ import annotations

import pytest
from scipy import stats

from roadrisk.mitigation.measures import built_in_measures


@pytest.mark.parametrize("key", ["sign_standing", "sign_seasonal"])
def test_ends_of_the_range(key):
    after, before = 27, 30
    low = stats.beta.ppf(0.025, after, before + 1)
    high = stats.beta.ppf(0.975, after + 1, before)
    ratio_low, ratio_high = low / (1 - low), high / (1 - high)
    assert (ratio_low, ratio_high) == pytest.approx((0.5148, 1.5664), abs=1e-4)
    effect = built_in_measures()[key].effect
    assert effect.low == pytest.approx(1 - ratio_high, abs=0.005)
    assert effect.high == pytest.approx(1 - ratio_low, abs=0.005)
