"""Effects of measures as draws, and as a table with their evidence.

A range (low, likely, high) is read as 5 % point, middle and 95 % point, as everywhere in the
package. Between and beyond them a split normal is put: below its middle as wide as the low point
asks, above it as wide as the high point asks, so all three points hold exactly.

- Effect e: of the logarithm of 1 - e, the ratio of deaths with the measure to deaths without it,
  the scale on which rate ratios have symmetric intervals. So e never passes 1 and may be below 0.
- Displaced share f: of f itself, and what falls below 0 is 0.
- End distance: low, likely and high themselves, with the weights 0.185, 0.63, 0.185 that keep mean
  and variance of a smooth distribution with these points (extended Pearson-Tukey rule, from
  memory). Three values, since what a fence is worth is worked out anew for each.

The draws are the middles of equally likely slices, in random order: their mean is that of the
distribution, so a measure whose likely effect is 0 isn't made to look good by luck. The three are
independent of each other; no source says otherwise.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd
from numpy.typing import NDArray
from scipy.special import ndtri

if TYPE_CHECKING:
    from collections.abc import Iterable

    from roadrisk.mitigation.measures import Measure, Range

Floats = NDArray[np.float64]

Z95 = 1.6448536269514722  # 95 % point of the standard normal
END_WEIGHTS = (0.185, 0.63, 0.185)
LEAST_RATIO = 1e-3
"""Ratio of deaths that stands in for 0, whose logarithm there isn't: a measure of which the range
ends at "averts all" is held to let one in a thousand through at that point."""

COLUMNS = (
    "measure", "name", "effect_low", "effect", "effect_high", "displaced_low", "displaced_high",
    "grade", "source", "precedents",
)  # fmt: skip


@dataclass(frozen=True, eq=False)
class EffectDraws:
    """Draws of what a measure does.

    Attributes
    ----------
    effect : ndarray, shape (draws,)
        Share of deaths averted, below 1; below 0 where more die.
    displaced : ndarray, shape (draws,)
        Deaths that move to an end for each averted close to it, 0 or more; 0 but for barriers.
    end_m : ndarray, shape (draws,)
        How far beyond an end they fall [m]: 3 distinct values at most; 1 but for barriers,
        where nothing moves.
    """

    effect: Floats
    displaced: Floats
    end_m: Floats


def draw_effects(measure: Measure, rng: np.random.Generator, draws: int) -> EffectDraws:
    """Draw what a measure does.

    Parameters
    ----------
    measure : Measure
        One that has an effect.
    rng : numpy.random.Generator
        A new one for each measure: `base.seeds.generator(seed, step_of(measure))`.
    draws : int

    Returns
    -------
    EffectDraws

    Raises
    ------
    ValueError
        If the measure has no effect (`measure.no_effect` says why), or `draws` is below 1.
    """
    if measure.effect is None:
        raise ValueError(f"{measure.name}: {measure.no_effect}")
    if draws < 1:
        raise ValueError(f"{draws} draws")
    effect = _effects(measure.effect, _slices(rng, draws))
    if measure.displaced is None or measure.end_distance_m is None:
        return EffectDraws(effect, np.zeros(draws), np.ones(draws))
    displaced = np.maximum(0.0, split_normal(measure.displaced, _slices(rng, draws)))
    return EffectDraws(effect, displaced, _ends(measure.end_distance_m, _slices(rng, draws)))


def step_of(measure: Measure) -> str:
    """Return the name of the random step that draws a measure's effect: one for all fences.

    What is held of fences rests on the same evidence. Drawn each by itself, of two fences of the
    same ranges one would look better by luck, and both together surer than either alone.

    Parameters
    ----------
    measure : Measure

    Returns
    -------
    str
    """
    return f"mitigation.effects.{'fence_and_passages' if measure.barrier else measure.key}"


def effects_table(measures: Iterable[Measure]) -> pd.DataFrame:
    """Return what is held of each measure, with grade, source and precedents in words.

    Parameters
    ----------
    measures : iterable of Measure

    Returns
    -------
    pandas.DataFrame
        Columns of `COLUMNS`; numbers are NaN where there is none, and the source says why.
    """
    rows = []
    for m in measures:
        effect = (np.nan,) * 3 if m.effect is None else _points(m.effect)
        moved = (np.nan,) * 3 if m.displaced is None else _points(m.displaced)
        source = m.no_effect if m.effect is None else m.effect.source
        precedents = " | ".join(p.words for p in m.precedents) or "none found"
        rows.append((m.key, m.name, *effect, moved[0], moved[2], m.grade, source, precedents))
    return pd.DataFrame(rows, columns=list(COLUMNS))


def split_normal(value: Range, probability: Floats) -> Floats:
    """Return quantiles of the split normal with a range's three points.

    Parameters
    ----------
    value : Range
    probability : ndarray
        Between 0 and 1.

    Returns
    -------
    ndarray
        Of the shape of `probability`; at 0.05, 0.5 and 0.95 `low`, `likely` and `high`.
    """
    return _quantiles(*_points(value), probability)


def _quantiles(low: float, middle: float, high: float, probability: Floats) -> Floats:
    z = ndtri(probability) / Z95
    return middle + np.where(z < 0, (middle - low) * z, (high - middle) * z)


def _effects(value: Range, probability: Floats) -> Floats:
    """Quantiles of e: the ratio 1 - e falls as e rises."""
    if value.low == value.high:
        return np.full(len(probability), value.low)
    ratios = (max(1 - e, LEAST_RATIO) for e in _points(value))
    low, middle, high = (float(-np.log(r)) for r in ratios)
    return -np.expm1(-_quantiles(low, middle, high, probability))


def _ends(value: Range, probability: Floats) -> Floats:
    parts = np.searchsorted(np.cumsum(END_WEIGHTS)[:2], probability)
    return np.array(_points(value))[parts]


def _slices(rng: np.random.Generator, draws: int) -> Floats:
    """Middles of equally likely slices of 0 to 1, in random order."""
    return np.asarray((rng.permutation(draws) + 0.5) / draws)


def _points(value: Range) -> tuple[float, float, float]:
    return value.low, value.likely, value.high
