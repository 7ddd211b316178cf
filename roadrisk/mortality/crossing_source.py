"""Crossings of tagged animals as a source of evidence for the model of all sources."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from roadrisk.base.seeds import generator
from roadrisk.mortality.abundance import draw_adults
from roadrisk.mortality.sources import Source

if TYPE_CHECKING:
    import pandas as pd
    from numpy.typing import NDArray

    from roadrisk.mortality.crossing_deaths import CrossingDeaths
    from roadrisk.roads.pieces import Pieces
    from roadrisk.settings import PopulationSection

    Floats = NDArray[np.float64]
    Ints = NDArray[np.int64]

NAME = "crossings of tagged animals"
# A road without vehicles kills nobody; its log stays a number.
_LEAST = 1e-6


def crossing_source(
    amounts: pd.DataFrame,
    years: Floats,
    weight: Floats,
    deaths: CrossingDeaths,
    kill: Floats,
    segment_of_piece: Ints,
    pieces: Pieces,
    in_reach: NDArray[np.bool_],
    population: PopulationSection | None,
    seed: int,
    *,
    paths: int,
    places: Ints | None = None,
) -> Source:
    """Return crossings on pieces of road, with how many of them a death stands for.

    Parameters
    ----------
    amounts : pandas.DataFrame
        `crossing_amounts.crossing_amounts` by piece.
    years, weight : ndarray, shape (animals,)
        As for `deaths_from_crossings`.
    deaths : CrossingDeaths
        Of the same amounts, places being pieces.
    kill : ndarray, shape (segments, draws)
        `KillChance.draws`.
    segment_of_piece : ndarray of int64, shape (pieces,)
        ``lixels.segment[pieces.middle]``.
    pieces : Pieces
    in_reach : ndarray of bool, shape (pieces,)
        Pieces that a tagged animal came near: elsewhere nobody was there to cross, and that
        says nothing.
    population : PopulationSection or None
        Without one the source says where and not how many.
    seed : int
        The study's.
    paths : int
        Drawn paths of each animal.
    places : ndarray of int64, optional
        Pieces that the places of `deaths` are, ascending; all unless given.

    Returns
    -------
    Source
        Counts are crossings expected over drawn paths (crossing-days where those are all that
        is identified). Deaths a km and year are N · crossings an animal-year and km · chance, so
        a death stands for animal-years / (N · chance) crossings: that is its `log_q` with the
        animal-years in the exposure. Without N the chance stays in the exposure, as its mean.
        Few animals make most crossings, so it is overdispersed.
    """
    column = "days" if deaths.lower_bound else "crossings"
    kept = weight * (years > 0)
    animal = amounts["animal"].to_numpy(np.int64)
    place = amounts["place"].to_numpy(np.int64)
    many = amounts[column].to_numpy(np.float64) * kept[animal] / paths
    y = np.bincount(place, many, len(pieces)).astype(np.float64)
    watched = np.where(in_reach | (y > 0), pieces.length_km * float(kept @ years), 0.0)
    if not watched.any():
        return Source(NAME, np.zeros(len(pieces)), np.zeros(len(pieces)), None, True)
    seen = np.flatnonzero(watched > 0)
    here = deaths.chance[seen] if places is None else _at(deaths.chance, places, seen)
    elsewhere = kill[segment_of_piece[seen]].astype(np.float64) * deaths.first_share
    chance = np.maximum(np.where(here > 0, here, elsewhere), _LEAST)
    if population is None:
        typical = np.exp(np.log(chance).mean(axis=1))
        middle = np.exp(np.log(typical).mean())
        exposure = np.zeros(len(watched))
        exposure[seen] = watched[seen] * middle / typical
        return Source(NAME, y, exposure, None, True)
    adults = draw_adults(population, generator(seed, "mortality.adults"), kill.shape[1])
    log_q = np.zeros((len(watched), kill.shape[1]))
    log_q[seen] = -np.log(adults * chance)
    return Source(NAME, y, watched, log_q, True)


def _at(chance: Floats, places: Ints, seen: Ints) -> Floats:
    """Chances at some pieces; 0 where nobody crossed."""
    row = np.minimum(np.searchsorted(places, seen), max(len(places) - 1, 0))
    out = np.zeros((len(seen), chance.shape[1]))
    have = places[row] == seen if len(places) else np.zeros(len(seen), dtype=bool)
    out[have] = chance[row[have]]
    return out
