"""How fast a population would grow or shrink with and without road deaths, rates as they are."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from roadrisk.base.seeds import generator

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from roadrisk.stage_settings import StagesSection

    Floats = NDArray[np.float64]

_HALF_90 = 1.6448536269514722  # 95 % point of the standard normal
_ROUNDS = 60
# Survival without road deaths isn't taken above this, whatever is added back.
_MOST = 0.9999


@dataclass(frozen=True, eq=False)
class Growth:
    """What a stage matrix says of a population whose rates stay as they are.

    Attributes
    ----------
    rate : ndarray, shape (...)
        Numbers next year over numbers this year, in the long run (dominant eigenvalue).
    stable : ndarray, shape (..., stages)
        Share of the population in each stage, sums to 1.
    value : ndarray, shape (..., stages)
        What an animal of each stage is worth for later numbers; the first stage is 1.
    generation_years : ndarray, shape (...)
        Mean age of mothers at birth, from the first stage's beginning.
    """

    rate: Floats
    stable: Floats
    value: Floats
    generation_years: Floats


@dataclass(frozen=True, eq=False)
class Projection:
    """Growth with and without road deaths.

    Attributes
    ----------
    with_road, without_road : Growth
        Of all draws; the same rates but for road deaths in each.
    matrix_with, matrix_without : ndarray, shape (draws, stages, stages)
    table : pandas.DataFrame
        quantity, value (mean) with _low and _high.
    notes : tuple of str
    """

    with_road: Growth
    without_road: Growth
    matrix_with: Floats
    matrix_without: Floats
    table: pd.DataFrame
    notes: tuple[str, ...]


def transitions(survival: Floats, years: Floats, rate: Floats | float = 1.0) -> Floats:
    """Return who stays in each stage and who goes on to the next.

    Parameters
    ----------
    survival : ndarray, shape (..., stages)
        A year, above 0 and below 1.
    years : ndarray, shape (stages,)
        Spent in each stage, 1 or more; infinite where animals stay until they die.
    rate : ndarray, shape (...), or float
        Growth at which a stage's ages are shared out: with more growth there are more young
        ones in it.

    Returns
    -------
    ndarray, shape (..., stages, stages)
        Column: stage this year, row: stage next year.

    Notes
    -----
    A stage of d years with survival s has 1, s/λ, (s/λ)², ... animals of its first, second,
    ... year, and those in the last go on: share γ = (s/λ)^(d−1) (1 − s/λ) / (1 − (s/λ)^d)
    (Crouse, Crowder & Caswell 1987 with λ = 1; Caswell 2001, section 6.4; from memory).
    """
    s = np.asarray(survival, dtype=np.float64)
    ratio = s / np.asarray(rate, dtype=np.float64)[..., None]
    lasting = np.isinf(years)
    d = np.where(lasting, 1.0, years)
    even = np.isclose(ratio, 1.0, atol=1e-9)
    r = np.where(even, 0.5, ratio)
    go = np.where(even, 1.0 / d, r ** (d - 1) * (1 - r) / (1 - r**d))
    go = np.where(lasting, 0.0, go)
    stages = s.shape[-1]
    out = np.zeros((*s.shape, stages))
    k = np.arange(stages)
    out[..., k, k] = s * (1 - go)
    out[..., k[1:], k[:-1]] = (s * go)[..., :-1]
    return out


def births(moves: Floats, young: Floats) -> Floats:
    """Return the first row's births, counted right after breeding, of females that live to it.

    Parameters
    ----------
    moves : ndarray, shape (..., stages, stages)
        `transitions`.
    young : ndarray, shape (..., stages)
        Daughters a year of a female in each stage.

    Returns
    -------
    ndarray, shape (..., stages, stages)
        0 but in the first row.
    """
    out = np.zeros_like(moves)
    out[..., 0, :] = np.einsum("...i,...ij->...j", young, moves)
    return out


def stage_matrices(survival: Floats, years: Floats, young: Floats) -> tuple[Floats, Floats]:
    """Return moves and births with every stage's ages shared out at the matrix's own growth.

    Parameters
    ----------
    survival : ndarray, shape (draws, stages)
    years : ndarray, shape (stages,)
    young : ndarray, shape (draws, stages)

    Returns
    -------
    moves, born : ndarray, shape (draws, stages, stages)
        The projection matrix is their sum; its growth is that of the matrix of single years of
        age, if stages last whole years.
    """
    rate = np.ones(len(survival))
    for _ in range(_ROUNDS):
        moves = transitions(survival, years, rate)
        born = births(moves, young)
        found = _largest(moves + born)
        moved = np.abs(found - rate).max(initial=0.0)
        # Halfway: full steps may swing.
        rate = (rate + found) / 2
        if moved < 1e-12:
            break
    return moves, born


def growth_of(moves: Floats, born: Floats) -> Growth:
    """Return growth, stable stages, their values and generation time of stage matrices.

    Parameters
    ----------
    moves, born : ndarray, shape (..., stages, stages)

    Returns
    -------
    Growth

    Notes
    -----
    Generation time λ v·w / (v·F w), the mean age of mothers in the stable population (Bienvenu
    & Legendre 2015, American Naturalist 185:834–843, from memory).
    """
    matrix = moves + born
    rate, stable = _dominant(matrix)
    _, value = _dominant(np.swapaxes(matrix, -1, -2))
    stable = stable / stable.sum(axis=-1, keepdims=True)
    value = value / value[..., :1]
    both = (value * stable).sum(axis=-1)
    new = np.einsum("...i,...ij,...j->...", value, born, stable)
    return Growth(rate, stable, value, np.asarray(rate * both / new))


def project(
    section: StagesSection,
    road_share: Floats,
    seed: int,
    *,
    level: float = 0.90,
) -> Projection:
    """Project a population with and without road deaths.

    Parameters
    ----------
    section : StagesSection
    road_share : ndarray, shape (draws,)
        Share of the animals that roads kill in a year, 0 to 1.
    seed : int
        The study's.
    level : float
        Coverage of intervals, two-sided.

    Returns
    -------
    Projection
    """
    draws = len(road_share)
    rng = generator(seed, "mortality.stages")
    years = np.array([math.inf if s.years is None else s.years for s in section.stage])
    survival = np.column_stack([_chances(s.survival_low, s.survival_high, rng, draws)
                                for s in section.stage])  # fmt: skip
    young = np.column_stack([_numbers(s.young_low, s.young_high, rng, draws)
                             for s in section.stage])  # fmt: skip
    on_road = np.array([s.road_deaths for s in section.stage])
    lives = np.where(on_road, 1.0 - np.minimum(road_share, _MOST)[:, None], 1.0)
    included = section.survival_includes_road_deaths
    without = np.minimum(survival / lives, _MOST) if included else survival
    with_road = survival if included else survival * lives
    (m1, b1), (m2, b2) = (stage_matrices(s, years, young) for s in (with_road, without))
    grows, would = growth_of(m1, b1), growth_of(m2, b2)
    capped = float((survival / lives > _MOST).any(axis=1).mean()) if included else 0.0
    table = _table(grows, would, level)
    return Projection(grows, would, m1 + b1, m2 + b2, table, _words(table, section, capped))


def _largest(matrix: Floats) -> Floats:
    return np.asarray(np.linalg.eigvals(matrix).real.max(axis=-1))


def _dominant(matrix: Floats) -> tuple[Floats, Floats]:
    values, vectors = np.linalg.eig(matrix)
    at = values.real.argmax(axis=-1)
    first = np.take_along_axis(values, at[..., None], axis=-1)[..., 0].real
    vector = np.take_along_axis(vectors, at[..., None, None], axis=-1)[..., 0]
    return np.asarray(first), np.abs(vector.real)


def _chances(low: float, high: float, rng: np.random.Generator, draws: int) -> Floats:
    """Chances of which about 90 % lie between both ends: normal in the logarithm of the odds."""
    ends = [math.log(p / (1 - p)) for p in (low, high)]
    odds = sum(ends) / 2 + (ends[1] - ends[0]) / (2 * _HALF_90) * rng.standard_normal(draws)
    return np.asarray(1.0 / (1.0 + np.exp(-odds)))


def _numbers(low: float, high: float, rng: np.random.Generator, draws: int) -> Floats:
    z = rng.standard_normal(draws)
    if high == 0:
        return np.zeros(draws)
    spread = math.log(high / low) / (2 * _HALF_90)
    return np.asarray(math.sqrt(low * high) * np.exp(spread * z))


def _table(grows: Growth, would: Growth, level: float) -> pd.DataFrame:
    percent = {
        "change a year with road deaths, %": 100 * (grows.rate - 1),
        "change a year without road deaths, %": 100 * (would.rate - 1),
        "road deaths take off, % a year": 100 * (would.rate - grows.rate),
        "years between generations, with road deaths": grows.generation_years,
        "years between generations, without": would.generation_years,
    }
    tails = [(1 - level) / 2, (1 + level) / 2]
    rows = [(name, v.mean(), *np.quantile(v, tails)) for name, v in percent.items()]
    return pd.DataFrame(rows, columns=["quantity", "value", "value_low", "value_high"])


def _words(table: pd.DataFrame, section: StagesSection, capped: float) -> tuple[str, ...]:
    def span(row: int, form: str) -> str:
        value, low, high = table.iloc[row][["value", "value_low", "value_high"]]
        return f"{value:{form}} ({low:{form}} to {high:{form}})"

    said = (
        "road deaths are part of the stated survival, and are added back"
        if section.survival_includes_road_deaths
        else "road deaths are taken off the stated survival"
    )
    out = [
        f"With rates as stated ({section.source}) numbers would change by {span(0, '+.1f')} % a "
        f"year with the road deaths and by {span(1, '+.1f')} % without them ({said}). A "
        f"generation takes {span(3, '.0f')} years.",
        "That is no forecast: rates differ from year to year and with numbers, animals come and "
        "go, and nothing here says how likely the population is to die out.",
    ]
    if capped > 0:
        out.append(
            f"In {100 * capped:.0f} % of the draws road deaths are more than all deaths that the "
            "stated survival leaves room for: the two don't fit together there."
        )
    return tuple(out)
