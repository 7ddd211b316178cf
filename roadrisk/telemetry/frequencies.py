"""Crossing frequencies of a study in one call: who crosses, where, how often, and how sure that is.

The animal is the sample: rates are per tagged animal and year of its active season, with an
interval over animals and their drawn paths. They are scaled to a population only where the
study says how many animals there are.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from roadrisk.base.seeds import generator
from roadrisk.table_settings import AnimalsSection
from roadrisk.telemetry.capture import (
    capture_known,
    capture_weights,
    caught_at_road,
    time_near_roads,
)
from roadrisk.telemetry.crossing_days import CONDITION, PathSettings, estimate_crossing_days
from roadrisk.telemetry.movement_fit import fit_track
from roadrisk.telemetry.movement_tracks import nodes_of, tracks_from_fixes
from roadrisk.telemetry.population_rate import MOST_A_YEAR, population_rates
from roadrisk.telemetry.rate_groups import rate_groups
from roadrisk.telemetry.species_movement import clock_of, clock_words, prior_of

if TYPE_CHECKING:
    from collections.abc import Sequence

    import geopandas as gpd

    from roadrisk.base.progress import Progress
    from roadrisk.base.tasks import Tasks
    from roadrisk.roads.grid import PieceIndex
    from roadrisk.roads.network import Floats, Ints, Lixels, Network
    from roadrisk.study import Study
    from roadrisk.telemetry.capture import CaptureWeights
    from roadrisk.telemetry.crossing_days import CrossingDays
    from roadrisk.telemetry.movement_fit import TrackFit
    from roadrisk.telemetry.movement_tracks import MovementTrack

RATE = "crossing_days_per_animal_year"
# Animals with fewer fixes say little beyond the prior.
LEAST_FIXES_TO_PLAN = 8
# Paths under other priors and widths are added up over all animals: so many say enough.
_OTHER_PATHS, _MOST_OTHER_DRAWS, _LEAST_OTHER_DRAWS = 2000, 100, 20


@dataclass(frozen=True, eq=False)
class Frequencies:
    """Crossing frequencies of tagged animals.

    Attributes
    ----------
    found : CrossingDays
        Every animal's crossing-days, and everything that was counted in its drawn paths.
    years : ndarray, shape (animals,)
        How long each animal of ``found.animals`` was watched [years of its active season].
    weight : ndarray, shape (animals,)
        How much it counts in rates (1 unless animals caught at roads count less).
    segments : pandas.DataFrame
        One row a segment of the network, in order. Columns: crossing_days (expected, all
        tagged animals together), crossing_days_per_animal_year with _low and _high,
        crossing_days_note (what the interval is made of, or why there is none),
        animals_crossing (expected number), least_crossings.
    groups : pandas.DataFrame
        `rate_groups.rate_groups`: all animals, by sex, the population.
    notes : tuple of str
    """

    found: CrossingDays
    years: Floats
    weight: Floats
    segments: pd.DataFrame
    groups: pd.DataFrame
    notes: tuple[str, ...]


def crossing_frequencies(
    study: Study,
    fixes: gpd.GeoDataFrame,
    network: Network,
    lixels: Lixels,
    index: PieceIndex,
    partner: Ints,
    progress: Progress | None = None,
    tasks: Tasks | None = None,
) -> Frequencies:
    """Estimate crossing frequencies from the fixes of a study.

    Parameters
    ----------
    study : Study
    fixes : geopandas.GeoDataFrame
        All fixes with their places, those from bearings included; columns as
        `movement_tracks.tracks_from_fixes` takes them.
    network : Network
    lixels : Lixels
    index : PieceIndex
    partner : ndarray of int64, shape (lixels,)
        `roads.bands.partner_lixels`.
    progress : Progress, optional
    tasks : Tasks, optional
        What works on the animals; this process unless given.

    Returns
    -------
    Frequencies
    """
    settings, profile = study.settings, study.profile
    seed = settings.study.seed
    clock, prior = clock_of(profile), prior_of(profile)
    tracks = tracks_from_fixes(fixes, settings.study.zone)
    found = estimate_crossing_days(
        tracks, network, lixels, index,
        generator(seed, "telemetry.paths"), clock=clock, prior=prior, partner=partner,
        settings=PathSettings(
            draws=settings.crossings.draws,
            longest_gap_days=settings.crossings.longest_step_days,
            level=settings.hotspots.interval,
            other_draws=min(_other_draws(len(tracks)), settings.crossings.draws),
        ),
        progress=progress, tasks=tasks,
    )  # fmt: skip
    years = found.animals["days_watched"].to_numpy(np.float64) / found.days_a_year
    caught = _capture_weights(study, found, tracks, network, index)
    known = study.animals.set_index("organismID").reindex(found.animals["organismID"])
    groups = rate_groups(
        found, years, caught, known["sex"], known["lifeStage"], settings.population,
        generator(seed, "telemetry.groups"), level=settings.hotspots.interval,
    )  # fmt: skip
    most = most_at_one_place(groups)
    segments = _by_segment(
        found, years, caught.weight, network, most, settings.hotspots.interval, seed
    )
    notes = (study.profile_words, clock_words(profile), *caught.words, *found.notes)
    return Frequencies(found, years, caught.weight, segments, groups, notes)


def most_at_one_place(groups: pd.DataFrame) -> float:
    """Return the rate that no single place can exceed: the upper limit on all roads together.

    Parameters
    ----------
    groups : pandas.DataFrame
        `Frequencies.groups`.

    Returns
    -------
    float
        [crossing-days per animal-year].
    """
    high = float(groups[f"{RATE}_high"].iloc[0])
    return high if np.isfinite(high) else MOST_A_YEAR


def fitted_animals(study: Study) -> tuple[TrackFit, ...]:
    """Fit the movement process to the animals of a study, each alone: for planning.

    Parameters
    ----------
    study : Study

    Returns
    -------
    tuple of TrackFit
        One an animal with eight fixes or more; empty without any.
    """
    settings, profile = study.settings, study.profile
    clock, prior = clock_of(profile), prior_of(profile)
    out = []
    for track in tracks_from_fixes(study.fixes, settings.study.zone):
        if len(track) < LEAST_FIXES_TO_PLAN:
            continue
        nodes = nodes_of(track, clock, settings.crossings.longest_step_days)
        rng = generator(settings.study.seed, f"telemetry.plan.{track.animal}")
        out.append(fit_track(track, nodes, prior, clock.hours_a_day, rng))
    return tuple(out)


def _other_draws(animals: int) -> int:
    """Draws an animal under other priors and widths: the more animals, the fewer of each."""
    each = -(-_OTHER_PATHS // max(animals, 1))
    return min(_MOST_OTHER_DRAWS, max(_LEAST_OTHER_DRAWS, each))


def _capture_weights(
    study: Study,
    found: CrossingDays,
    tracks: Sequence[MovementTrack],
    network: Network,
    index: PieceIndex,
) -> CaptureWeights:
    section = study.settings.animals or AnimalsSection(file=("none",))
    near = section.caught_near_road_m
    wanted = set(found.animals["organismID"])
    animals = study.animals.set_index("organismID").reindex(found.animals["organismID"])
    return capture_weights(
        caught_at_road(animals, index, network.crs, near), section.caught_at_road,
        time_near=time_near_roads([t for t in tracks if t.animal in wanted], index, near),
        known=capture_known(animals),
    )  # fmt: skip


def _by_segment(
    found: CrossingDays,
    years: Floats,
    weight: Floats,
    network: Network,
    most: float,
    level: float,
    seed: int,
) -> pd.DataFrame:
    amounts = found.segment_draws.rename(columns={"segment": "place", "crossing_days": "amount"})
    places, draws = len(network.segments), found.crossing_days.shape[1]
    rates = population_rates(
        amounts[["place", "animal", "draw", "amount"]], years, generator(seed, "telemetry.rates"),
        places=places, draws=draws, weight=weight, level=level, most_a_year=most,
    )  # fmt: skip
    crossed = pd.DataFrame({"crossing_days": np.zeros(places), "animals": np.zeros(places)})
    rows = found.segments["segment"].to_numpy(np.int64)
    for name in crossed:
        crossed.loc[rows, name] = found.segments[name].to_numpy(np.float64)
    forced = np.bincount(found.forced["segment"].to_numpy(np.int64), minlength=places)
    return pd.DataFrame({
        "crossing_days": crossed["crossing_days"],
        RATE: rates["mean"],
        f"{RATE}_low": rates["low"],
        f"{RATE}_high": rates["high"],
        "crossing_days_note": rates["note"],
        "animals_crossing": crossed["animals"],
        "least_crossings": forced,
    })  # fmt: skip


def only_watched(segments: pd.DataFrame, animals_in_reach: pd.Series[int]) -> pd.DataFrame:
    """Take back the rates of segments that no tagged animal came near.

    Parameters
    ----------
    segments : pandas.DataFrame
        `Frequencies.segments`.
    animals_in_reach : pandas.Series
        Animals within reach of each segment.

    Returns
    -------
    pandas.DataFrame
        The same with NaN and the reason where nobody was there to cross, in a fix or in a
        drawn path.
    """
    nobody = (animals_in_reach.to_numpy() == 0) & (segments["crossing_days"].to_numpy() == 0)
    rates = [RATE, f"{RATE}_low", f"{RATE}_high"]
    out = segments.copy()
    out.loc[nobody, rates] = np.nan
    out.loc[nobody, "crossing_days_note"] = "no tagged animal within reach"
    return out


def frequency_words(groups: pd.DataFrame) -> str:
    """Put the crossing-days of all tagged animals in one sentence.

    Parameters
    ----------
    groups : pandas.DataFrame
        `Frequencies.groups`.

    Returns
    -------
    str
        Empty without tagged animals.
    """
    row = groups.iloc[0]
    if row["animals"] == 0:
        return ""
    between = (
        f"{row[f'{RATE}_low']:.3g} to {row[f'{RATE}_high']:.3g} for animals like these"
        if np.isfinite(row[f"{RATE}_low"])
        else row["crossing_days_note"]
    )
    return (
        f"{row['animals']} tagged animals were watched for {row['animal_years']:.3g} animal-years "
        f"(of the active season): about {row['crossing_days']:.0f} crossing-days "
        f"({row['crossing_days_low']:.0f} to {row['crossing_days_high']:.0f} for these very "
        f"animals), {CONDITION}; at least {row['least_crossings']} crossings are forced by the "
        f"sides of their fixes, unless an animal walked round a road's end. That is "
        f"{row[RATE]:.3g} crossing-days per animal and year of the active season ({between})."
    )


def lines_words(steps_across: int, frequencies: Frequencies) -> tuple[str, ...]:
    """Say how much straight lines between the fixes would have found.

    Parameters
    ----------
    steps_across : int
        Times that a straight step between two fixes meets a road.
    frequencies : Frequencies

    Returns
    -------
    tuple of str
        Empty without tagged animals.
    """
    found = frequencies.found.crossing_days
    days = float(found.sum()) / max(found.shape[1], 1)
    if days <= 0:
        return ()
    return (
        f"Straight lines between the fixes meet roads {steps_across} times: for every 100 "
        f"crossing-days in the drawn paths they find about {100 * steps_across / days:.0f} "
        "crossings. A straight line misses every crossing there and back and can put one in the "
        "wrong place.",
    )
