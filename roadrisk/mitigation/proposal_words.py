"""What was chosen in one plain sentence, what stands behind it, or why nothing was."""

from __future__ import annotations

from typing import TYPE_CHECKING

from roadrisk.base.plain_numbers import number, span
from roadrisk.base.units import M_PER_FOOT, M_PER_MILE, length_words

if TYPE_CHECKING:
    from collections.abc import Sequence

    import geopandas as gpd

    from roadrisk.base.units import Units
    from roadrisk.mitigation.ground import Ground
    from roadrisk.mitigation.measures import Measure
    from roadrisk.mitigation.prices import PriceList
    from roadrisk.mitigation.weighed import Weighed
    from roadrisk.mitigation_settings import MitigationSection
    from roadrisk.mortality.death_field import DeathField
    from roadrisk.study import Study


def why_nothing(ground: Ground, field: DeathField, usable: Sequence[Measure]) -> str:
    """Return why no measure can be chosen; "" if one can.

    Parameters
    ----------
    ground : Ground
    field : DeathField
    usable : sequence of Measure
        Measures with an effect.

    Returns
    -------
    str
    """
    if not field.ordered:
        return (
            "No measures proposed: no source counted anything, so no place is known to be worse "
            "than another."
        )
    if field.result.bound_only:
        return (
            "No measures proposed: the surveys found nothing, which bounds how many die and says "
            "nothing of where."
        )
    if not (ground.deaths > 0).any():
        return "No measures proposed: nobody watched any of these roads."
    if not any(m.proven for m in usable):
        return (
            "No measures proposed: of the measures considered ([mitigation] measures) none has an "
            "effect that can be counted on."
        )
    return ""


def choice_words(
    ground: Ground,
    weighed: Weighed,
    sites: gpd.GeoDataFrame,
    section: MitigationSection,
    *,
    priced: bool,
    units: Units,
) -> str:
    """Return the choice in a sentence or two.

    Parameters
    ----------
    ground : Ground
    weighed : Weighed
    sites : geopandas.GeoDataFrame
        Of `chosen_sites.site_table`.
    section : MitigationSection
    priced : bool
    units : {"metric", "us"}

    Returns
    -------
    str
    """
    if not len(sites):
        return f"{_for_what(weighed, section, units)} buys nothing that averts deaths."
    counts = sites["measure_name"].value_counts(sort=False)
    kinds = " and ".join(
        f"{name} at {count} site{'s' * (count != 1)}" for name, count in counts.items()
    )
    where = _to_the_metre(float(sites["length_m"].sum()), units)
    total = ground.deaths.sum(axis=0).mean()
    built = weighed.chosen
    if ground.known:
        averted = span(built.mean, *built.interval, 2)
        told = f"averts {averted} of {number(float(total), 2)} deaths a year on watched roads"
    else:
        percent = [100 * v / float(total) for v in (built.mean, *built.interval)]
        told = (
            f"averts {span(percent[0], percent[1], percent[2], 2)} % of the deaths on watched roads"
        )
    money = ""
    if priced:
        cost = float(sites["present_cost"].sum())
        money = (
            f", for {number(cost)} {section.currency}".rstrip()
            + f" over {section.horizon_years} years"
        )
    missed = f" {weighed.target_missed}" if weighed.target_missed else ""
    asked = _for_what(weighed, section, units)
    return f"{asked}: {kinds} ({where} of road in all) {told}{money}.{missed}"


def notes_of(
    study: Study, ground: Ground, weighed: Weighed, prices: PriceList, *, priced: bool
) -> tuple[str, ...]:
    """Return what stands behind the choice and what it can't tell.

    Parameters
    ----------
    study : Study
    ground : Ground
    weighed : Weighed
    prices : PriceList
    priced : bool

    Returns
    -------
    tuple of str
    """
    section = study.settings.mitigation
    notes = [
        "Every run of pieces along every road was weighed, not hot stretches alone: a fence ends "
        "where its ends do least harm. Fences of one road don't touch; one stops where a road of "
        f"the classes {', '.join(section.fence_stops_at)} crosses.",
        "Deaths averted are means over draws of deaths, effects and of the deaths that move to "
        "fence ends; intervals hold 90 % of the draws. In simulated worlds whose ends move other "
        "shares than assumed here they held what was truly averted in 76 to 87 of 100.",
        "Places that nobody watched are not considered: nothing is known of them that other "
        "roads don't have too.",
        prices.words,
    ]
    if weighed.by == "knee":
        notes.append(
            "Neither a budget nor a target that can be used is set ([mitigation] in study.toml): "
            "the choice is the knee of the curve, beyond which one percent more money averts less "
            "than half a percent more deaths."
        )
    if not priced:
        notes.append(
            "Without confirmed prices only fences are chosen, by metres of fence; totals of money "
            "are not shown."
        )
    if not ground.known:
        notes.append(
            "How many die isn't known, so the tables give shares of the deaths on all roads; the "
            "sentence at the head is about those on the roads that were watched."
        )
    return tuple(notes)


def _for_what(weighed: Weighed, section: MitigationSection, units: Units) -> str:
    if weighed.by == "budget":
        return f"With {number(weighed.limit)} {section.currency}".rstrip()
    if weighed.by == "target":
        return f"To avert {number(section.target_averted_per_year or 0.0)} deaths a year"
    if weighed.by == "fence":
        return f"With {length_words(weighed.limit, units)} of fence"
    return "At the knee of the curve of deaths averted against cost"


def _to_the_metre(metres: float, units: Units) -> str:
    """Return a length of works as the documents give it: 898 m, 1.2 km; 919 ft, 1.46 mi."""
    if units == "us":
        feet = metres / M_PER_FOOT
        return f"{feet:.0f} ft" if feet < 2640 else f"{number(metres / M_PER_MILE)} mi"
    return f"{metres:.0f} m" if metres < 1000 else f"{number(metres / 1000)} km"
