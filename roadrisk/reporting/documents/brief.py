"""The brief: two pages that answer what a busy engineer asks."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from roadrisk.reporting.chance_words import p_short
from roadrisk.reporting.csv_text import plain_text
from roadrisk.reporting.deaths_cells import rows
from roadrisk.reporting.documents.blocks import (
    Document,
    Facts,
    PageBreak,
    Paragraph,
    Table,
)
from roadrisk.reporting.documents.facts import (
    OF_ALL,
    clipped,
    cost_words,
    doing_nothing,
    evidence_words,
    finding,
    motorists_words,
    payers,
    quantities,
    signs_alone,
    success_words,
    when_words,
)
from roadrisk.reporting.documents.figures import money_figure, months_chart, places_map
from roadrisk.reporting.documents.pdf import pdf_bytes
from roadrisk.reporting.documents.places import (
    first_places,
    owners,
    rank_sure,
    worst_200_m,
)
from roadrisk.reporting.editions.edition_words import banner_words, caution_words, cover_words
from roadrisk.reporting.measure_words import deaths_said, included
from roadrisk.reporting.measures_page import CAUTIONS
from roadrisk.reporting.measures_paid import all_sites
from roadrisk.reporting.provenance import provenance_line
from roadrisk.reporting.wording import (
    INVENTED_BANNER,
    NO_PROOF,
    SAFETY,
    and_words,
    credit,
    length_unit,
    ranked_by,
    study_line,
)

if TYPE_CHECKING:
    from roadrisk.measure_findings import MeasureTables
    from roadrisk.reporting.documents.blocks import Block
    from roadrisk.reporting.editions.edition import Edition

BRIEF = "brief.pdf"
QUESTIONS = (
    "Which 200 m first?",
    "How sure is that?",
    "How much fence, how many passages?",
    "What does it cost, and to keep up?",
    "What does it avert?",
    "What if we only sign?",
    "What if we do nothing?",
    "When in the year?",
    "Whose road, and where on it?",
    "What is in the way?",
    "How will we know it helped?",
    "And motorists?",
)
MOST_SITES = 5  # told one by one
_ON_FIRST = 4  # answers
# An eighth of a mile is 201 m.
FIRST_US = "Which 660 ft first?"
NOT_RECORDED = (
    "Nothing is recorded at these places; that nothing stands in the way is not known: look for "
    "driveways, culverts, parcels, utilities and drainage."
)
_DEFER = (
    "This brief is no design and no engineering judgement: the agency's licensed engineers decide, "
    "under local codes, standards and permits."
)


def brief_pdf(edition: Edition) -> bytes:
    """Return the brief: two pages, in the largest type that fits.

    Page 1: the finding in one sentence, the map, the first five places. Page 2: when, and deaths
    averted against money; the answers to `QUESTIONS`; cautions, contact, provenance.

    Parameters
    ----------
    edition : Edition

    Returns
    -------
    bytes
        PDF; the same edition gives the same bytes.
    """
    return pdf_bytes(brief_document(edition), template="brief.typ")


def brief_document(edition: Edition) -> Document:
    """Return the brief's content."""
    study, findings = edition.study, edition.findings
    settings = study.settings
    species, period = study_line(settings)
    banners = [INVENTED_BANNER] if settings.study.invented else []
    name = clipped(settings.study.name, 80)
    return Document(
        title=f"Road deaths at {name}: where, and what to do",
        subtitle=f"{clipped(species, 100)}; records of {period}",
        banner=(*banners, f"{banner_words(edition.kind)}."),
        running=f"{name}: brief for the road owner",
        foot=provenance_line(study, findings, edition.kind),
        blocks=(*_first_page(edition), PageBreak(), *_second_page(edition)),
        paper="us-letter" if settings.study.units == "us" else "a4",
        subject=f"Brief, {edition.kind} edition",
    )


def answers(edition: Edition) -> tuple[tuple[str, str], ...]:
    """Return `QUESTIONS`, each with its answer.

    Parameters
    ----------
    edition : Edition

    Returns
    -------
    tuple of (str, str)
    """
    said = (
        _first(edition),
        _sure(edition),
        _quantities(edition),
        " ".join(x for x in (cost_words(edition), payers(edition)) if x),
        _averts(edition),
        signs_alone(edition),
        doing_nothing(edition),
        when_words(edition),
        owners(edition),
        _in_the_way(edition),
        success_words(edition),
        motorists_words(edition),
    )
    us = edition.study.settings.study.units == "us"
    asked = (FIRST_US if us else QUESTIONS[0], *QUESTIONS[1:])
    return tuple(zip(asked, said, strict=True))


def _first_page(edition: Edition) -> tuple[Block, ...]:
    head = ("On map", "Where (both sides of the road)", "Road owner", "Length",
            _deaths_head(edition), "Proposed", "To build (low to high)")  # fmt: skip
    lines = [
        (_marked(p.mark, p.ranks) if p.mark.startswith("S") and p.ranks else p.mark,
         p.where, p.owner, p.length, p.deaths, p.proposed, p.cost)
        for p in first_places(edition)
    ]  # fmt: skip
    blocks: list[Block] = [Paragraph(finding(edition), "lead"), places_map(edition)]
    currency = clipped(edition.findings.measures.currency, 12)
    note = (f"Sites with works first, best for the {_per(edition.findings.measures)} first; then "
            "the worst pieces of road outside them. Ranks are of pieces of road by themselves. "
            "Ends with coordinates: ranked_stretches.csv, places.gpx.")  # fmt: skip
    if lines:
        blocks.append(Table(
            head, tuple(lines), widths=(1.0, 3.1, 1.1, 0.8, 1.5, 1.5, 1.6),
            caption=f"The first places{f'; costs in {currency}' if currency else ''}",
            note=note,
        ))  # fmt: skip
    else:
        blocks.append(Paragraph("No place is ranked and nothing is proposed.", "plain"))
    return (*blocks, Facts(answers(edition)[:_ON_FIRST]))


def _second_page(edition: Edition) -> tuple[Block, ...]:
    study = edition.study
    asked = study.settings.proposal
    pictures = [x for x in (months_chart(edition), money_figure(edition)) if x is not None]
    contact = (
        ("Who asks", clipped(asked.requested_by)), ("Contact", clipped(asked.contact)),
    )  # fmt: skip
    cautions = " ".join((_DEFER, *CAUTIONS[1:], SAFETY[0], NO_PROOF))
    edition_said = " ".join((*cover_words(edition.kind), caution_words(edition.kind)))
    return (
        *pictures,
        Facts(answers(edition)[_ON_FIRST:]),
        Paragraph(cautions, "caution"),
        Facts(contact),
        Paragraph(f"{edition_said} {credit(study)}.", "small"),
    )


def _marked(mark: str, ranks: str) -> str:
    return f"{mark} (rank{'s' * (',' in ranks)} {ranks})"


def _first(edition: Edition) -> str:
    worst = worst_200_m(edition) or "No piece of road is ranked: nothing was counted on any."
    measures = edition.findings.measures
    if measures.chosen.empty:
        return worst
    return f"{worst} To build first, best for the {_per(measures)}: S1."


def _per(measures: MeasureTables) -> str:
    """Return what sites are put in order by, as `measures_chosen` says it."""
    return "money" if measures.priced else "metre of fence"


def _deaths_head(edition: Edition) -> str:
    by = ranked_by(edition.findings.deaths)
    unit = length_unit(edition.study.settings.study.units)
    return {
        "relative": "Deaths (90 % interval)",
        "evidence": f"Crossings and reports per {unit} and year (interval)",
    }.get(by, "Deaths a year (90 % interval)")


def _sure(edition: Edition) -> str:
    findings = edition.findings
    chosen = [
        f"S{row['site']:.0f}\N{NO-BREAK SPACE}{included(row)}"
        for row in rows(findings.measures.chosen.iloc[:MOST_SITES])
        if np.isfinite(float(row["included_of_100"]))
    ]
    again = (
        "When deaths and effects are drawn anew within what is known, so many of 100 choices hold "
        f"the site: {', '.join(chosen)}{_more(edition)}."
        if chosen else ""
    )  # fmt: skip
    many, test = len(findings.stretches), findings.chance
    stand = "stretch stands" if many == 1 else "stretches stand"
    chance = {
        "stretches stand out": f"{many} {stand} out from the road around by more than chance "
        f"(p = {p_short(test.p_value, test.draws)}).",
        "none stands out": "No stretch stands out from the road around by more than chance.",
        "too few to tell": "Too few animals and observers to tell whether a stretch stands out.",
    }[test.verdict]
    return " ".join(x for x in (rank_sure(edition), chance, again) if x)


def _quantities(edition: Edition) -> str:
    measures = edition.findings.measures
    if measures.chosen.empty:
        return "None: nothing is proposed."
    sites = [
        f"S{row['site']:.0f}: {quantities(edition, row)}"
        for row in rows(measures.chosen.iloc[:MOST_SITES])
    ]
    if len(sites) == 1:
        return f"{sites[0]}."
    short = "; ".join(sites).replace(" (both sides, ends included)", "").replace(
        " (driveways, gates)", "")  # fmt: skip
    return f"All sites: {quantities(edition, all_sites(measures))}. {short}{_more(edition)}."


def _averts(edition: Edition) -> str:
    measures = edition.findings.measures
    if measures.chosen.empty:
        return clipped(measures.words, 300) or "Nothing is proposed."
    per = "deaths a year" if measures.known else OF_ALL
    sites = [
        f"S{row['site']:.0f}\N{NO-BREAK SPACE}{deaths_said(row, 'averted_per_year', measures)}"
        for row in rows(measures.chosen.iloc[:MOST_SITES])
    ]
    all_ = deaths_said(all_sites(measures), "averted_per_year", measures)
    each = f"; {', '.join(sites)}{_more(edition)}" if len(sites) > 1 else ""
    return (f"All sites {all_} {per} (90 % interval), net of deaths that move to fence ends{each}. "
            f"{evidence_words(edition)}")  # fmt: skip


def _more(edition: Edition) -> str:
    """Return how many sites an answer leaves out."""
    left = len(edition.findings.measures.chosen) - MOST_SITES
    return f" (and {left} more: measures.csv)" if left > 0 else ""


def _in_the_way(edition: Edition) -> str:
    measures = edition.findings.measures
    table = measures.constraints
    if measures.chosen.empty:
        return "Not looked at: no place for works is chosen."
    if table.empty:
        return NOT_RECORDED
    out, moments = [], []
    for site in sorted({int(s) for s in table["site"]})[:MOST_SITES]:
        mine = rows(table[table["site"] == site])
        # Why a structure can't be used stands in measures.html.
        inside = [
            clipped(plain_text(row["what"]).partition(" (")[0], 70)
            for row in mine if row["kind"] != "works"
        ]  # fmt: skip
        moments += [f"S{site} {clipped(row['what'], 60)}" for row in mine if row["kind"] == "works"]
        if inside:
            out.append(f"S{site}: {', '.join(inside)}")
    said = f"{'; '.join(out)}{_more(edition)}." if out else ""
    cheap = f" Cheap moments to build: {and_words(*moments)}." if moments else ""
    return f"{said}{cheap}".strip()
