"""The room in one call: from deaths on the roads to measures with quantities, costs and effect."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, Any

import geopandas as gpd
import numpy as np

from roadrisk.base.seeds import generator
from roadrisk.mitigation.alternatives import alternatives
from roadrisk.mitigation.benefit import motorists_words
from roadrisk.mitigation.candidate_table import lay_candidates
from roadrisk.mitigation.choice_limits import gain_words, limits_of, why_no_run
from roadrisk.mitigation.chosen_sites import site_constraints, site_order, site_table
from roadrisk.mitigation.effects import EffectDraws, draw_effects, effects_table, step_of
from roadrisk.mitigation.estimates import SIGNS, estimate_of, with_costs
from roadrisk.mitigation.ground import lay_ground
from roadrisk.mitigation.measures import load_measures, with_effect
from roadrisk.mitigation.nothing_proposed import nothing_proposed
from roadrisk.mitigation.prices import price_list
from roadrisk.mitigation.proposal_words import choice_words, notes_of, why_nothing
from roadrisk.mitigation.sign_walk import SignRules
from roadrisk.mitigation.signs import sign_notes, sign_places
from roadrisk.mitigation.site_places import lixels_of
from roadrisk.mitigation.traffic_change import (
    NIGHT,
    SEASON,
    Changes,
    TrafficQuestions,
    traffic_changes,
)
from roadrisk.mitigation.weighed import weigh
from roadrisk.mortality.crossing_route import kill_inputs_of
from roadrisk.mortality.deaths_by_place import piece_lines

if TYPE_CHECKING:
    from collections.abc import Sequence

    from roadrisk.measure_findings import MeasureTables
    from roadrisk.mitigation.candidate_table import Laid
    from roadrisk.mitigation.ground import Ground
    from roadrisk.mitigation.measures import Measure
    from roadrisk.mitigation.prices import PriceList
    from roadrisk.mitigation.weighed import Weighed
    from roadrisk.mitigation_settings import MitigationSection
    from roadrisk.mortality.all_deaths import AllDeaths
    from roadrisk.mortality.death_field import DeathField
    from roadrisk.roads.network import Floats, Ints, Lixels, Network
    from roadrisk.roads.places import Places
    from roadrisk.study import Study
    from roadrisk.telemetry.frequencies import Frequencies

CLOSURES = {"night_closure": NIGHT, "season_closure": SEASON}


def propose_measures(
    study: Study,
    network: Network,
    lixels: Lixels,
    places: Places,
    deaths: AllDeaths,
    frequencies: Frequencies,
) -> MeasureTables:
    """Choose measures against deaths on the roads, with quantities, costs, signs and effect.

    Parameters
    ----------
    study : Study
    network : Network
    lixels : Lixels
    places : Places
        For words.
    deaths : AllDeaths
    frequencies : Frequencies

    Returns
    -------
    MeasureTables
    """
    section, field = study.settings.mitigation, deaths.field
    ground = lay_ground(study, network, lixels, places, field, frequencies)
    changes = traffic_changes(
        kill_inputs_of(study, frequencies, network), field, network, lixels, chance=deaths.chance,
        asked=_questions(section), units=study.settings.study.units,
    )  # fmt: skip
    measures, usable, effects = _with_effects(study, ground, load_measures(section), changes)
    prices = price_list(usable, study.prices)
    priced = prices.confirmed and bool(usable)
    whole = nothing_proposed(ground, changes, effects_table(measures))
    reason = why_nothing(ground, field, usable)
    if reason:
        return replace(whole, words=reason)
    laid = lay_candidates(ground, usable, effects, prices if priced else None, section)
    if not (laid.candidates.value > 0).any():
        words = why_no_run(laid, usable, section, priced=priced, units=study.settings.study.units)
        return replace(whole, words=words)
    weighed = weigh(ground, laid, effects, section, priced=priced)
    told = _told(study, ground, field, laid, usable, effects, weighed, prices, priced=priced)
    return replace(whole, **told | {"notes": (*told["notes"], *whole.notes)})


def _questions(section: MitigationSection) -> TrafficQuestions:
    night = float(section.closure_hours[0]), float(section.closure_hours[1])
    return TrafficQuestions(night=night, closed_months=section.closure_months)


def _with_effects(
    study: Study, ground: Ground, measures: Sequence[Measure], changes: Changes
) -> tuple[list[Measure], list[Measure], list[EffectDraws]]:
    """All measures, those of them with an effect, and its draws."""
    seed, draws = study.settings.study.seed, ground.deaths.shape[1]
    every, usable, effects = [], [], []
    for measure in measures:
        # Where nobody watched there are no deaths of which to avert a share.
        if measure.effect is None and measure.key in CLOSURES and ground.deaths.any():
            left = changes.factors[CLOSURES[measure.key]][ground.lines.piece]
            drawn = _closed(ground.deaths, left)
            low, middle, high = np.quantile(drawn, [0.05, 0.5, 0.95])
            told = with_effect(
                measure, low=low, likely=middle, high=high, grade="computed",
                source="when animals cross and vehicles pass, on all roads together; in which "
                "months and hours they cross is taken as known, so the range is too narrow",
            )  # fmt: skip
            every.append(told)
            usable.append(told)
            effects.append(EffectDraws(drawn, np.zeros(draws), np.ones(draws)))
            continue
        every.append(measure)
        if measure.effect is not None:
            usable.append(measure)
            effects.append(draw_effects(measure, generator(seed, step_of(measure)), draws))
    return every, usable, effects


def _closed(deaths: Floats, left: Floats) -> Floats:
    """Share of the deaths that a closure averts, draw by draw."""
    column = np.arange(deaths.shape[1]) % left.shape[1]
    total = deaths.sum(axis=0)
    return np.asarray(1.0 - (deaths * left[:, column]).sum(axis=0) / np.maximum(total, 1e-300))


def _told(
    study: Study,
    ground: Ground,
    field: DeathField,
    laid: Laid,
    measures: Sequence[Measure],
    effects: Sequence[EffectDraws],
    weighed: Weighed,
    prices: PriceList,
    *,
    priced: bool,
) -> dict[str, Any]:
    """Return the fields that tell a choice."""
    section, units = study.settings.mitigation, study.settings.study.units
    order = site_order(weighed.chosen, laid)
    rows = weighed.chosen.chosen[order]
    first, last = laid.candidates.first[rows], laid.candidates.last[rows]
    sites = [lixels_of(ground.pieces, ground.lines, int(a), int(b))
             for a, b in zip(first, last, strict=True)]  # fmt: skip
    rules = SignRules(edition=section.sign_table, driving_side=section.driving_side,
                      clear_of_junction_m=section.sign_clear_m)  # fmt: skip
    months = study.profile.months("likely")
    signs = sign_places(
        ground.network, ground.lixels, sites, places=ground.places, months=months, rules=rules,
        units=units,
    )  # fmt: skip
    table = site_table(ground, laid, measures, weighed.chosen, order, weighed.included)
    estimate = estimate_of(ground, laid, rows, measures, signs, prices, section)
    table = with_costs(table, estimate, prices, section, priced=priced, known=ground.known)
    placed = int(signs["site"].isin(table["site"][table["measure"].isin(SIGNS)]).sum())
    crashes = int(ground.facts.crashes["place"].isin(_covered(first, last)).sum())
    return {
        "proposed": True, "priced": priced, "currency": section.currency if priced else "",
        "gap": weighed.gap,
        "words": choice_words(ground, weighed, table, section, priced=priced, units=units),
        "notes": (
            *notes_of(study, ground, weighed, prices, priced=priced),
            *limits_of(
                ground, field, measures, table, placed, section, priced=priced, units=units
            ),
            *gain_words(weighed.chosen.total, estimate, prices, section, known=ground.known),
            motorists_words(study.crashes, crashes), *sign_notes(rules, months, units=units),
        ),
        "chosen": table,
        "pieces": _pieces(ground, weighed.included, first, last),
        "quantities": estimate,
        "alternatives": alternatives(
            ground, laid, measures, effects, weighed.chosen, weighed.cautious, weighed.limit
        ),
        "curve": weighed.curve, "signs": signs,
        "constraints": site_constraints(ground, first, last),
    }  # fmt: skip


def _covered(first: Ints, last: Ints) -> Ints:
    """Places of all sites."""
    spans = [np.arange(a, b) for a, b in zip(first, last, strict=True)]
    return np.concatenate([np.zeros(0, dtype=np.int64), *spans])


def _pieces(ground: Ground, included: Floats, first: Ints, last: Ints) -> gpd.GeoDataFrame:
    """Every piece of road: its site, and how often it is chosen."""
    place = ground.lines.place_of_piece
    site = np.zeros(len(place), dtype=np.int64)
    for k, (a, b) in enumerate(zip(first, last, strict=True)):
        site[a:b] = k + 1
    table = {
        "piece": np.arange(1, len(place) + 1),
        "road": ground.lines.road[ground.lines.line[place]],
        "site": site[place],
        "included_of_100": included[place],
    }
    lines = piece_lines(ground.network, ground.lixels, ground.pieces)
    return gpd.GeoDataFrame(table, geometry=lines, crs=ground.network.crs)
