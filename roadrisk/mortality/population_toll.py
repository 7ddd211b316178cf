"""What the deaths mean for the population: share of the adults, survival, growth."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from roadrisk.base.plain_numbers import number
from roadrisk.base.seeds import generator
from roadrisk.mortality.crossing_amounts import crossing_amounts
from roadrisk.mortality.deaths_tables import drawn_deaths
from roadrisk.mortality.fates import yearly_spells
from roadrisk.mortality.population import (
    added_mortality,
    crossing_shares_by_sex,
    sex_of_dead_words,
    share_of_adults,
)
from roadrisk.mortality.projection import project
from roadrisk.mortality.survival import yearly_survival

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from roadrisk.mortality.carcass_deaths import CarcassDeaths
    from roadrisk.mortality.crossing_route import CrossingRoute
    from roadrisk.roads.network import Lixels
    from roadrisk.sightings.counted import CountedReports
    from roadrisk.study import Study
    from roadrisk.telemetry.frequencies import Frequencies

    Floats = NDArray[np.float64]

ALL, BY_CROSSINGS, BY_CARCASSES = "all adults", "by crossings", "by carcasses"
NOT_WATCHED = "no tagged animal was watched"
_NO_STAGES = (
    "Growth with and without road deaths: not identified, the study gives no stages and rates of "
    "the life cycle ([stages])."
)
_SURVIVAL = ["group", "quantity", "chance", "chance_low", "chance_high", "deaths"]
_CURVE = ["group", "day", "at_risk", "deaths", "survival", "survival_low", "survival_high"]
_GROWTH = ["quantity", "value", "value_low", "value_high"]


@dataclass(frozen=True, eq=False)
class PopulationToll:
    """Tables as in `findings.DeathTables`, and what they mean.

    Attributes
    ----------
    population, survival, survival_curve, growth : pandas.DataFrame
    notes : tuple of str
    """

    population: pd.DataFrame
    survival: pd.DataFrame
    survival_curve: pd.DataFrame
    growth: pd.DataFrame
    notes: tuple[str, ...]


def population_toll(
    study: Study,
    route: CrossingRoute,
    frequencies: Frequencies,
    counted: CountedReports,
    carcasses: CarcassDeaths | None,
    lixels: Lixels,
) -> PopulationToll:
    """Hold road deaths against the adults there are, and against what a population bears.

    Parameters
    ----------
    study : Study
    route : CrossingRoute
    frequencies : Frequencies
    counted : CountedReports
    carcasses : CarcassDeaths or None
    lixels : Lixels

    Returns
    -------
    PopulationToll
    """
    settings = study.settings
    seed, level = settings.study.seed, settings.hotspots.interval
    found = frequencies.found
    shares: dict[str, Floats] = {f"{ALL}, {BY_CROSSINGS}": route.deaths.total_per_animal}
    sexes = study.animals.set_index("organismID")["sex"].reindex(found.animals["organismID"])
    by_sex = crossing_shares_by_sex(
        crossing_amounts(found, np.zeros(len(lixels), np.int64), lixels.segment),
        frequencies.years, route.weight, sexes.fillna(""), route.chance, seed,
        paths=max(found.crossing_days.shape[1], 1), totals_identified=found.totals_identified,
    )  # fmt: skip
    shares |= {f"{sex}s, {BY_CROSSINGS}": share for sex, share in by_sex.items()}
    adults, why = _adults_by_carcasses(carcasses, counted, seed)
    shares[f"{ALL}, {BY_CARCASSES}"] = share_of_adults(adults, settings.population, seed)
    none_found = carcasses is not None and not carcasses.counted.sum() > 0
    bounded = frozenset({f"{ALL}, {BY_CARCASSES}"}) if none_found else frozenset[str]()
    toll = added_mortality(
        shares, study.profile, settings.kill, why_not=_why_not(study, carcasses, frequencies),
        bounded=bounded, level=level,
    )  # fmt: skip
    survival, curve, survived = _survival(study, route)
    growth, grown = _growth(study, shares, bounded)
    table = counted.placed.table
    dead = table[table["vitality"] == "dead"]
    females, males = (int((dead["sex"] == sex).sum()) for sex in ("female", "male"))
    words = (*toll.notes, *why, sex_of_dead_words(females, males, level=level), *survived, *grown)
    return PopulationToll(toll.table, survival, curve, growth, words)


def _why_not(
    study: Study, carcasses: CarcassDeaths | None, frequencies: Frequencies
) -> dict[str, str]:
    if carcasses is None:
        why = "no surveys"
    elif not (carcasses.schedule >= 0).any():
        why = "no search watches a day of the active season"
    elif not carcasses.identified:
        why = "no trials say how many carcasses are missed, or most lie out of season"
    else:
        why = "how many animals there are isn't known ([population])"
    out = {f"{ALL}, {BY_CARCASSES}": why}
    if not len(frequencies.found.animals):
        groups = (ALL, "females", "males")
        out |= dict.fromkeys((f"{g}, {BY_CROSSINGS}" for g in groups), NOT_WATCHED)
    return out


def _adults_by_carcasses(
    carcasses: CarcassDeaths | None, counted: CountedReports, seed: int
) -> tuple[Floats, tuple[str, ...]]:
    """Draws of adults that die on the searched roads in a year."""
    if carcasses is None or not carcasses.identified:
        return np.full(1, np.nan), ()
    every = np.arange(len(carcasses.lixel_km), dtype=np.int64)
    drawn = drawn_deaths(carcasses, every, seed=seed, name="all searched roads")
    if not np.isfinite(drawn.per_year).all():
        return np.full(1, np.nan), ()
    if not drawn.found > 0:
        return drawn.per_year, ()
    keys = carcasses.carcasses.table["report_key"]
    stages = counted.placed.table.set_index("report_key")["lifeStage"].reindex(keys)
    stage = stages.fillna("").str.casefold()
    grown, known = int((stage == "adult").sum()), int((stage != "").sum())
    if not known:
        return drawn.per_year, (
            "The life stage of no carcass is known: all are taken for adults, so the share of the "
            "adults by carcasses is a most.",
        )
    rng = generator(seed, "mortality.adults_among_carcasses")
    share = rng.beta(grown + 0.5, known - grown + 0.5, len(drawn.per_year))
    searched = (
        f" They are those of the {number(drawn.searched_km)} km that were searched; "
        f"{number(drawn.unsearched_km)} km were not, and deaths there are not in this share."
        if drawn.unsearched_km > 0
        else ""
    )
    return drawn.per_year * share, (
        f"Of {known} carcasses of known stage {grown} are adults: deaths by carcasses are "
        f"multiplied by that share.{searched}",
    )


def _survival(
    study: Study, route: CrossingRoute
) -> tuple[pd.DataFrame, pd.DataFrame, tuple[str, ...]]:
    years, curves = [pd.DataFrame(columns=_SURVIVAL)], [pd.DataFrame(columns=_CURVE)]
    words: tuple[str, ...] = ()
    level = study.settings.hotspots.interval
    for group, sex in (("all", None), ("female", "female"), ("male", "male")):
        spells = yearly_spells(route.fates, study.settings.study.zone, sex)
        if sex is not None and spells.empty:
            continue
        found = yearly_survival(spells, level=level)
        years.append(found.year.assign(group=group)[_SURVIVAL])
        curves.append(found.curve.assign(group=group)[_CURVE])
        if sex is None:
            words = found.notes
    return _joined(years), _joined(curves), words


def _growth(
    study: Study, shares: dict[str, Floats], bounded: frozenset[str]
) -> tuple[pd.DataFrame, tuple[str, ...]]:
    stages = study.settings.stages
    if stages is None:
        return pd.DataFrame(columns=_GROWTH), (_NO_STAGES,)
    for route in (BY_CARCASSES, BY_CROSSINGS):
        group = f"{ALL}, {route}"
        share = shares[group]
        if group not in bounded and len(share) > 1 and np.isfinite(share).all():
            found = project(stages, share, study.settings.study.seed,
                            level=study.settings.hotspots.interval)  # fmt: skip
            said = f"Growth is worked out with the share of adults that die on roads {route}."
            return found.table[_GROWTH], (*found.notes, said)
    only = any(np.isfinite(shares[group]).all() for group in bounded)
    why = " (no carcass was found, which only bounds it)" if only else ""
    return pd.DataFrame(columns=_GROWTH), (
        "Growth with and without road deaths: not identified, since the share of the adults that "
        f"roads kill isn't{why}.",
    )


def _joined(tables: list[pd.DataFrame]) -> pd.DataFrame:
    some = [table for table in tables if len(table)]
    return pd.concat(some, ignore_index=True) if some else tables[0]
