"""Sentences that the brief and the proposal share; none says more than the results bear."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

from roadrisk.base.plain_numbers import number
from roadrisk.mitigation.signs import month_words
from roadrisk.mortality.population import tolerable_percent
from roadrisk.reporting.count_charts import KINDS, MONTHS
from roadrisk.reporting.csv_text import plain_text
from roadrisk.reporting.deaths_cells import interval_cell, rows
from roadrisk.reporting.measure_words import (
    NOT_CONFIRMED,
    deaths_said,
    fence_length,
    length,
    money,
    money_range,
)
from roadrisk.reporting.measures_around import NO_PROVEN_EFFECT
from roadrisk.reporting.measures_paid import all_sites
from roadrisk.reporting.place_sheets import scale_of
from roadrisk.reporting.wording import and_words, count, ranked_by, short_length

if TYPE_CHECKING:
    from collections.abc import Mapping

    from roadrisk.measure_findings import MeasureTables
    from roadrisk.reporting.editions.edition import Edition

LONGEST = 160
"""Characters of a text from data that a document shows in one place."""
NO_MEASURE = "No measure is proposed."
ANIMALS_ON_ROAD = (
    "An animal on the road makes drivers brake or swerve, and people stop and step onto the road "
    "for it: a hazard to them too (common practice; no number is claimed)."
)
OF_ALL = "of the deaths on watched roads"
KILLED = "adults_killed_percent"


def clipped(text: object, most: int = LONGEST) -> str:
    """Return a text from data in one line, cut where it is long."""
    words = plain_text(text)
    return words if len(words) <= most else f"{words[: most - 1].rstrip()}…"


def finding(edition: Edition) -> str:
    """Return the finding in one sentence: what dies, what is proposed, what that averts and costs.

    Parameters
    ----------
    edition : Edition

    Returns
    -------
    str
        Where nothing is chosen it says why.
    """
    measures = edition.findings.measures
    dying = deaths_clause(edition)
    if measures.chosen.empty:
        return f"{dying}; {_lower(measures.words.strip() or NO_MEASURE)}"
    total = all_sites(measures)
    said = deaths_said(total, "averted_per_year", measures)
    averts = {
        True: f"would avert about {said} a year",
        False: f"would avert about {said} {OF_ALL}",
    }[measures.known]
    if said == "not known":
        averts = "would avert a number that isn't known"
    years = edition.study.settings.mitigation.horizon_years
    cost = money(float(total["present_cost"]), plain_text(measures.currency))
    costs = f" ({_lower(NOT_CONFIRMED)}: no costs)"
    if measures.priced and cost:
        costs = f", for {cost} to build and keep up over {years} years"
    along = length(total["length_m"], scale_of(edition.study, edition.findings))
    return f"{dying}; {works(measures)}, {along} of road in all, {averts}{costs}."


def deaths_clause(edition: Edition) -> str:
    """Return how many die on the roads in a year, or why it isn't known; no full stop."""
    deaths = edition.findings.deaths
    units = edition.study.settings.study.units
    by = ranked_by(deaths)
    if by == "relative":
        return "How many animals die on these roads isn't known, only where more die than elsewhere"
    if by == "evidence" or deaths.roads.empty:
        return "How many animals die on these roads isn't known: nothing counted tells of deaths"
    row = rows(deaths.roads)[0]
    roads = f"these {short_length(1000 * float(row['length_km']), units)} of road"
    if not np.isfinite(float(row["deaths_per_year"])):
        high = number(float(row["deaths_per_year_high"]), 2)
        if not high:
            return f"How many animals die on {roads} isn't known"
        return f"At most {high} animals die on {roads} in a year (one-sided 95 % bound)"
    value, low, high = (number(float(row[f"deaths_per_year{end}"]), 2) for end in _ENDS)
    return f"About {value} animals die on {roads} in a year (90 % interval {low} to {high})"


def works(measures: MeasureTables) -> str:
    """Return what is built at how many sites: "fence with passages at 3 sites"; "" for nothing."""
    names = measures.chosen["measure_name"].map(clipped)
    many = names.value_counts(sort=False)
    return and_words(*(f"{name} at {n} site{'s' * (n != 1)}" for name, n in many.items()))


def quantities(edition: Edition, row: Mapping[str, Any]) -> str:
    """Return metres of fence, passages and openings of a site, or of `all_sites`.

    Parameters
    ----------
    edition : Edition
    row : mapping
        fence_m, passages_new, passages_existing, openings.

    Returns
    -------
    str
    """
    scale = scale_of(edition.study, edition.findings)
    parts = []
    fence = float(row["fence_m"])
    if fence > 0:
        parts.append(f"{fence_length(fence, scale)} of fence (both sides, ends included)")
    for name, what, more in (("passages_new", "new passage", ""),
                             ("passages_existing", "existing passage", " to lead to")):  # fmt: skip
        n = float(row[name])
        if n > 0:
            parts.append(f"{_many(n, what)}{more}")
    openings = float(row["openings"])
    if openings > 0:
        parts.append(f"{_many(openings, 'opening')} to guard (driveways, gates)")
    return ", ".join(parts) or "no fence and no passage"


def cost_words(edition: Edition) -> str:
    """Return what all sites cost to build and to keep up, or why that isn't known."""
    measures = edition.findings.measures
    if measures.chosen.empty:
        return "Nothing is proposed, so there is no cost."
    if not measures.priced:
        return f"{NOT_CONFIRMED} by the agency: quantities only, no cost is claimed."
    total = all_sites(measures)
    currency = plain_text(measures.currency)
    for end in _ENDS[1:]:
        total[f"cost_build{end}"] = float(measures.chosen[f"cost_build{end}"].astype(float).sum())
    build = money_range(total, "cost_build", "not known", currency)
    upkeep = money(float(total["upkeep_per_year"]), currency) or "not known"
    years = edition.study.settings.mitigation.horizon_years
    rate = edition.study.settings.mitigation.discount_percent
    present = money(float(total["present_cost"]), currency) or "not known"
    return (
        f"To build {build}, low to high prices; upkeep {upkeep} a year; together {present} at "
        f"present value over {years} years at {rate:g} %."
    )


def payers(edition: Edition) -> str:
    """Return who pays, as the price list says; "" where it doesn't."""
    bill = edition.findings.measures.quantities
    if bill.empty:
        return ""
    names = list(dict.fromkeys(name for name in bill["paid_by"].map(clipped) if name))
    return f"Paid by, as the price list says: {and_words(*names[:4])}." if names else ""


def signs_alone(edition: Edition) -> str:
    """Return what signs alone would do."""
    measures = edition.findings.measures
    alone = [
        f"{clipped(row['alternative'])}: {deaths_said(row, 'averted_per_year', measures)} "
        f"{'averted a year' if measures.known else f'{OF_ALL} averted'}"
        for row in rows(measures.alternatives)
        if "sign" in plain_text(row["alternative"]).lower()
        and "alone" in plain_text(row["alternative"]).lower()
    ]
    said = upper(f"{'; '.join(alone)}; at the same sites. ") if alone else ""
    return f"{said}{NO_PROVEN_EFFECT}"


def doing_nothing(edition: Edition) -> str:
    """Return what goes on if nothing is done, and what that means to the population."""
    deaths, study = edition.findings.deaths, edition.study
    if ranked_by(deaths) == "evidence":
        return f"{deaths_clause(edition)}, so what doing nothing would mean isn't known either."
    out = [f"{deaths_clause(edition)}; nothing found here says that this would change by itself."]
    shares = [row for row in rows(deaths.population) if np.isfinite(float(row[KILLED]))]
    if shares:
        row = shares[0]
        low, high = tolerable_percent(study.profile, study.settings.kill)
        bound = f"{number(low)} %" if low == high else f"{number(low)} to {number(high)} %"
        out.append(
            f"Roads kill {interval_cell(row, KILLED)} % of the adults a year "
            f"({clipped(row['group'])}); such populations are said to bear {bound} on top of "
            "natural deaths, and sources differ."
        )
    else:
        out.append("What share of the animals that is isn't known.")
    trends = {plain_text(row["quantity"]): row for row in rows(deaths.growth)}
    pair = [trends.get(f"change a year {w} road deaths, %") for w in ("with", "without")]
    if pair[0] is not None and pair[1] is not None:
        out.append(
            f"By the rates that the study states numbers change by {_signed(pair[0])} % a year "
            f"with road deaths, by {_signed(pair[1])} % without: no forecast."
        )
    return " ".join(out)


def when_words(edition: Edition) -> str:
    """Return the months and hours with most counts, and when animals are active."""
    deaths = edition.findings.deaths
    out = []
    for kind in KINDS:
        months = _most(deaths.when, "month", kind.column)
        hours = _most(deaths.when, "hour", kind.column)
        if months:
            out.append(f"{kind.title}: most in {months}" + (f"; by hour {hours}" if hours else ""))
        if len(out) == 2:
            break
    active = month_words(edition.study.profile.months("likely"))
    said = f"{'. '.join(out)}. Counts follow when people look. " if out else (
        "Nothing was counted by month. "
    )  # fmt: skip
    season = (
        f"Active {'all year' if active == 'all year' else f'in {active}'} by the species profile"
    )
    return f"{said}{season}."


def motorists_words(edition: Edition) -> str:
    """Return what is said of motorists' safety: nothing that no crash record bears."""
    notes = edition.findings.measures.notes
    counted = [note for note in notes if "crash record" in note]
    said = counted[0] if counted else "No crash records were supplied"
    return f"{ANIMALS_ON_ROAD} {said.removesuffix('.')}."


def evidence_words(edition: Edition) -> str:
    """Return what the effect of the chosen measures rests on; "" where nothing is chosen."""
    measures = edition.findings.measures
    if measures.chosen.empty or measures.effects.empty:
        return ""
    keys = set(measures.chosen["measure"].map(plain_text))
    out = []
    for row in rows(measures.effects):
        if plain_text(row["measure"]) in keys:
            ends = [number(100 * float(row[name]), 2).replace("-", _MINUS)
                    for name in ("effect", "effect_low", "effect_high")]  # fmt: skip
            said = f"{ends[0]} % ({ends[1]} to {ends[2]} %)" if all(ends) else "a share not known"
            grade = clipped(row["grade"]) or "not graded"
            out.append(f"{clipped(row['name'])} averts {said} on its road, evidence: {grade}")
    return upper(f"{'; '.join(out)}.") if out else ""


_ENDS = ("", "_low", "_high")
_MINUS = "\N{MINUS SIGN}"


def success_words(edition: Edition) -> str:
    """Return how it will be known whether the works helped, and what follows if they didn't."""
    said, measures = edition.study.settings.proposal, edition.findings.measures
    if measures.chosen.empty:
        return "Nothing is proposed whose effect could be followed."
    now = float(measures.chosen["deaths_per_year"].astype(float).sum(skipna=False))
    averted = float(all_sites(measures)["averted_per_year"])
    if said.objective_percent is not None:
        aim = f"deaths at the sites fall by {said.objective_percent:g} %"
    elif np.isfinite([now, averted]).all() and now > 0:
        of = f"{number(averted, 2)} of {number(now, 2)} deaths a year, " if measures.known else ""
        aim = f"deaths at the sites fall as expected, by about {of}{100 * averted / now:.0f} %"
    else:
        aim = "deaths at the sites fall"
    aim += f" by {said.objective_year}" if said.objective_year else ""
    return (
        f"Count in the same way before and for {said.monitoring_years} years after the works, at "
        f"the sites, at their ends and on roads like them without works. Success: {aim}, and the "
        "90 % interval of the change, beside those roads, lies wholly below no change. If not: "
        "look for breaches and for deaths at the ends, mend or lengthen, and say so."
    )


def _most(when: pd.DataFrame, by: str, column: str, top: int = 3) -> str:
    """Return the months or hours with the highest counts, with their counts."""
    mine = when[when["counted_by"] == by]
    values = pd.to_numeric(mine[column]).fillna(0.0).round()
    if not len(mine) or not values.sum() > 0:
        return ""
    best = values.sort_values(ascending=False, kind="stable")[:top]
    best = best[best > 0]
    names = [
        (
            MONTHS[int(mine.loc[k, "value"]) - 1]
            if by == "month"
            else f"{int(mine.loc[k, 'value'])}:00"
        )
        for k in best.index
    ]
    said = [f"{name} ({count(n)})" for name, n in zip(names, best, strict=True)]
    return f"{and_words(*said)} of {count(float(values.sum()))}"


def _many(n: float, what: str) -> str:
    return f"{n:.0f} {what}{'s' * (n != 1)}"


def _signed(row: Mapping[str, Any]) -> str:
    parts = [number(float(row[name]), 2).replace("-", _MINUS)
             for name in ("value", "value_low", "value_high")]  # fmt: skip
    return f"{parts[0]} ({parts[1]} to {parts[2]})"


def upper(text: str) -> str:
    """Return a text with its first letter large."""
    return text[:1].upper() + text[1:]


def _lower(text: str) -> str:
    return text[:1].lower() + text[1:]
