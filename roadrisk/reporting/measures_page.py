"""What to do where, what it costs and what it averts: a page to print."""

from __future__ import annotations

from typing import TYPE_CHECKING

from roadrisk.reporting.editions.edition_words import banner_words, caution_words, cover_words
from roadrisk.reporting.measure_words import PLACEHOLDERS, gap_words
from roadrisk.reporting.measures_around import constraints, effects, signs, structures, what_if
from roadrisk.reporting.measures_chosen import alternatives, bills, sites
from roadrisk.reporting.measures_design import designs, season_words
from roadrisk.reporting.place_sheets import scale_of
from roadrisk.reporting.printed_page import escaped, paragraph, printed_page
from roadrisk.reporting.provenance import provenance_line
from roadrisk.reporting.wording import (
    INVENTED_BANNER,
    NO_PROOF,
    SAFETY,
    credit,
    study_line,
)

if TYPE_CHECKING:
    from collections.abc import Sequence

    from roadrisk.findings import Findings
    from roadrisk.measure_findings import MeasureTables
    from roadrisk.reporting.editions.edition import EditionKind
    from roadrisk.study import Study

MEASURES_PAGE = "measures.html"
# Common practice of road and conservation agencies; no list of any one code.
CAUTIONS = (
    "This is a proposal, no design: drawings, drainage, clear zones, guard rails and sight lines "
    "are for licensed engineers, under local codes and the road owner's standards.",
    "Work on or beside a road only with permits, traffic control and trained crews. Work in "
    "wetlands, on private land or at habitat needs permits of its own, and its season.",
    "A fence needs inspection, at least before and after the active season and after storms and "
    "mowing: through a breach animals come onto the road and can't leave it.",
    "Before a fence is closed the inside is searched, by people permitted to handle the animals.",
    "Openings for driveways and paths let animals in: each needs a guard, a gate or a return.",
)
MOTORISTS = (
    "Motorists: fence ends, posts, signs, slower or detoured traffic change their safety too; the "
    "road owner's safety review comes first."
)
NO_CRASHES = " No crash records supplied."


def measures_html(
    study: Study,
    findings: Findings,
    measures: MeasureTables,
    *,
    kind: EditionKind = "confidential",
) -> bytes:
    """Return a page of what is proposed, what it averts and costs, and what that rests on.

    In this order: the answer in one sentence; the sites; other choices and the curve of deaths
    averted against money; what traffic and speed would do; what must be settled first;
    structures; signs; the bill of quantities; how it is built; what effects rest on; notes;
    cautions.

    Parameters
    ----------
    study : Study
    findings : Findings
    measures : MeasureTables
        Of the same study.
    kind : {"confidential", "agency"}
        Edition that all were made for.

    Returns
    -------
    bytes
        UTF-8; no script and no request. All text from data is escaped. The same arguments give
        the same bytes.
    """
    scale = scale_of(study, findings)
    notes = [paragraph(note, "small") for note in _once(measures.notes)]
    season = season_words(study.profile.months("likely"))
    years = study.settings.mitigation.horizon_years
    sections = [
        sites(measures, scale, years),
        alternatives(measures, scale, study.settings.mitigation.budget_covers),
        what_if(measures),
        constraints(measures, season) if measures.proposed else [],
        structures(measures),
        signs(measures, scale),
        bills(measures, scale),
        designs(measures, study.settings),
        effects(measures),
        ["<h2>What stands behind these numbers, and what isn't known</h2>", *notes]
        if notes else [],
    ]  # fmt: skip
    inside = ["\n".join(["<section>", *lines, "</section>"]) for lines in sections if lines]
    body = "\n".join([*_head(study, measures, kind), "<main>", *inside, "</main>",
                      *_foot(study, findings, measures, kind)])  # fmt: skip
    return printed_page(f"What to do where: {study.settings.study.name}", body,
                        ["stretches.css", "deaths.css", "measures.css"])  # fmt: skip


def _head(study: Study, measures: MeasureTables, kind: EditionKind) -> list[str]:
    settings = study.settings
    species, period = study_line(settings)
    banners = [INVENTED_BANNER] if settings.study.invented else []
    sure = gap_words(measures)
    return [
        "<header>",
        *(paragraph(banner, "banner") for banner in (*banners, banner_words(kind))),
        f"<h1>What to do where: {escaped(settings.study.name)}</h1>",
        paragraph(f"{species}; {period}", "small"),
        paragraph(" ".join(cover_words(kind)), "small"),
        paragraph(measures.words, "verdict"),
        *([paragraph(sure)] if sure else []),
        *([paragraph(PLACEHOLDERS)] if measures.proposed and not measures.priced else []),
        "</header>",
    ]


def _once(notes: Sequence[str]) -> list[str]:
    """Leave out notes that another one says too, with more words or earlier."""
    bare = [note.rstrip(".") for note in notes]
    return [
        note for k, note in enumerate(notes)
        if not any(other.startswith(bare[k]) and (other != bare[k] or j < k)
                   for j, other in enumerate(bare) if j != k)
    ]  # fmt: skip


def _foot(
    study: Study, findings: Findings, measures: MeasureTables, kind: EditionKind
) -> list[str]:
    told = any(NO_CRASHES.strip(" .") in note for note in measures.notes)
    motorists = MOTORISTS + (NO_CRASHES if study.crashes is None and not told else "")
    said = [*CAUTIONS, motorists, _money(study), *SAFETY, caution_words(kind), NO_PROOF,
            credit(study), provenance_line(study, findings, kind)]  # fmt: skip
    words = [paragraph(sentence, "small") for sentence in said if sentence]
    return ["<footer>", "<h2>Care</h2>", *words, "</footer>"]


def _money(study: Study) -> str:
    """Return over which time money is counted, and that an animal has no price."""
    said = study.settings.mitigation
    value = "" if said.value_per_animal is not None else " No value is put on an animal."
    return (
        f"Money: over {said.horizon_years} years, at {said.discount_percent:g} % a year; a budget "
        f"covers {said.budget_covers}.{value}"
    )
