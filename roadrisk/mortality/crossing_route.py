"""From crossings of tagged animals to deaths: chances, fates, and the two brought together."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from roadrisk.base.plain_numbers import span
from roadrisk.mortality.crossing_amounts import crossing_amounts
from roadrisk.mortality.crossing_deaths import adults_weight, deaths_from_crossings
from roadrisk.mortality.crossing_source import crossing_source
from roadrisk.mortality.fate_factor import chances_by_fates
from roadrisk.mortality.fates import known_fates
from roadrisk.mortality.joint_districts import Division
from roadrisk.mortality.kill_chance import kill_chances, kill_inputs

if TYPE_CHECKING:
    import geopandas as gpd
    import pandas as pd
    from numpy.typing import NDArray

    from roadrisk.mortality.crossing_deaths import CrossingDeaths
    from roadrisk.mortality.fates import Fates
    from roadrisk.mortality.kill_chance import KillChance, KillInputs
    from roadrisk.mortality.sources import Source
    from roadrisk.roads.network import Ints, Lixels, Network
    from roadrisk.roads.pieces import Pieces
    from roadrisk.sightings.counted import CountedReports
    from roadrisk.study import Study
    from roadrisk.telemetry.frequencies import Frequencies

    Bools = NDArray[np.bool_]
    Floats = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class CrossingRoute:
    """Everything that tagged animals and traffic say of deaths.

    Attributes
    ----------
    kill : KillChance
        As traffic and the animals' speed say.
    chance : ndarray, shape (segments, draws)
        The same after the tagged animals' fates have been heard, or `kill.draws` where none is
        known.
    fates : Fates
    by_fates : bool
        Whether fates changed the chances.
    amounts : pandas.DataFrame
        `crossing_amounts` by piece of road.
    weight : ndarray, shape (animals,)
        0 for animals that aren't adults.
    plain : CrossingDeaths
        By piece, with the chances of traffic alone.
    deaths : CrossingDeaths
        By piece, with `chance`.
    notes : tuple of str
    places : ndarray of int64
        Pieces that the places of `plain` and `deaths` are: all, or of many those crossed.
    """

    kill: KillChance
    chance: Floats
    fates: Fates
    by_fates: bool
    amounts: pd.DataFrame
    weight: Floats
    plain: CrossingDeaths
    deaths: CrossingDeaths
    notes: tuple[str, ...]
    places: Ints


def crossing_route(
    study: Study,
    fixes: gpd.GeoDataFrame,
    frequencies: Frequencies,
    counted: CountedReports,
    network: Network,
    lixels: Lixels,
    pieces: Pieces,
) -> CrossingRoute:
    """Work out deaths from crossings, on every piece of road.

    Parameters
    ----------
    study : Study
    fixes : geopandas.GeoDataFrame
        All fixes, those from bearings included.
    frequencies : Frequencies
    counted : CountedReports
    network : Network
    lixels : Lixels
    pieces : Pieces

    Returns
    -------
    CrossingRoute
    """
    found, settings = frequencies.found, study.settings
    kill = _chances(study, frequencies, network)
    known = study.animals.set_index("organismID").reindex(found.animals["organismID"])
    weight = adults_weight(frequencies.weight, known["lifeStage"])
    amounts = crossing_amounts(found, pieces.of_lixel, lixels.segment)
    placed = counted.placed.table
    dead = placed.loc[placed["vitality"] == "dead", "report_key"]
    fates = known_fates(study.animals, fixes, counted.tagged.histories, frozenset(dead))
    told = bool((fates.table["known_by"] != "fixes").any())

    # Of many pieces only those that somebody crossed: the others have no chance of their own.
    large = len(pieces) > Division().above
    places, place = np.unique(amounts["place"].to_numpy(np.int64), return_inverse=True)
    if not large:
        places, place = np.arange(len(pieces)), amounts["place"].to_numpy(np.int64)
    crossed = amounts.assign(place=place)

    def deaths(chance: Floats) -> CrossingDeaths:
        return deaths_from_crossings(
            crossed, frequencies.years, weight, chance, settings.study.seed, places=len(places),
            paths=max(found.crossing_days.shape[1], 1), totals_identified=found.totals_identified,
            population=settings.population, road_deaths_seen=fates.road_deaths if told else None,
            level=settings.hotspots.interval, each_place=not large,
        )  # fmt: skip

    plain = deaths(kill.draws)
    expected = plain.among_tagged
    by_fates = told and bool(np.isfinite(expected).all() and (expected > 0).all())
    if not by_fates:
        notes = (*kill.notes, *fates.notes, *plain.notes)
        return CrossingRoute(
            kill, kill.draws, fates, False, amounts, weight, plain, plain, notes, places
        )  # fmt: skip
    chance = chances_by_fates(kill.draws, expected, fates.road_deaths, settings.study.seed)
    notes = (*kill.notes, *fates.notes, *plain.notes, _fates_words(expected, fates.road_deaths))
    return CrossingRoute(
        kill, chance, fates, True, amounts, weight, plain, deaths(chance), notes, places
    )  # fmt: skip


def source_of_crossings(
    route: CrossingRoute,
    study: Study,
    frequencies: Frequencies,
    lixels: Lixels,
    pieces: Pieces,
    in_reach: Bools,
) -> Source:
    """Return the crossings as a source for the model of all sources.

    Parameters
    ----------
    route : CrossingRoute
    study : Study
    frequencies : Frequencies
    lixels : Lixels
    pieces : Pieces
    in_reach : ndarray of bool, shape (pieces,)
        Pieces that a tagged animal came near.

    Returns
    -------
    Source
    """
    found = frequencies.found
    return crossing_source(
        route.amounts, frequencies.years, route.weight, route.deaths, route.chance,
        _segments(lixels, pieces), pieces, in_reach, study.settings.population,
        study.settings.study.seed, paths=max(found.crossing_days.shape[1], 1),
        places=route.places,
    )  # fmt: skip


def deaths_where(
    route: CrossingRoute,
    study: Study,
    frequencies: Frequencies,
    place_of_lixel: Ints,
    lixels: Lixels,
    chance: Floats,
    places: int,
) -> CrossingDeaths:
    """Work out deaths from crossings at other places than pieces: whole roads, what was searched.

    Parameters
    ----------
    route : CrossingRoute
    study : Study
    frequencies : Frequencies
    place_of_lixel : ndarray of int64, shape (lixels,)
        -1 for none.
    lixels : Lixels
    chance : ndarray, shape (segments, draws)
    places : int

    Returns
    -------
    CrossingDeaths
    """
    found = frequencies.found
    return deaths_from_crossings(
        crossing_amounts(found, place_of_lixel, lixels.segment), frequencies.years, route.weight,
        chance, study.settings.study.seed, places=places,
        paths=max(found.crossing_days.shape[1], 1), totals_identified=found.totals_identified,
        population=study.settings.population, level=study.settings.hotspots.interval,
    )  # fmt: skip


def _segments(lixels: Lixels, pieces: Pieces) -> Ints:
    return lixels.segment[pieces.middle]


def kill_inputs_of(study: Study, frequencies: Frequencies, network: Network) -> KillInputs:
    """Return what the run's chances are worked out from, for whoever asks of another traffic.

    Parameters
    ----------
    study : Study
    frequencies : Frequencies
    network : Network

    Returns
    -------
    KillInputs
        The same draws as `CrossingRoute.kill`.
    """
    settings = study.settings
    return kill_inputs(
        network.segments, study.profile, settings.kill, settings.study.seed,
        **_common(study, frequencies),
    )  # fmt: skip


def _chances(study: Study, frequencies: Frequencies, network: Network) -> KillChance:
    settings = study.settings
    crossings = np.zeros(len(network.segments))
    by_segment = frequencies.found.segments
    crossings[by_segment["segment"].to_numpy(np.int64)] = by_segment["total_crossings"]
    return kill_chances(
        network.segments, study.profile, settings.kill, settings.study.seed,
        weight=crossings if crossings.sum() > 0 else None, level=settings.hotspots.interval,
        **_common(study, frequencies),
    )  # fmt: skip


def _common(study: Study, frequencies: Frequencies) -> dict[str, Any]:
    """Year, months, draws and units, for chances and for what they are worked out from."""
    settings = study.settings
    begin, end = settings.study.start, settings.study.end
    months = frequencies.found.by_month
    crossed = dict(
        zip(months["month"].astype(int).tolist(), months["total_crossings"].tolist(), strict=True)
    )
    return {
        "study_year": (begin.year + end.year + (begin.month + end.month - 1) / 12) / 2,
        "month_weights": crossed if sum(crossed.values()) > 0 else None,
        "draws": settings.mortality.draws,
        "units": settings.study.units,
    }


def _fates_words(expected: Floats, seen: int) -> str:
    low, middle, high = np.quantile(expected, [0.05, 0.5, 0.95])
    were = "was" if seen == 1 else "were"
    return (
        f"By traffic and speed alone {span(middle, low, high, 2)} road deaths were to be "
        f"expected among the tagged animals while they were watched; {seen} {were} seen. From here "
        "on chances keep their differences between roads and are brought into line with what "
        "was seen: one factor for all roads, which is an assumption, since animals may shun busy "
        "roads more. Animals whose signal was lost may be further deaths."
    )
