"""What comes of the money: deaths averted over the horizon, cost for each, and for motorists."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from roadrisk.base.plain_numbers import number
from roadrisk.mitigation.costs import present_value_factor

if TYPE_CHECKING:
    import pandas as pd

    from roadrisk.mitigation_settings import MitigationSection

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Benefit:
    """Benefit and cost of something built.

    Attributes
    ----------
    averted, averted_low, averted_high : float
        Deaths averted over the horizon, not discounted; mean and 90 % interval of the draws.
    cost_per_death, cost_per_death_low, cost_per_death_high : float
        Present cost by death averted. NaN without a cost, or where no deaths are expected to be
        averted; the high end is infinite where the interval of deaths reaches 0.
    value, value_low, value_high : float
        Present value of the animals; NaN unless the study puts a value on one.
    words : str
        One or two plain sentences.
    """

    averted: float
    averted_low: float
    averted_high: float
    cost_per_death: float
    cost_per_death_low: float
    cost_per_death_high: float
    value: float
    value_low: float
    value_high: float
    words: str


def benefit(
    averted_per_year: Floats,
    present_cost: tuple[float, float, float],
    *,
    settings: MitigationSection,
) -> Benefit:
    """Return deaths averted over the horizon, the cost for each, and their value if they have one.

    Parameters
    ----------
    averted_per_year : ndarray, shape (draws,)
        Deaths averted a year.
    present_cost : tuple of float
        Present cost: low, likely, high; NaN while prices aren't confirmed.
    settings : MitigationSection
        Horizon, discount rate, value of an animal.

    Returns
    -------
    Benefit
        The interval of the cost for a death takes the low cost with many averted, and the high
        cost with few, so it holds more than 90 %.
    """
    low, high = np.quantile(averted_per_year, (0.05, 0.95))
    a_year = (float(np.mean(averted_per_year)), float(low), float(high))
    averted, fewest, most = (v * settings.horizon_years for v in a_year)
    each = present_cost[1] / averted if averted > 0 else math.nan
    each_low = present_cost[0] / most if averted > 0 else math.nan
    each_high = math.nan
    if averted > 0:
        each_high = present_cost[2] / fewest if fewest > 0 else present_cost[2] * math.inf
    factor = present_value_factor(settings.horizon_years, settings.discount_percent / 100)
    worth = math.nan if settings.value_per_animal is None else settings.value_per_animal
    return Benefit(
        averted=averted,
        averted_low=fewest,
        averted_high=most,
        cost_per_death=each,
        cost_per_death_low=each_low,
        cost_per_death_high=each_high,
        value=worth * factor * a_year[0],
        value_low=worth * factor * a_year[1],
        value_high=worth * factor * a_year[2],
        words=_words(averted, (each, each_low, each_high), settings),
    )


def motorists_words(crashes: pd.DataFrame | None, on_sites: int | None = None) -> str:
    """Return the line on motorists' safety.

    Parameters
    ----------
    crashes : pandas.DataFrame or None
        `Study.crashes`; a column animal says "yes" where one was involved.
    on_sites : int, optional
        How many lie on the proposed sites.

    Returns
    -------
    str
        Counts alone: whether the measures change crashes isn't worked out.
    """
    if crashes is None:
        return "No crash records supplied: nothing is said about motorists' safety."
    words = f"{len(crashes)} crash records supplied"
    if "animal" in crashes:
        words += f", {int((crashes['animal'] == 'yes').sum())} of them with an animal"
    if on_sites is not None:
        words += f"; {on_sites} on the proposed sites"
    return words + ". Whether the measures change crashes was not worked out."


def _words(averted: float, each: tuple[float, float, float], settings: MitigationSection) -> str:
    if averted <= 0:
        return "No deaths are expected to be averted, so there is no cost for each."
    likely, low, high = each
    if math.isnan(likely):
        return "Prices not confirmed: no cost for each death averted."
    ends = (
        f"at least {number(low)}, no upper bound: perhaps none is averted"
        if math.isinf(high)
        else f"{number(low)} with low prices and many averted, to {number(high)} with high prices "
        "and few"
    )
    money = f"{number(likely)} {settings.currency}".strip()
    return (
        f"All sites together: {money} for each death averted over {settings.horizon_years} years "
        f"({ends}). Costs are discounted at {settings.discount_percent:g} % a year, deaths are "
        "not; as many are taken to be averted each year, however population and traffic change."
    )
