"""The proposal: six to twelve pages, in the order in which road agencies ask."""

from __future__ import annotations

from typing import TYPE_CHECKING

from roadrisk.records.own_texts import SECTIONS
from roadrisk.reporting.documents.blocks import Document, Heading, Paragraph
from roadrisk.reporting.documents.facts import clipped, finding
from roadrisk.reporting.documents.proposal_after import cost, maintenance, monitoring, permits
from roadrisk.reporting.documents.proposal_basis import cautions, methods, references
from roadrisk.reporting.documents.proposal_case import location, need, objective, request
from roadrisk.reporting.documents.proposal_choice import alternatives, constraints, existing
from roadrisk.reporting.documents.proposal_text import SECTION_NUMBERS, own_words
from roadrisk.reporting.documents.proposal_works import recommended
from roadrisk.reporting.editions.edition_words import banner_words, cover_words
from roadrisk.reporting.provenance import provenance_line
from roadrisk.reporting.wording import INVENTED_BANNER, study_line

if TYPE_CHECKING:
    from collections.abc import Callable

    from roadrisk.reporting.documents.blocks import Block
    from roadrisk.reporting.editions.edition import Edition

PROPOSAL_PDF, PROPOSAL_WORD = "proposal.pdf", "proposal.docx"
TITLES = {
    "request": "Request and sponsoring agency",
    "location": "Location: route, measures, owner",
    "need": "Need, species and legal status",
    "objective": "Objective",
    "existing": "Existing structures and past measures",
    "alternatives": "Alternatives, doing nothing among them",
    "recommended": "Recommended measures and quantities",
    "constraints": "Constraints, and questions for the agency's engineer",
    "cost": "Cost and funding",
    "maintenance": "Maintenance and its owner",
    "permits": "Permits",
    "monitoring": "Monitoring, success, and what happens if it fails",
    "methods": "Methods and limits",
    "references": "References",
    "cautions": "Cautions",
}
_BUILDERS: dict[str, Callable[[Edition], tuple[Block, ...]]] = {
    "request": request, "location": location, "need": need, "objective": objective,
    "existing": existing, "alternatives": alternatives, "recommended": recommended,
    "constraints": constraints, "cost": cost, "maintenance": maintenance, "permits": permits,
    "monitoring": monitoring, "methods": methods, "references": references, "cautions": cautions,
}  # fmt: skip


def proposal(edition: Edition) -> Document:
    """Return the proposal's content, for `pdf.pdf_bytes` and `word.word_bytes`.

    The finding in one sentence, then the sections of `TITLES` in their order. What only people
    know comes from ``[proposal]`` in study.toml, else a line is left to fill in; a person's own
    paragraphs stand at the end of their section, as they are written. Nothing is computed here:
    what the findings don't hold is said not to be known.

    Parameters
    ----------
    edition : Edition
        Confidential or agency.

    Returns
    -------
    Document
        The same edition gives the same document.
    """
    study, findings = edition.study, edition.findings
    settings = study.settings
    species, period = study_line(settings)
    name = clipped(settings.study.name, 80)
    banners = [INVENTED_BANNER] if settings.study.invented else []
    blocks: list[Block] = [
        Paragraph(finding(edition), "lead"),
        Paragraph(" ".join(cover_words(edition.kind)), "small"),
    ]
    for key in SECTIONS:
        blocks.append(Heading(f"{SECTION_NUMBERS[key]}  {TITLES[key]}"))
        blocks += _BUILDERS[key](edition)
        blocks += own_words(key, study.texts)
    return Document(
        title=f"Proposal against road deaths at {name}",
        subtitle=f"{clipped(species, 100)}; records of {period}",
        banner=(*banners, f"{banner_words(edition.kind)}."),
        running=f"{name}: proposal to the road owner",
        foot=provenance_line(study, findings, edition.kind),
        blocks=tuple(blocks),
        paper="us-letter" if settings.study.units == "us" else "a4",
        subject=f"Proposal, {edition.kind} edition",
    )
