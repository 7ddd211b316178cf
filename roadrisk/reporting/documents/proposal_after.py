"""The proposal's sections on money, upkeep, permits, and how it will be known whether it helped."""

from __future__ import annotations

from typing import TYPE_CHECKING

from roadrisk.base.plain_numbers import number
from roadrisk.reporting.csv_text import plain_text
from roadrisk.reporting.deaths_cells import rows
from roadrisk.reporting.documents.blocks import Bullets, Facts, Table
from roadrisk.reporting.documents.facts import (
    clipped,
    cost_words,
    payers,
    success_words,
    upper,
)
from roadrisk.reporting.documents.proposal_text import paragraphs, points
from roadrisk.reporting.documents.proposal_works import and_all, chosen_kinds, mark
from roadrisk.reporting.measure_words import money, money_range, per_death
from roadrisk.reporting.measures_paid import all_sites, payer_rows
from roadrisk.reporting.wording import and_words

if TYPE_CHECKING:
    from roadrisk.mitigation.measure_types import Measure
    from roadrisk.reporting.documents.blocks import Block
    from roadrisk.reporting.editions.edition import Edition

# Fewer deaths a year than this at all sites together are called few: a choice of words.
_FEW_A_YEAR = 5.0


def cost(edition: Edition) -> tuple[Block, ...]:
    """Return what it costs to build and to keep up, who pays, and the funding.

    Parameters
    ----------
    edition : Edition

    Returns
    -------
    tuple of Block
    """
    measures, settings = edition.findings.measures, edition.study.settings
    weighed = settings.mitigation
    shown = measures.priced and len(measures.chosen) > 0
    several = shown and len(payer_rows(measures)) > 1
    return (
        *paragraphs("cost", "cost", words=cost_words(edition)),
        *(_costs(edition) if shown else ()),
        *paragraphs("cost", "paid", payers="" if several else payers(edition)),
        *paragraphs("cost", "money", "small", priced=shown, years=weighed.horizon_years,
                    rate=f"{weighed.discount_percent:g}", covers=weighed.budget_covers),
        Facts((("Funding", clipped(settings.proposal.funding, 300)),)),
    )  # fmt: skip


def maintenance(edition: Edition) -> tuple[Block, ...]:
    """Return who keeps it up, what that takes, and what it costs a year."""
    measures = edition.findings.measures
    total = all_sites(measures) if len(measures.chosen) else {}
    kinds = chosen_kinds(edition) if len(measures.chosen) else ()
    fence = bool(total) and float(total["fence_m"]) > 0
    through = bool(total) and float(total["passages_new"]) + float(total["passages_existing"]) > 0
    upkeep = ""
    if total and measures.priced:
        upkeep = money(float(total["upkeep_per_year"]), plain_text(measures.currency))
    owner = clipped(edition.study.settings.proposal.maintenance_by, 300)
    return (
        *((Facts((("Kept up by", owner),)),) if total else ()),
        *points("maintenance", "tasks", fence=fence, passages=through, anything=bool(total),
                signs=any(kind.key.startswith("sign") for kind in kinds),
                inspections=_inspections(kinds)),
        *paragraphs("maintenance", "upkeep", upkeep=upkeep, anything=bool(total)),
    )  # fmt: skip


def permits(edition: Edition) -> tuple[Block, ...]:
    """Return the permits that people named, that the data ask for, and that are usual."""
    named = [clipped(x, 300) for x in edition.study.settings.proposal.permits]
    first: tuple[Block, ...] = (Facts((("Permits that are needed", ""),)),)
    if named:
        first = (*paragraphs("permits", "named", permits=True), Bullets(tuple(named)))
    return (
        *first, *paragraphs("permits", "usual"),
        *points("permits", "list", from_data=_asked_by_data(edition)),
    )  # fmt: skip


def monitoring(edition: Edition) -> tuple[Block, ...]:
    """Return what is counted, what success is, and what follows if it isn't reached."""
    measures, years = edition.findings.measures, edition.study.settings.proposal.monitoring_years
    if measures.chosen.empty:
        return paragraphs("monitoring", "nothing")
    there = float(measures.chosen["deaths_per_year"].astype(float).sum(skipna=False))
    kinds = chosen_kinds(edition)
    before = f"before the works, and {years} years after them"
    inspections = _inspections(kinds)
    lines = [
        ("Deaths at the sites", before, "surveys on foot or by car, with the same effort each "
         "time, and trials of what they miss"),
        ("Deaths at fence ends, and on roads like these without works", before, "the same surveys"),
        ("Breaches of the fence", f"{inspections} times a year" if inspections else
         "before and within the season", "a walk along both sides, by people who may be there"),
        ("Animals through passages", f"in season, {years} years", "cameras or tracks"),
        ("Report", "each year", "to the agency and to those who ask"),
    ]  # fmt: skip
    return (
        *paragraphs("monitoring", "success", success=success_words(edition)),
        Table(("What is counted", "When", "How"), tuple(lines), widths=(2.2, 2.0, 2.6),
              caption="Plan of monitoring (common practice)"),
        *paragraphs("monitoring", "years", rare=measures.known and there < _FEW_A_YEAR),
        *paragraphs("monitoring", "then"),
        *points("monitoring", "fails", years=years),
    )  # fmt: skip


def _costs(edition: Edition) -> tuple[Block, ...]:
    measures = edition.findings.measures
    years = edition.study.settings.mitigation.horizon_years
    lines = [
        (mark(row), money_range(row, "cost_build"), money(row["upkeep_per_year"]) or "–",
         money(row["present_cost"]) or "–", per_death(row, years) if measures.known else "–")
        for row in and_all(measures)
    ]  # fmt: skip
    currency = clipped(measures.currency, 12)
    in_ = f"; in {currency}" if currency else ""
    sites = Table(
        ("Site", "To build (low to high)", "Upkeep a year", f"Both over {years} years, at present "
         "value", "Per death averted"),
        tuple(lines), widths=(0.5, 2.2, 1.1, 1.5, 2.0),
        caption=f"What it costs{in_}",
        note="Low to high: every price low at once, or every price high. Per death averted: "
        "present value over the deaths averted in that time, with the interval of the deaths "
        "alone.",
    )  # fmt: skip
    who = payer_rows(measures)
    if len(who) < 2:
        return (sites,)
    return (sites, Table(("Paid by", "To build", "Upkeep a year"),
                         tuple((clipped(name, 60), *said) for name, *said in who),
                         widths=(3.0, 1.5, 1.5), right=(1, 2),
                         caption=f"Who pays, all sites together, at likely prices{in_}"),
            )  # fmt: skip


def _inspections(kinds: tuple[Measure, ...]) -> str:
    """Return inspections a year as a range of the chosen measures' designs; "" where none says."""
    found = [kind.design.inspections_per_year for kind in kinds]
    told = [x for x in found if x is not None]
    if not told:
        return ""
    low, high = min(x.low for x in told), max(x.high for x in told)
    return number(low) if low == high else f"{number(low)} to {number(high)}"


def _asked_by_data(edition: Edition) -> list[str]:
    """Return what layers ask consent or a permit for, with the sites."""
    table = edition.findings.measures.constraints
    asked: dict[str, list[str]] = {}
    for row in rows(table):
        effect = clipped(row["effect"], 120)
        if any(word in effect for word in ("permit", "consent", "ask ")):
            asked.setdefault(effect, []).append(f"S{row['site']:.0f} {clipped(row['what'], 80)}")
    return [f"{upper(effect)}: {and_words(*at)}." for effect, at in asked.items()]
