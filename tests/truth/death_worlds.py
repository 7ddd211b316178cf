"""Invented worlds of deaths on roads, with sources that see them as real ones do.

Nothing here is the model's own process: rates are a floor, rounded bumps about invented ponds and
single spikes; deaths happen on days, lie for heavy-tailed times and are looked for on dates;
chances come from simulated trials; people report by traffic that nobody counted, and by
observers of whom few report most.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from roadrisk.mortality.sources import Source
from roadrisk.roads.along import places_xy
from roadrisk.roads.lixels import lay_lixels
from roadrisk.roads.pieces import Pieces, lay_pieces
from tests.truth.networks import tree_of_roads

YEARS, SEASON_DAYS, DRAWS = 2.0, 180, 400
TRIALS, LOOKS = 60, 80  # carcasses laid out for persistence; for searchers, each protocol


@dataclass(frozen=True)
class Scenario:
    """What there is in a world."""

    name: str
    deaths_per_year: float = 60.0
    surveyed: float = 1.0  # share of the roads, whole roads together
    every_days: int = 4
    crossings: bool = False
    reports: float = 0.0  # expected number
    biased: bool = False  # people look where animals don't die


SCENARIOS = {
    s.name: s
    for s in [
        Scenario("surveys on all roads"),
        Scenario("surveys, few found", deaths_per_year=15.0, every_days=10),
        Scenario("surveys on all roads, reports", reports=80.0),
        Scenario("surveys on half the roads, reports", surveyed=0.5, reports=80.0),
        Scenario("surveys and crossings", surveyed=0.6, crossings=True),
        Scenario("surveys, crossings, reports", surveyed=0.6, crossings=True, reports=80.0),
        Scenario("crossings alone", surveyed=0.0, crossings=True),
        Scenario("half surveyed, biased reports", surveyed=0.5, reports=80.0, biased=True),
    ]
}


@dataclass(frozen=True, eq=False)
class Place:
    """The roads of all worlds."""

    pieces: Pieces
    xy: np.ndarray
    road: np.ndarray


def lay_place(length_m: float = 100.0) -> Place:
    network = tree_of_roads()
    lixels = lay_lixels(network, 10.0)
    pieces = lay_pieces(network, lixels, length_m)
    middle = pieces.middle
    at = (lixels.start_m[middle] + lixels.end_m[middle]) / 2
    xy = places_xy(network, pieces.edge, at)
    names = network.segments["name"].to_numpy(object)[lixels.segment[middle]]
    return Place(pieces, xy, np.unique(names.astype(str), return_inverse=True)[1])


@dataclass(frozen=True, eq=False)
class World:
    """A world: the true rate [deaths per km and year], and what the sources saw."""

    place: Place
    rate: np.ndarray
    sources: list[Source]


def make_world(place: Place, scenario: Scenario, rng: np.random.Generator) -> World:
    rate = _rate(place, scenario.deaths_per_year, rng)
    km = place.pieces.length_km
    deaths = rng.poisson(rate * km * YEARS)
    sources = []
    if scenario.surveyed:
        sources += _surveys(place, deaths, scenario, rng)
    if scenario.crossings:
        sources.append(_crossings(place, rate, rng))
    if scenario.reports:
        sources.append(_reports(place, rate, deaths, scenario, rng))
    return World(place, rate, sources)


def _rate(place: Place, total: float, rng: np.random.Generator) -> np.ndarray:
    size = len(place.pieces)
    rate = np.full(size, 0.3)
    for _ in range(12):
        pond = place.xy[rng.integers(size)] + rng.normal(0.0, 150.0, 2)
        away = np.hypot(*(place.xy - pond).T)
        rate += rng.uniform(1.0, 5.0) * np.exp(-((away / rng.uniform(150.0, 700.0)) ** 2))
    spikes = rng.choice(size, size // 40, replace=False)
    rate[spikes] += rng.uniform(3.0, 12.0, len(spikes))
    return rate * total / (rate @ place.pieces.length_km)


def _surveys(
    place: Place, deaths: np.ndarray, scenario: Scenario, rng: np.random.Generator
) -> list[Source]:
    """Walked and driven roads; the chances shared out by one set of trials."""
    see = {"on foot": rng.uniform(0.6, 0.85), "by car": rng.uniform(0.2, 0.4)}
    log_mean, spread = np.log(rng.uniform(2.0, 5.0)), rng.uniform(0.8, 1.6)  # heavy tail [days]
    looks = np.arange(scenario.every_days, SEASON_DAYS + 1, scenario.every_days)
    roads = rng.permutation(place.road.max() + 1)
    km = np.bincount(place.road, place.pieces.length_km)
    upto = int(np.searchsorted(np.cumsum(km[roads]), scenario.surveyed * km.sum() - 1e-9)) + 1
    roads = roads[: max(upto, 2)]
    walked = set(roads[: len(roads) // 2].tolist())
    day = rng.uniform(0.0, looks[-1], TRIALS)
    kept = rng.lognormal(log_mean, spread, TRIALS)  # trials of persistence: for both
    there = (kept > looks[np.searchsorted(looks, day)] - day).sum()
    stays = rng.beta(there + 0.5, TRIALS - there + 0.5, DRAWS)
    sources = []
    for protocol, p in see.items():
        mine = np.isin(place.road, [r for r in roads if (r in walked) == (protocol == "on foot")])
        found = np.zeros(len(place.pieces))
        for piece in np.flatnonzero(mine):
            when = rng.uniform(0.0, looks[-1], deaths[piece])
            gone = when + rng.lognormal(log_mean, spread, len(when))
            first = looks[np.searchsorted(looks, when)]
            # Missed ones are not found later: the chance is then the same for all.
            found[piece] = ((gone > first) & (rng.random(len(when)) < p)).sum()
        seen = rng.binomial(LOOKS, p)
        log_q = np.log(stays * rng.beta(seen + 0.5, LOOKS - seen + 0.5, DRAWS))
        exposure = np.where(mine, place.pieces.length_km * YEARS, 0.0)
        if mine.any():
            sources.append(Source(f"surveys {protocol}", found, exposure, log_q))
    return sources


def _crossings(place: Place, rate: np.ndarray, rng: np.random.Generator) -> Source:
    """Twelve tagged animals for a year; each keeps to a kilometre or so of road."""
    size, animals, adults = len(rate), 12, 150.0
    kill = rng.uniform(0.02, 0.06)
    crossing = rate * place.pieces.length_km / (adults * kill)  # per adult, piece and year
    counts = np.zeros((animals, size))
    for k in range(animals):
        home = place.xy[rng.integers(size)]
        near = np.exp(-((np.hypot(*(place.xy - home).T) / 900.0) ** 2))
        # Homes lie anywhere, so a piece's mean share over homes makes the sum right on average.
        counts[k] = rng.poisson(crossing * near / _mean_near(place))
    again = rng.integers(animals, size=(DRAWS, animals))
    totals = counts.sum(axis=1)
    sample = np.log((totals[again].sum(axis=1) + 1.0) / (totals.sum() + 1.0))
    # What is thought of adults times p is a quarter off, and right on average.
    guess = np.log(adults * kill) + rng.normal(-(0.3**2) / 2, 0.3)
    chance = -(guess + rng.normal(0.0, 0.3, DRAWS)) + sample
    exposure = place.pieces.length_km * animals
    return Source("crossings", counts.sum(axis=0), exposure, chance, overdispersed=True)


def _mean_near(place: Place) -> np.ndarray:
    apart = np.hypot(*(place.xy[:, None, :] - place.xy[None, :, :]).transpose(2, 0, 1))
    return np.exp(-((apart / 900.0) ** 2)).mean(axis=1)


def _reports(
    place: Place,
    rate: np.ndarray,
    deaths: np.ndarray,
    scenario: Scenario,
    rng: np.random.Generator,
) -> Source:
    """Reports by unknown traffic, and by observers of whom few report most."""
    size = len(rate)
    traffic = rng.lognormal(0.0, 0.7, place.road.max() + 1)[place.road]
    eyes = np.zeros(size)
    for keen in rng.pareto(1.2, 25) + 0.1:  # heavy-tailed
        home = place.xy[rng.integers(size)]
        eyes += keen * np.exp(-np.hypot(*(place.xy - home).T) / rng.uniform(800.0, 4000.0))
    effort = traffic * eyes / eyes.mean()
    if scenario.biased:
        # Twenty times the eyes on the roads where fewest die.
        per_road = np.bincount(place.road, rate * place.pieces.length_km)
        per_road = per_road / np.bincount(place.road, place.pieces.length_km)
        effort = effort * np.where(per_road < np.median(per_road), 20.0, 1.0)[place.road]
    mean = deaths * effort
    mean = mean * scenario.reports / max(mean.sum(), 1e-9)
    return Source("reports", rng.poisson(mean) * 1.0, place.pieces.length_km * YEARS, None)
