"""Deaths from crossings: how often animals cross, times the chance that a crossing kills."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd
from scipy import sparse

from roadrisk.base.seeds import generator
from roadrisk.mortality.abundance import draw_adults
from roadrisk.mortality.crossing_amounts import ByPlace
from roadrisk.mortality.crossing_words import NO_POPULATION, crossing_words
from roadrisk.telemetry.population_rate import HARDLY_CROSSING, population_rate

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from roadrisk.settings import PopulationSection

    Floats = NDArray[np.float64]
    Ints = NDArray[np.int64]

NO_TELEMETRY = "not identified: no tagged animal was watched"
# A crossing that kills for certain is taken for this.
_MOST = 1.0 - 1e-9
_RATE = "deaths_per_100_animal_years"
_YEAR = "deaths_a_year_crossings"


@dataclass(frozen=True, eq=False)
class CrossingDeaths:
    """Deaths on roads that crossings of tagged animals lead to expect.

    Attributes
    ----------
    per_animal : ndarray, shape (places, draws)
        Deaths per animal and year; NaN where not identified.
    a_year : ndarray, shape (places, draws)
        Deaths of adults a year; NaN where not identified, everywhere without an abundance.
    total_per_animal, total_a_year : ndarray, shape (draws,)
        On all roads together, of one calculation: its interval is narrower than the sum of
        those of places.
    among_tagged : ndarray, shape (draws,)
        Road deaths to expect among the tagged animals while they were watched.
    plain : ndarray, shape (places,)
        Deaths per animal and year of the very sample, over its paths: the value that `places`
        gives. The mean of draws lies above it where few animals crossed, since their limits
        are lopsided.
    chance : ndarray, shape (places, draws)
        Deaths that a crossing there stands for: less than p's hazard, since an animal dies once;
        0 where nobody crosses.
    first_share : ndarray, shape (draws,)
        What is left of all hazards since an animal dies once, 0 to 1.
    places : pandas.DataFrame
        One row a place: deaths_per_100_animal_years and deaths_a_year_crossings with _low and
        _high, crossing_deaths_note (what it is made of, or why there is none).
    lower_bound : bool
        Whether crossing-days stand in for crossings.
    notes : tuple of str
    """

    per_animal: Floats
    a_year: Floats
    total_per_animal: Floats
    total_a_year: Floats
    among_tagged: Floats
    plain: Floats
    chance: Floats
    first_share: Floats
    places: pd.DataFrame
    lower_bound: bool
    notes: tuple[str, ...]


def deaths_from_crossings(
    amounts: pd.DataFrame,
    years: Floats,
    weight: Floats,
    kill: Floats,
    seed: int,
    *,
    places: int,
    paths: int,
    totals_identified: bool,
    population: PopulationSection | None = None,
    road_deaths_seen: int | None = None,
    level: float = 0.90,
    each_place: bool = True,
) -> CrossingDeaths:
    """Return deaths at places from crossings of tagged animals.

    Parameters
    ----------
    amounts : pandas.DataFrame
        `crossing_amounts.crossing_amounts`.
    years : ndarray, shape (animals,)
        How long each was watched [years of its active season].
    weight : ndarray, shape (animals,)
        0 leaves an animal out, as `adults_weight` does for young ones.
    kill : ndarray, shape (segments, draws)
        `KillChance.draws`.
    seed : int
        The study's.
    places, paths : int
        Places, and drawn paths of each animal, that `amounts` is about.
    totals_identified : bool
        `CrossingDays.totals_identified`; else crossing-days are used, a lower bound.
    population : PopulationSection, optional
        Adults there are.
    road_deaths_seen : int, optional
        Tagged animals known to have died on a road while watched.
    level : float
        Coverage of intervals, two-sided.
    each_place : bool
        False leaves out how many die at each place: only the chances there are asked for.

    Returns
    -------
    CrossingDeaths

    Notes
    -----
    Rates are those of `telemetry.population_rate`, place by place and for all roads, with the
    order of their draws from one weighing of the animals (Dirichlet weights) with one path
    each, so that places keep their dependence. An animal dies once: 1 − Π (1 − p) over a year's
    crossings is its chance to die within the year (which has no bias if crossings are Poisson),
    and every place has its part in it. p of a draw is the same for all animals.
    """
    draws = kill.shape[1]
    if not ((years > 0) & (weight > 0)).any():
        return _nothing(places, draws, NO_TELEMETRY, lower_bound=not totals_identified)
    column = "crossings" if totals_identified else "days"
    rows = _rows(amounts, column, draws, paths)
    rng = generator(seed, "mortality.crossing_rates")
    by_place = ByPlace(amounts, column, len(years), paths)
    total = population_rate(by_place.at(None), years, rng, weight=weight, level=level)
    weighing = generator(seed, "mortality.crossing_weights")
    joint = _joint(rows, years, weight, kill, (weighing, rng), places, total.draws)
    if each_place:
        per_animal, notes = _at_places(by_place, joint, years, weight, rng, level)
    else:
        per_animal = np.full(joint.rate.shape, np.nan)
        notes = np.full(len(per_animal), "not asked for", dtype=object)
    adults = (
        draw_adults(population, generator(seed, "mortality.adults"), draws)
        if population is not None
        else np.full(draws, np.nan)
    )
    many = population.abundance[0] if population is not None else np.nan
    table = _table(per_animal, adults, joint.plain, many, notes, level)
    plain = (float(joint.plain.sum()), many)
    words = crossing_words(
        joint.total, adults, plain, joint.among_tagged, total.note, level,
        totals_identified=totals_identified, seen=road_deaths_seen,
        crossed=float(amounts[column].sum()) / paths,
    )  # fmt: skip
    return CrossingDeaths(
        per_animal, per_animal * adults, joint.total, joint.total * adults, joint.among_tagged,
        joint.plain, joint.chance, joint.first_share, table, not totals_identified, words,
    )  # fmt: skip


def adults_weight(weight: Floats, life_stage: pd.Series[str]) -> Floats:
    """Return weights with animals left out that aren't adults, where some are known to be.

    Parameters
    ----------
    weight : ndarray, shape (animals,)
    life_stage : pandas.Series
        "" where not known.

    Returns
    -------
    ndarray
    """
    adult = (life_stage.fillna("").str.casefold() == "adult").to_numpy(bool)
    return np.where(adult, weight, 0.0) if 0 < adult.sum() < len(adult) else weight


@dataclass(frozen=True, eq=False)
class _Joint:
    """One weighing of the animals a draw: (places, draws) or (draws,).

    `rate` are crossings an animal-year at each place, `chance` deaths a crossing there, `total`
    deaths an animal-year on all roads; `plain`, shape (places,), those of the very sample.
    """

    rate: Floats
    chance: Floats
    first_share: Floats
    total: Floats
    among_tagged: Floats
    plain: Floats


def _rows(amounts: pd.DataFrame, column: str, draws: int, paths: int) -> pd.DataFrame:
    """Crossings with the number of the draw that their path belongs to, repeated if need be."""
    base = amounts.rename(columns={column: "amount"})[
        ["place", "segment", "animal", "draw", "amount"]
    ]
    parts = [base.assign(draw=base["draw"] + k * paths) for k in range(-(-draws // paths))]
    rows = pd.concat(parts, ignore_index=True)
    return rows[rows["draw"] < draws]


def _joint(
    rows: pd.DataFrame,
    years: Floats,
    weight: Floats,
    kill: Floats,
    rngs: tuple[np.random.Generator, np.random.Generator],
    places: int,
    total_rates: Floats,
) -> _Joint:
    animals, draws = len(years), kill.shape[1]
    shape = (places, draws)
    place, segment, animal, draw = (
        rows[c].to_numpy(np.int64) for c in ("place", "segment", "animal", "draw")
    )
    amount = rows["amount"].to_numpy(np.float64)
    # Lives through a crossing with 1 − p, so through n of them with exp(−n · hazard).
    crossed, row = np.unique(segment, return_inverse=True)
    hazards = -np.log1p(-np.minimum(kill[crossed].astype(np.float64), _MOST))
    chance = hazards[row, draw]
    counts = weight[:, None] * rngs[0].standard_exponential((animals, draws)) * (years > 0)[:, None]
    # The draw's weighted rate is the sum of crossings over that of years.
    share = counts / (counts * years[:, None]).sum(axis=0)
    weighted = share[animal, draw] * amount
    rate = _sums(place, draw, weighted, shape)
    hits = _sums(place, draw, weighted * chance, shape)
    usual = _usual_chance(place, row, amount * weight[animal], hazards, places)
    crossings = rate.sum(axis=0)
    scale, ordered = np.ones(draws), np.full(draws, np.nan)
    if len(total_rates):
        ordered = _in_order(total_rates, crossings, rngs[1])
        scale = np.divide(ordered, crossings, out=scale, where=crossings > 0)
    # An animal's yearly hazard in that draw, and the part of it that is the first death.
    yearly = np.divide(1.0, years, out=np.zeros(animals), where=years > 0)
    hazard = _sums(animal, draw, amount * chance, (animals, draws)) * yearly[:, None]
    first = _part_before_death(scale * hazard)
    deaths = _sums(place, draw, weighted * chance * first[animal, draw], shape)
    all_hits = hits.sum(axis=0)
    capped = np.divide(deaths.sum(axis=0), all_hits, out=np.ones(draws), where=all_hits > 0)
    cap = np.divide(deaths, hits, out=np.broadcast_to(capped, shape).copy(), where=hits > 0)
    own = np.divide(hits, rate, out=usual.copy(), where=rate > 0)
    mean = np.average(usual, axis=0, weights=np.bincount(place, amount, places) + 1e-12)
    total = np.where(crossings > 0, scale * deaths.sum(axis=0), np.minimum(ordered * mean, 1.0))
    total = np.minimum(total, 1.0) if len(total_rates) else np.full(draws, np.nan)
    tagged = np.bincount(draw, amount * kill[segment, draw], draws).astype(np.float64)
    once = amount * chance * _part_before_death(hazard)[animal, draw] * weight[animal]
    plain = np.bincount(place, once, places) / draws / float(weight @ np.maximum(years, 0.0))
    return _Joint(rate, own * cap, capped, total, tagged, plain)


def _part_before_death(hazard: Floats) -> Floats:
    """Return the part of a yearly hazard that the first death uses up."""
    return np.asarray(
        np.divide(-np.expm1(-hazard), hazard, out=np.ones_like(hazard), where=hazard > 0)
    )


def _usual_chance(place: Ints, segment: Ints, amount: Floats, kill: Floats, places: int) -> Floats:
    """Chances of a place's segments, by expected crossings: for draws that show none there."""
    shape = (places, len(kill))
    expected = sparse.coo_array((amount, (place, segment)), shape=shape).tocsr()
    size: Floats = np.asarray(expected.sum(axis=1), dtype=np.float64)[:, None]
    weighed: Floats = np.asarray(expected @ kill, dtype=np.float64)
    return np.asarray(np.divide(weighed, size, out=np.zeros(weighed.shape), where=size > 0))


def _at_places(
    by_place: ByPlace,
    joint: _Joint,
    years: Floats,
    weight: Floats,
    rng: np.random.Generator,
    level: float,
) -> tuple[Floats, NDArray[np.object_]]:
    """Deaths an animal-year at every place, and what they are made of or why there are none."""
    per_animal = np.full(joint.rate.shape, np.nan)
    notes = np.full(len(per_animal), "not identified: no drawn path crosses here", dtype=object)
    kept = (years > 0) & (weight > 0)
    for place in np.unique(by_place.place).tolist():
        crossings = by_place.at(place)
        if (crossings[kept] > 0).sum() / crossings.shape[1] < HARDLY_CROSSING:
            notes[place] = "not identified: hardly any drawn path crosses here"
            continue
        rate = population_rate(crossings, years, rng, weight=weight, level=level)
        notes[place] = rate.note
        if len(rate.draws):
            ordered = _in_order(rate.draws, joint.rate[place], rng)
            per_animal[place] = np.minimum(ordered * joint.chance[place], 1.0)
    return per_animal, notes


def _sums(first: Ints, second: Ints, value: Floats, shape: tuple[int, int]) -> Floats:
    size = shape[0] * shape[1]
    return np.bincount(first * shape[1] + second, value, size).reshape(shape).astype(np.float64)


def _in_order(values: Floats, like: Floats, rng: np.random.Generator) -> Floats:
    """Values thinned to as many as `like` has, in its order; ties at random."""
    count = len(like)
    spread = np.quantile(values, (np.arange(count) + 0.5) / count)
    out = np.empty(count)
    out[np.lexsort((rng.random(count), like))] = spread
    return out


def _nothing(places: int, draws: int, why: str, *, lower_bound: bool) -> CrossingDeaths:
    none, line = np.full((places, draws), np.nan), np.full(draws, np.nan)
    table = _table(none, line, np.full(places, np.nan), np.nan, np.full(places, why, object), 0.9)
    words = (f"Deaths from crossings: {why}.",)
    return CrossingDeaths(
        none, none, line, line, line, np.full(places, np.nan), none, line, table, lower_bound, words
    )


def _table(
    per_animal: Floats,
    adults: Floats,
    plain: Floats,
    many: float,
    notes: NDArray[np.object_],
    level: float,
) -> pd.DataFrame:
    tails = [(1 - level) / 2, (1 + level) / 2]
    table = pd.DataFrame(index=range(len(per_animal)))
    known = np.isfinite(per_animal).all(axis=1)
    for name, draws, value in (
        (_RATE, 100 * per_animal, 100 * plain),
        (_YEAR, per_animal * adults, plain * many),
    ):
        low, high = np.quantile(draws, tails, axis=1)
        table[name] = np.where(known, value, np.nan)
        table[f"{name}_low"] = np.minimum(low, table[name])
        table[f"{name}_high"] = np.maximum(high, table[name])
    extra = "" if np.isfinite(many) else f"; deaths a year {NO_POPULATION}"
    table["crossing_deaths_note"] = [
        note + ("" if str(note).startswith("not identified") else extra) for note in notes
    ]
    return table
