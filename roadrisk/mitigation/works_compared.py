"""Did the works help? All that a study can say of it, in one call."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from roadrisk.mitigation.compared_crossings import crossing_bins
from roadrisk.mitigation.comparison import COLUMNS, YEARS, Comparison, Rules, compare_sites
from roadrisk.mitigation.inspections import inspection_words, passage_words
from roadrisk.mitigation.plan_of_comparison import comparison_plan
from roadrisk.mitigation.site_years import SitePlaces, site_bins, site_places
from roadrisk.mitigation.worth_of_effort import COLUMNS as EFFORT
from roadrisk.mitigation.worth_of_effort import effort_table
from roadrisk.mortality.carcass_deaths import CarcassDeaths, carcass_deaths

if TYPE_CHECKING:
    import geopandas as gpd

    from roadrisk.compare_settings import CompareSection
    from roadrisk.roads.network import Ints, Lixels, Network
    from roadrisk.roads.placing import PieceIndex
    from roadrisk.sightings.counted import CountedReports
    from roadrisk.study import Study

REPORTS = (
    "Reports from the public are not used: how much people looked before and after isn't known."
)
NO_SURVEYS = (
    "Deaths aren't compared: there are no surveys. Searches that found nothing count as much as "
    "those that found something: name them under [surveys]."
)
NO_ANIMALS = "Crossings aren't compared: no tagged animals."


@dataclass(frozen=True, eq=False)
class WorksCompared:
    """Tables of `roadrisk compare`.

    Attributes
    ----------
    table : pandas.DataFrame
        Columns `comparison.COLUMNS`.
    years : pandas.DataFrame
        Columns `comparison.YEARS`.
    plan : pandas.DataFrame
        Columns `plan_of_comparison.COLUMNS`.
    effort : pandas.DataFrame
        Columns `worth_of_effort.COLUMNS`.
    words : str
        One plain sentence: the first comparison's.
    notes : tuple of str
    """

    table: pd.DataFrame
    years: pd.DataFrame
    plan: pd.DataFrame
    effort: pd.DataFrame
    words: str
    notes: tuple[str, ...]


def compare_study(
    study: Study, counted: CountedReports, fixes: gpd.GeoDataFrame, network: Network,
    lixels: Lixels, index: PieceIndex, partner: Ints,
) -> WorksCompared:  # fmt: skip
    """Compare the sites of a study before and after works.

    Parameters
    ----------
    study : Study
        With a section [compare].
    counted : CountedReports
    fixes : geopandas.GeoDataFrame
        All, those from bearings included, with places.
    network : Network
    lixels : Lixels
    index : PieceIndex
    partner : ndarray of int64, shape (lixels,)

    Returns
    -------
    WorksCompared

    Raises
    ------
    InputError
        The study has no [compare], or its sites can't be placed.
    """
    places = site_places(study, network, lixels, index, partner)
    section = study.settings.compare
    if section is None:
        raise AssertionError("site_places raises where there is no [compare]")
    logs = (*inspection_words(study, places.table), *passage_words(study, places.table))
    notes: list[str] = [*_ends_words(places, section)]
    found = carcass_deaths(study, counted, network, lixels, index, partner)
    made: list[Comparison] = []
    plan = comparison_plan(None, section)
    table = pd.DataFrame(columns=list(COLUMNS))
    if found is None:
        notes.append(NO_SURVEYS)
        worth = pd.DataFrame(columns=list(EFFORT))
    else:
        made.append(_deaths(study, places, found, lixels, section))
        plan = comparison_plan(made[0], section)
        worth, words = effort_table(found, hours_per_trial=section.hours_per_trial)
        notes += [*_effort_words(found), *made[0].notes, *words]
    if len(fixes) > 1:
        bins, differ = crossing_bins(study, places, fixes, network, lixels, index, partner)
        # Sites were chosen for their deaths, not for their crossings; ends have none of their own.
        sites = places.table[places.table["kind"] != "end"].assign(
            chosen_from=np.nan, chosen_to=np.nan
        )
        rules = _rules(section, exact=True, what="crossings")
        made.append(compare_sites(sites.reset_index(drop=True), bins, rules, differ=differ))
    else:
        notes.append(NO_ANIMALS)
    if made:
        table = pd.concat([m.table for m in made], ignore_index=True)
    years = (
        pd.concat([m.years for m in made], ignore_index=True)
        if made else pd.DataFrame(columns=list(YEARS))
    )  # fmt: skip
    notes += [REPORTS, *_rule_words(section, made), *logs]
    first = str(table["words"].iloc[0]) if len(table) else notes[0]
    return WorksCompared(table, years, plan, worth, first, tuple(dict.fromkeys(notes)))


def _deaths(
    study: Study, places: SitePlaces, found: CarcassDeaths, lixels: Lixels, section: CompareSection
) -> Comparison:
    bins = site_bins(study, places, found, lixels)
    return compare_sites(places.table, bins, _rules(section, exact=found.identified, what="deaths"))


def _rules(section: CompareSection, *, exact: bool, what: str) -> Rules:
    return Rules(
        level=section.level_percent / 100,
        by_empirical_bayes=section.chosen_years == "empirical bayes" and what == "deaths",
        dispersion=section.years_differ if what == "deaths" else None,
        least_chance=section.least_chance_percent / 100, effort_exact=exact, what=what,
    )  # fmt: skip


def _ends_words(places: SitePlaces, section: CompareSection) -> tuple[str, ...]:
    if not places.made_ends:
        return ()
    return (
        f"Ends: the road of the same name within {section.end_m:g} m of the works, as the crow "
        "flies ([compare] end_m), where the table names no ends.",
    )


def _effort_words(found: CarcassDeaths) -> tuple[str, ...]:
    if found.identified:
        return (
            "Effort is the number of carcasses to be expected if one animal died on each km in a "
            "year: closer searches, which find more of the dead, change nothing.",
        )
    return (
        "Effort is km searched: how many of the dead are counted isn't known, so it is taken to "
        "be alike before and after.",
    )


def _rule_words(section: CompareSection, made: list[Comparison]) -> tuple[str, ...]:
    chosen = (
        "are replaced by what Empirical Bayes expects from all sites in the table (which should be "
        "all that the choice was made among)"
        if section.chosen_years == "empirical bayes"
        else "are left out"
    )
    out = [
        f"Years that led to the choice of a site {chosen}: a site chosen for its worst years gets "
        "better without any works (regression to the mean).",
        f"Every comparison is made at {section.level_percent:g} % by itself: among many sites "
        "without any effect some will show one.",
        "Carcasses are those of surveys; a carcass that died before the works and was found after "
        "them counts as after.",
    ]
    for one in made:
        if one.differ.known:
            what = "years" if one is made[0] and one.table["what"].eq("deaths").all() else "animals"
            vary = f"vary {one.differ.dispersion:.2g} times as much as"
            vary = vary if one.differ.dispersion > 1 else "vary no more than"
            out.append(
                f"Counts of different {what} {vary} by chance ({one.differ.df} degrees of "
                "freedom); the intervals allow for how well that is known."
            )
    return tuple(out)
