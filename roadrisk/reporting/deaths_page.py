"""How many die, when, where and how sure that is: a page to print."""

from __future__ import annotations

from typing import TYPE_CHECKING

from roadrisk.reporting.deaths_places import (
    NESTS_HEAD,
    both_routes,
    by_nests,
    by_road,
    by_unit,
    worst_places,
)
from roadrisk.reporting.deaths_population import of_adults, of_growth, of_survival
from roadrisk.reporting.deaths_trust import how_sure
from roadrisk.reporting.deaths_when import by_time_and_place
from roadrisk.reporting.editions.edition_words import banner_words, caution_words, cover_words
from roadrisk.reporting.place_sheets import scale_of
from roadrisk.reporting.printed_page import escaped, paragraph, printed_page
from roadrisk.reporting.provenance import provenance_line
from roadrisk.reporting.survival_chart import NO_STEP
from roadrisk.reporting.wording import (
    INVENTED_BANNER,
    NO_PROOF,
    SAFETY,
    credit,
    study_line,
)

if TYPE_CHECKING:
    from roadrisk.findings import Findings
    from roadrisk.reporting.editions.edition import EditionKind
    from roadrisk.study import Study

DEATHS_PAGE = "deaths.html"
CURVE_WITHHELD = (
    "The curve's steps are the days on which single animals died: it is in the confidential "
    "edition. Survival over a year stands in the table."
)
NESTS_WITHHELD = (
    "Nests and walks to them are in the confidential edition alone: near a road even their number "
    "leads to places."
)


def deaths_html(study: Study, findings: Findings, *, kind: EditionKind = "confidential") -> bytes:
    """Return a page of all that is known of road deaths, and of what isn't.

    In this order: how many in one sentence; both routes to the number, before they are joined;
    deaths by road; the worst places; by who keeps the road; when, where and of which sex; the
    population; how sure that is; nests; notes; cautions.

    Parameters
    ----------
    study : Study
    findings : Findings
    kind : {"confidential", "agency"}
        Edition that both were made for.

    Returns
    -------
    bytes
        UTF-8; no script and no request. All text from data is escaped. The same study and
        findings give the same bytes.
    """
    deaths, scale = findings.deaths, scale_of(study, findings)
    whole = kind == "confidential"
    sections = [
        both_routes(deaths, scale),
        by_road(deaths, scale),
        worst_places(findings, scale),
        by_unit(deaths, scale),
        by_time_and_place(deaths),
        of_adults(study, deaths),
        of_survival(study, deaths, no_curve=NO_STEP if whole else CURVE_WITHHELD),
        of_growth(study, deaths),
        how_sure(deaths, scale),
        by_nests(deaths, scale) if whole else [NESTS_HEAD, paragraph(NESTS_WITHHELD)],
        ["<h2>What stands behind these numbers, and what isn't known</h2>",
         *(paragraph(note, "small") for note in deaths.notes)],
    ]  # fmt: skip
    inside = ["\n".join(["<section>", *lines, "</section>"]) for lines in sections if lines]
    body = "\n".join(
        [*_head(study, findings, kind), "<main>", *inside, "</main>", *_foot(study, findings, kind)]
    )
    return printed_page(f"Road deaths: {study.settings.study.name}", body,
                        ["stretches.css", "deaths.css"])  # fmt: skip


def _head(study: Study, findings: Findings, kind: EditionKind) -> list[str]:
    settings = study.settings
    species, period = study_line(settings)
    banners = [INVENTED_BANNER] if settings.study.invented else []
    return [
        "<header>",
        *(paragraph(banner, "banner") for banner in (*banners, banner_words(kind))),
        f"<h1>Road deaths: {escaped(settings.study.name)}</h1>",
        paragraph(f"{species}; {period}", "small"),
        paragraph(" ".join(cover_words(kind)), "small"),
        paragraph(findings.deaths.words, "verdict"),
        "</header>",
    ]


def _foot(study: Study, findings: Findings, kind: EditionKind) -> list[str]:
    line = provenance_line(study, findings, kind)
    said = [*SAFETY, caution_words(kind), NO_PROOF, credit(study), line]
    words = [paragraph(sentence, "small") for sentence in said if sentence]
    return ["<footer>", "<h2>Care</h2>", *words, "</footer>"]
