"""Intervals of a chance of detection from few trials, against exact binomial probabilities."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats

from roadrisk.mortality.detection import _FOUND, _MISSED


@pytest.mark.parametrize("trials", [10, 15, 20, 40])
def test_how_often_the_interval_holds_the_chance(trials: int) -> None:
    """Outside: scipy's binomial law, for chances from 0.1 to 0.8 (mean and least over these).

    90 % intervals hold the chance in 0.90 on average, and no less often than Jeffreys' do, with
    errors of both kinds; and the mean of 1 / chance lies nearer to the truth than by Jeffreys.
    """
    found = np.arange(trials + 1)
    chance = np.linspace(0.1, 0.8, 141)[:, None]
    law = stats.binom(trials, chance).pmf(found)
    held, least, too_high, inverse = {}, {}, {}, {}
    for name, a, b in (("ours", _FOUND, _MISSED), ("jeffreys", 0.5, 0.5)):
        low, middle, high = (
            stats.beta(found + a, trials - found + b).ppf(q) for q in (0.05, 0.5, 0.95)
        )
        inside = (law * ((low <= chance) & (chance <= high))).sum(axis=1)
        held[name], least[name] = inside.mean(), inside.min()
        too_high[name] = (law * (high < chance)).sum(axis=1).mean()  # deaths too high
        inverse[name] = ((law / middle).sum(axis=1) * chance[:, 0]).mean()
    assert held["ours"] == pytest.approx(0.90, abs=0.004)
    assert held["ours"] > held["jeffreys"]
    assert least["ours"] >= least["jeffreys"]
    assert 0.02 < too_high["ours"] < too_high["jeffreys"] < 0.06
    assert abs(inverse["ours"] - 1) < abs(inverse["jeffreys"] - 1)
