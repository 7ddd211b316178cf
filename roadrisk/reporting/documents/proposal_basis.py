"""The proposal's last sections: methods and limits, references, cautions."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from roadrisk.mortality.population import BOUNDS
from roadrisk.reporting.csv_text import plain_text
from roadrisk.reporting.deaths_cells import length_cell, rows
from roadrisk.reporting.documents.blocks import Bullets, Heading, Paragraph, Table
from roadrisk.reporting.documents.facts import KILLED, clipped, motorists_words
from roadrisk.reporting.documents.proposal_text import paragraphs, points, sentences
from roadrisk.reporting.editions.edition_words import caution_words
from roadrisk.reporting.measures_page import CAUTIONS
from roadrisk.reporting.wording import NO_PROOF, SAFETY, basis, count, credit, short_length

if TYPE_CHECKING:
    from collections.abc import Iterator

    from roadrisk.reporting.documents.blocks import Block
    from roadrisk.reporting.editions.edition import Edition

# As the methods themselves cite them; see the modules named.
_KERNEL = (  # hotspots/kernels.py
    "Okabe, Satoh & Sugihara 2009, Int. J. Geogr. Inf. Sci. 23:7-32: values smoothed along roads."
)
_SCAN = (  # hotspots/scan.py
    "Kulldorff 1997, Commun. Stat. Theory Methods 26:1481-1496 (from memory): where a stretch "
    "starts and ends."
)
_CARCASSES = (  # mortality/counted_chance.py
    "Huso 2011, Environmetrics 22:318-329 (formula from memory), and Erickson and others 2004 "
    "after Shoenfeld (formula from memory): the two formulas that deaths from carcasses are "
    "compared with."
)
_KILL = (  # mortality/kill_chance.py
    "Hels & Buchwald 2001, Biological Conservation 99:331-340 (formula from memory): the chance "
    "that a crossing kills."
)
_STAGES = (  # mortality/projection.py
    "Crouse, Crowder & Caswell 1987; Caswell 2001, section 6.4 (from memory): growth from rates "
    "by stage."
)


def methods(edition: Edition) -> tuple[Block, ...]:
    """Return what the numbers rest on, and what isn't known.

    Parameters
    ----------
    edition : Edition

    Returns
    -------
    tuple of Block
    """
    study, findings = edition.study, edition.findings
    deaths, measures = findings.deaths, findings.measures
    units = study.settings.study.units
    unwatched = ""
    if len(deaths.roads):
        row = rows(deaths.roads)[0]
        km = float(row["length_km"]) - float(row["watched_km"])
        unwatched = short_length(1000 * km, units) if np.isfinite(km) and km > 0 else ""
    adults = any(np.isfinite(float(row[KILLED])) for row in rows(deaths.population))
    speed = any(
        "speed" in plain_text(row["what"]) and not np.isfinite(float(row["averted_per_year"]))
        for row in rows(measures.what_if)
    )
    works = len(measures.chosen) > 0
    return (
        *paragraphs("methods", "method", basis=f"places are put in order by {basis(units, deaths)}",
                    works=works, known=deaths.known),
        *paragraphs("methods", "chance", "small", chance=findings.chance.method),
        *_sources(edition),
        *_notes(edition),
        Heading("What isn't known", 2),
        *points("methods", "unknown", ordered=deaths.ordered, known=deaths.known,
                unwatched=unwatched, adults=adults, speed=speed,
                crashes=study.crashes is not None, priced=measures.priced,
                works=works),
    )  # fmt: skip


def references(edition: Edition) -> tuple[Block, ...]:
    """Return the sources that measures and methods of this run cite."""
    return (
        *paragraphs("references", "limits", "small"),
        Bullets((*_of_measures(edition), *_of_methods(edition)), "small"),
    )


def cautions(edition: Edition) -> tuple[Block, ...]:
    """Return what to mind: who decides, safety, secrecy."""
    defer = sentences("cautions", "defer")
    said = (*defer, *CAUTIONS[1:], motorists_words(edition), *SAFETY,
            caution_words(edition.kind), NO_PROOF)  # fmt: skip
    source = credit(edition.study)
    return (
        Bullets(said, "caution"),
        *((Paragraph(f"{source}.", "small"),) if source else ()),
    )


def _sources(edition: Edition) -> tuple[Block, ...]:
    table, units = edition.findings.deaths.sources, edition.study.settings.study.units
    if table.empty:
        return ()
    unit = "miles" if units == "us" else "km"
    lines = tuple(
        (clipped(row["source"], 80), count(round(float(row["counted"]), 1)),
         length_cell(row["watched_km"], units), "how many and where" if row["how_many"] else
         "where alone")
        for row in rows(table)
    )  # fmt: skip
    return (Table(("Source", "Counted", f"Roads, {unit}", "Tells"), lines,
                  widths=(3.0, 1.0, 1.0, 1.6),
                  caption="What deaths are judged from"),)  # fmt: skip


def _notes(edition: Edition) -> tuple[Block, ...]:
    """Return what stands behind the choice; of signs only where they are chosen.

    What other sections say isn't said again.
    """
    measures = edition.findings.measures
    if measures.chosen.empty:
        return ()
    signs = any(plain_text(x).startswith("sign") for x in measures.chosen["measure"])
    about = ("crash record", "existing fences", *(() if signs else ("sign", "Sign", "symbols")))
    notes = [clipped(note, 700) for note in measures.notes
             if not any(word in note for word in about)]  # fmt: skip
    if not notes:
        return ()
    said = paragraphs("methods", "behind", notes=True)
    return (*said, Bullets(tuple(dict.fromkeys(notes)), "small"))


def _of_measures(edition: Edition) -> Iterator[str]:
    measures = edition.findings.measures
    keys = {plain_text(key) for key in measures.chosen["measure"]} if len(measures.chosen) else None
    for row in rows(measures.effects):
        key = plain_text(row["measure"])
        # Without works nothing is chosen; of signs the proposal speaks either way.
        if keys is not None and key not in keys and key != "sign_standing":
            continue
        name = clipped(row["name"], 80)
        yield f"{name}, effect: {clipped(row['source'], 500) or 'source not given'}."
        if keys is not None and key not in keys:
            continue
        built = [part.strip() for part in plain_text(row["precedents"]).split("|")]
        for part in built:
            if part and part != "none found":
                yield f"{name}, built before: {clipped(part, 400)}."


def _of_methods(edition: Edition) -> Iterator[str]:
    findings = edition.findings
    deaths = findings.deaths
    by_crossings = deaths.sources["source"].astype(str).str.contains("crossings").any()
    yield _KERNEL
    if len(findings.stretches):
        yield _SCAN
    if len(deaths.carcasses):
        yield _CARCASSES
    if by_crossings:
        yield _KILL
    if len(deaths.population):
        yield f"What share of the adults a population bears: {'; '.join(BOUNDS)}."
    if len(deaths.growth):
        yield _STAGES
