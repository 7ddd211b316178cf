"""What kept measures from being weighed or chosen as asked, and what is gained, in words."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from roadrisk.base.plain_numbers import number, span
from roadrisk.base.units import length_words
from roadrisk.mitigation.benefit import benefit
from roadrisk.mitigation.candidate_table import PATROL, SIGNS_A_SITE, TO_CULVERTS, weighable
from roadrisk.mitigation.estimates import SIGNS, money_of
from roadrisk.mitigation.worst_lines import left_out_words, weighed_places
from roadrisk.mortality.draw_sums import weighted

if TYPE_CHECKING:
    from collections.abc import Sequence

    import pandas as pd

    from roadrisk.base.units import Units
    from roadrisk.mitigation.candidate_table import Laid
    from roadrisk.mitigation.ground import Ground
    from roadrisk.mitigation.measures import Measure
    from roadrisk.mitigation.prices import PriceList
    from roadrisk.mitigation_settings import MitigationSection
    from roadrisk.mortality.death_field import DeathField
    from roadrisk.roads.network import Floats

# Sums and totals nearer to each other than this share are told alike.
_SAME = 0.03
_NO_HOURS = "since they have no cost: [mitigation] patrol_hours_per_year isn't given"


def why_no_run(
    laid: Laid,
    usable: Sequence[Measure],
    section: MitigationSection,
    *,
    priced: bool,
    units: Units,
) -> str:
    """Return why no candidate averts anything.

    Parameters
    ----------
    laid : Laid
        Without a candidate that averts deaths.
    usable : sequence of Measure
        Measures with an effect, at least one of them proven.
    section : MitigationSection
    priced : bool
    units : {"metric", "us"}

    Returns
    -------
    str
    """
    weighed = [m for m in usable if weighable(m, section, priced=priced)]
    if not weighed and priced:
        return f"No measures proposed: carrying patrols were not weighed, {_NO_HOURS}."
    if not weighed:
        return (
            "No measures proposed: while prices aren't confirmed only fences are weighed, by their "
            "metres, and none is among the measures considered ([mitigation] measures)."
        )
    if len(laid.candidates):
        return (
            "No measures proposed: wherever one may stand, at least as many deaths are held to "
            "move to its ends as it averts."
        )
    least = length_words(section.least_fence_m, units)
    culverts = (
        " and holds culverts known to be usable, none too far from the next"
        if all(m.key == TO_CULVERTS for m in weighed)
        else ""
    )
    return (
        f"No measures proposed: no run of watched road, {least} long or longer ([mitigation] "
        f"least_fence_m), is without a fence today{culverts}."
    )


def limits_of(
    ground: Ground,
    field: DeathField,
    measures: Sequence[Measure],
    chosen: pd.DataFrame,
    signs: int,
    section: MitigationSection,
    *,
    priced: bool,
    units: Units,
) -> tuple[str, ...]:
    """Return what couldn't be done as asked, or looks different elsewhere.

    Parameters
    ----------
    ground : Ground
    field : DeathField
    measures : sequence of Measure
        Measures with an effect.
    chosen : pandas.DataFrame
        Of `chosen_sites.site_table`.
    signs : int
        Signs in the bill of the sites whose measure is signs.
    section : MitigationSection
    priced : bool
    units : {"metric", "us"}

    Returns
    -------
    tuple of str
    """
    weighed = weighed_places(ground.lines, ground.deaths)
    notes = [
        *_total_words(ground, field),
        *left_out_words(ground.lines, ground.deaths, weighed, known=ground.known, units=units),
    ]
    classes = set(ground.network.segments["road_class"].astype(str))
    unknown = [c for c in section.fence_stops_at if c not in classes]
    if "fence_stops_at" in section.model_fields_set and unknown:
        notes.append(
            f"No road here is of the class {' or '.join(unknown)} ([mitigation] fence_stops_at)."
        )
    if section.budget is not None and not priced:
        notes.append(
            f"The budget of {number(section.budget)} {section.currency}".rstrip()
            + " counts for nothing until all prices are confirmed."
        )
    if section.target_averted_per_year is not None and not ground.known:
        notes.append(
            "The target of deaths to avert a year counts for nothing: how many die isn't known."
        )
    if priced and section.budget_covers == "building":
        notes.append(
            "Money was weighed for building alone; present costs hold upkeep and renewal too."
        )
    patrols = [m for m in measures if m.key == PATROL and m.proven]
    if priced and any(not weighable(m, section, priced=priced) for m in patrols):
        notes.append(f"Carrying patrols were not weighed, {_NO_HOURS}.")
    sites = int(chosen["measure"].isin(SIGNS).sum())
    if priced and sites:
        notes.append(
            f"Signs were weighed as {SIGNS_A_SITE} a site; the bill counts the {signs} that are "
            "placed, so it may lie above or below the money given."
        )
    return tuple(notes)


def _total_words(ground: Ground, field: DeathField) -> tuple[str, ...]:
    """Say so where places add up to another number than the total of the same roads."""
    rate = field.result.rate
    if not ground.known or rate is None:
        return ()
    draws = weighted(field.pieces.length_km, rate, field.heard)
    total = float(np.median(draws)) * field.result.to_best
    here = float(ground.deaths.sum(axis=0).mean())
    if abs(here - total) <= _SAME * total:
        return ()
    return (
        f"Deaths of single places add up to {number(here, 2)} a year here, where the total of the "
        f"same roads is held to be {number(total, 2)}: what is averted is counted place by place, "
        "each by its own number, since a few tagged animals, observers or counts make peaks that "
        "promise more than is there.",
    )


def gain_words(
    averted_per_year: Floats,
    estimate: pd.DataFrame,
    prices: PriceList,
    section: MitigationSection,
    *,
    known: bool,
) -> tuple[str, ...]:
    """Return the cost for each death averted, and what they are worth if an animal has a value.

    Parameters
    ----------
    averted_per_year : ndarray, shape (draws,)
        Deaths, or shares of all.
    estimate : pandas.DataFrame
        Of `estimates.estimate_of`.
    prices : PriceList
    section : MitigationSection
    known : bool
        Whether these are deaths.

    Returns
    -------
    tuple of str
    """
    if not known:
        return ("How many die isn't known, so there is no cost for each death averted.",)
    gain = benefit(averted_per_year, money_of(estimate, prices, section), settings=section)
    if np.isnan(gain.value):
        return (gain.words,)
    each, all_ = (
        f"{said} {section.currency}".rstrip()
        for said in (
            number(section.value_per_animal or 0.0),
            span(gain.value, gain.value_low, gain.value_high, 2),
        )
    )
    return (
        gain.words,
        f"At {each} an animal ([mitigation] value_per_animal) the deaths averted over "
        f"{section.horizon_years} years are worth {all_} today, discounted like costs.",
    )
