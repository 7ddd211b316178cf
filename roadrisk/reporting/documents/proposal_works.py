"""The proposal's section on what is to be built: quantities, effect, dimensions to start from."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from roadrisk.mitigation.measures import load_measures
from roadrisk.mitigation.signs import month_words
from roadrisk.records.pay_items import pay_items
from roadrisk.reporting.csv_text import plain_text
from roadrisk.reporting.deaths_cells import rows
from roadrisk.reporting.documents.blocks import Bullets, Table
from roadrisk.reporting.documents.facts import clipped, evidence_words
from roadrisk.reporting.documents.proposal_case import MOST_SITES
from roadrisk.reporting.documents.proposal_text import paragraphs
from roadrisk.reporting.measure_words import (
    deaths_said,
    fence_length,
    gap_words,
    included,
    length,
    passages,
    whole,
)
from roadrisk.reporting.measures_chosen import amount, unit_cost
from roadrisk.reporting.measures_design import design_rows
from roadrisk.reporting.measures_paid import all_sites
from roadrisk.reporting.place_sheets import scale_of

if TYPE_CHECKING:
    from roadrisk.measure_findings import MeasureTables
    from roadrisk.mitigation.measure_types import Measure
    from roadrisk.reporting.documents.blocks import Block
    from roadrisk.reporting.editions.edition import Edition

_SITE_COLUMNS = 5


def recommended(edition: Edition) -> tuple[Block, ...]:
    """Return what to build at each site, what that averts, and dimensions to start from.

    Parameters
    ----------
    edition : Edition

    Returns
    -------
    tuple of Block
    """
    measures = edition.findings.measures
    said = paragraphs("recommended", "chosen", words=measures.words, gap=gap_words(measures))
    if measures.chosen.empty:
        return said
    active = month_words(edition.study.profile.months("likely"))
    signs = any(plain_text(x).startswith("sign") for x in measures.chosen["measure"])
    kinds = chosen_kinds(edition)
    cautions = [c for kind in kinds for c in kind.cautions]
    return (
        *said,
        _build(edition),
        _gains(measures),
        *paragraphs("recommended", "evidence", evidence=evidence_words(edition)),
        *_bill(edition),
        *(_design(kind, edition) for kind in kinds if design_rows(kind, "metric")),
        *paragraphs("recommended", "mind", anything=bool(cautions)),
        *((Bullets(tuple(dict.fromkeys(cautions))),) if cautions else ()),
        *paragraphs("recommended", "season", active="" if active == "all year" else active),
        *paragraphs("recommended", "signs", many=0 if signs else len(measures.signs)),
    )


def chosen_kinds(edition: Edition) -> tuple[Measure, ...]:
    """Return the kinds of measure that are chosen, with the study's own ranges."""
    keys = {plain_text(key) for key in edition.findings.measures.chosen["measure"]}
    return tuple(m for m in load_measures(edition.study.settings.mitigation) if m.key in keys)


def and_all(measures: MeasureTables) -> list[dict[str, Any]]:
    """Return the sites that are listed, and all together where there are several."""
    head = rows(measures.chosen.iloc[:MOST_SITES])
    return [*head, all_sites(measures)] if len(measures.chosen) > 1 else head


def mark(row: dict[str, Any]) -> str:
    """Return a site's mark; "all" for all together."""
    return f"S{row['site']:.0f}" if "site" in row else "all"


def _build(edition: Edition) -> Table:
    measures, scale = edition.findings.measures, scale_of(edition.study, edition.findings)
    lines = [
        (
            mark(row), clipped(row["measure_name"], 60) if "site" in row else "",
            length(row["length_m"], scale), fence_length(row["fence_m"], scale), passages(row),
            whole(row["openings"]),
        )
        for row in and_all(measures)
    ]  # fmt: skip
    return Table(
        ("Site", "Measure", "Length of road", "Fence, both sides and ends", "Passages",
         "Openings to guard"),
        tuple(lines), widths=(0.5, 2.2, 1.1, 1.5, 1.5, 1.1),
        caption="What to build, and how much",
    )  # fmt: skip


def _gains(measures: MeasureTables) -> Table:
    per = "a year" if measures.known else "as a share of those on watched roads"
    lines = [
        (
            mark(row),
            deaths_said(row, "deaths_per_year", measures, "" if "site" not in row else "not known"),
            deaths_said(row, "averted_per_year", measures),
            deaths_said(row, "moved_per_year", measures, "–"),
            included(row) if "site" in row else "",
        )
        for row in and_all(measures)
    ]
    return Table(
        ("Site", "Road deaths there now", "Averted", "Moved to the ends", "In, of 100 choices"),
        tuple(lines), widths=(0.5, 1.7, 1.7, 1.3, 1.3),
        caption=f"What that averts; deaths {per} (90 % intervals)",
        note="Averted is net of what moves to fence ends, which is a mean over the draws. Deaths "
        "and effects were drawn anew within what is known of them, and the choice made again: in "
        "so many of 100 the site is part of it. Intervals can't be added up, so all together have "
        "their own.",
    )  # fmt: skip


def _bill(edition: Edition) -> tuple[Block, ...]:
    """Return pay items with their quantities, a column a site."""
    measures = edition.findings.measures
    bill, names = measures.quantities, pay_items()
    if bill.empty:
        return ()
    sites = list(dict.fromkeys(bill["site"]))[:_SITE_COLUMNS]
    lines = []
    for key in dict.fromkeys(bill["item"]):
        mine = {row["site"]: row for row in rows(bill[bill["item"] == key])}
        first = next(iter(mine.values()))
        said = plain_text(key)
        lines.append((
            clipped(names[said].name if said in names else said, 70), clipped(first["unit"], 24),
            *(amount(mine[s]) if s in mine else "" for s in sites),
            *((unit_cost(first),) if measures.priced else ()), clipped(first["paid_by"], 40) or "–",
        ))  # fmt: skip
    money = ("Unit cost (low to high)",) if measures.priced else ()
    left = bill["site"].nunique() - len(sites)
    us = edition.study.settings.study.units == "us"
    notes = [
        "Pay items are in the price list's units: 1 m is 3.28 ft." if us else "",
        "Shares are a percentage of the works." if measures.priced else
        "Prices not confirmed: quantities only.",
        f"{left} more sites: measure_quantities.csv." if left > 0 else "",
    ]  # fmt: skip
    currency = clipped(measures.currency, 12)
    caption = "Pay items and quantities by site"
    caption += f"; costs in {currency}" if measures.priced and currency else ""
    return (Table(
        ("Pay item", "Unit", *(f"S{s:.0f}" for s in sites), *money, "Paid by"), tuple(lines),
        widths=(2.6, 1.4, *(0.6 for _ in sites), *(1.8 for _ in money), 1.1),
        caption=caption,
        note=" ".join(x for x in notes if x),
    ),)  # fmt: skip


def _design(kind: Measure, edition: Edition) -> Table:
    lines = design_rows(kind, edition.study.settings.study.units)
    return Table(
        ("What", "Middle (low to high)", "From"), tuple((*cells[:2], cells[2]) for cells in lines),
        widths=(1.7, 1.3, 4.0),
        caption=f"{kind.name}: values to start a design from; the engineer sets them",
    )  # fmt: skip
