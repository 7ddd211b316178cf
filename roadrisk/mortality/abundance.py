"""How many adults there are, as draws."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from roadrisk.settings import PopulationSection

# The interval of an abundance is taken for 95 %: as in `telemetry.rate_groups`.
_HALF_95 = 1.959963984540054


def draw_adults(
    population: PopulationSection, rng: np.random.Generator, draws: int = 400
) -> NDArray[np.float64]:
    """Draw numbers of adults: two halves of log-normal laws that meet at the stated value.

    Parameters
    ----------
    population : PopulationSection
        Its interval is taken for a 95 % one.
    rng : numpy.random.Generator
    draws : int

    Returns
    -------
    ndarray, shape (draws,)
    """
    value, low, high = population.abundance
    z = rng.standard_normal(draws)
    spread = np.where(z < 0, math.log(value / low), math.log(high / value)) / _HALF_95
    return np.asarray(value * np.exp(z * spread))
