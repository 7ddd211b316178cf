"""Rates of all tagged animals, of each sex, and of the population where its size is known."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

from roadrisk.telemetry.population_rate import PopulationRate, population_rate

if TYPE_CHECKING:
    from roadrisk.roads.network import Floats, Ints
    from roadrisk.settings import PopulationSection
    from roadrisk.telemetry.capture import CaptureWeights
    from roadrisk.telemetry.crossing_days import CrossingDays

ALL = "all tagged animals"
NOT_AT_ROADS = "without animals known to be caught at roads"
ADULTS = "adults"
RATE = "crossing_days_per_animal_year"
POPULATION = "population_crossing_days_per_year"
# The interval of an abundance is taken for 95 %.
_HALF_95 = 1.959963984540054
_UNKNOWN = "sex not known"


def rate_groups(
    found: CrossingDays,
    years: Floats,
    caught: CaptureWeights,
    sex: pd.Series[str],
    stage: pd.Series[str],
    population: PopulationSection | None,
    rng: np.random.Generator,
    *,
    level: float,
) -> pd.DataFrame:
    """Return crossing-days of all tagged animals and of each sex, as counts and as rates.

    Parameters
    ----------
    found : CrossingDays
    years : ndarray, shape (animals,)
        How long each animal was watched [years of its active season].
    caught : CaptureWeights
        How much each counts in rates. Where any animal was caught at a road and still counts,
        a row of its own leaves those out.
    sex : pandas.Series
        Of each animal, in the order of ``found.animals``; "" where not known.
    stage : pandas.Series
        Life stage, likewise. Where some are adults and some are not, adults have a row, and it
        is their rate that is scaled to a population of adults.
    population : PopulationSection, optional
        Size of the population with its interval, taken for a 95 % one.
    rng : numpy.random.Generator
    level : float
        Coverage of the intervals, two-sided.

    Returns
    -------
    pandas.DataFrame
        One row a group, all animals first; one sex alone makes no row. Two rates that differ
        much with and without animals caught at roads say that neither is to be trusted for
        the population. Columns: group,
        animals, animal_years, crossing_days with _low and _high (of these tagged animals in
        this study, over drawn paths), least_crossings, total_crossings with _low and _high
        (where they are not identified: no value, and as ends those under other priors and
        widths; none for parts of the animals), totals_note, crossing_days_per_animal_year with
        _low and _high (of animals like these), crossing_days_note, and on one row
        population_crossing_days_per_year with _low and _high (NaN without an abundance).
    """
    weight = caught.weight
    kinds = sex.fillna("").replace("", _UNKNOWN).to_numpy(object)
    groups: list[tuple[str, Ints]] = [(ALL, np.arange(len(kinds)))]
    if len(set(kinds.tolist())) > 1:
        groups += [(str(k), np.flatnonzero(kinds == k)) for k in sorted(set(kinds.tolist()))]
    adult = (stage.fillna("").str.casefold() == "adult").to_numpy(bool)
    scaled = ALL
    if 0 < adult.sum() < len(adult):
        groups.append((ADULTS, np.flatnonzero(adult)))
        scaled = ADULTS
    apart = np.flatnonzero(caught.left_out > 0)
    if 0 < len(apart) < (weight > 0).sum():
        groups.append((NOT_AT_ROADS, apart))
    rows = []
    for name, who in groups:
        rate = population_rate(
            found.crossing_days[who],
            years[who],
            rng,
            level=level,
            weight=np.ones(len(who)) if name == NOT_AT_ROADS else weight[who],
        )
        many = population if name == scaled else None
        rows.append(_row(name, who, found, years, rate, many, rng, level))
    return pd.DataFrame(rows)


def _row(
    name: str,
    who: Ints,
    found: CrossingDays,
    years: Floats,
    rate: PopulationRate,
    population: PopulationSection | None,
    rng: np.random.Generator,
    level: float,
) -> dict[str, Any]:
    tails = [(1 - level) / 2, (1 + level) / 2]
    out: dict[str, Any] = {"group": name, "animals": len(who), "animal_years": years[who].sum()}
    animals = found.animals.iloc[who]
    for column, draws in (
        ("crossing_days", found.crossing_days[who].sum(axis=0)),
        ("total_crossings", found.total_crossings[who].sum(axis=0)),
    ):
        ends = np.quantile(draws, tails) if len(who) else (np.nan, np.nan)
        out |= {column: draws.mean() if len(who) else np.nan}
        out |= {f"{column}_low": float(ends[0]), f"{column}_high": float(ends[1])}
    out["least_crossings"] = int(animals["least_crossings"].sum())
    notes = animals["totals_note"]
    missing = sum(str(note).startswith("not identified") for note in notes)
    out["totals_note"] = (
        f"not identified from the fixes of {missing} of {len(who)} animals"
        if missing
        else "under the stated path-scale prior, or from bursts"
    )
    if missing:
        every = found.others["total_crossings"] if name == ALL else pd.Series([np.nan])
        out |= {"total_crossings": np.nan}
        out |= {"total_crossings_low": every.min(), "total_crossings_high": every.max()}
    out |= {RATE: rate.mean, f"{RATE}_low": rate.low, f"{RATE}_high": rate.high}
    out["crossing_days_note"] = rate.note
    scaled = _scaled(rate, population, rng, tails)
    return out | dict(
        zip((POPULATION, f"{POPULATION}_low", f"{POPULATION}_high"), scaled, strict=True)
    )


def _scaled(
    rate: PopulationRate,
    population: PopulationSection | None,
    rng: np.random.Generator,
    tails: list[float],
) -> tuple[float, float, float]:
    if population is None or not len(rate.draws):
        return np.nan, np.nan, np.nan
    value, low, high = population.abundance
    z = rng.standard_normal(len(rate.draws))
    # Two halves of log-normal distributions that meet at the stated value.
    spread = np.where(z < 0, math.log(value / low), math.log(high / value)) / _HALF_95
    ends = np.quantile(rate.draws * value * np.exp(z * spread), tails)
    return rate.mean * value, float(ends[0]), float(ends[1])
