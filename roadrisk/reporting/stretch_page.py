"""The stretches that stand out, one by one, as a page to print."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from roadrisk.reporting.editions.edition_words import banner_words, caution_words, cover_words
from roadrisk.reporting.map_layers import rows_of
from roadrisk.reporting.place_sheets import scale_of, stretch_lines, stretch_words
from roadrisk.reporting.power_words import power_heads, power_rows, power_sentence
from roadrisk.reporting.printed_page import escaped, printed_page
from roadrisk.reporting.provenance import provenance_line
from roadrisk.reporting.sheets import SHEETS
from roadrisk.reporting.stretch_letters import stretch_letter
from roadrisk.reporting.wording import (
    INVENTED_BANNER,
    NO_PROOF,
    SAFETY,
    count,
    credit,
    how_to_read,
    length_unit,
    study_line,
)
from roadrisk.reporting.year_chart import NO_STRETCH, chart_notes, undated, year_chart

if TYPE_CHECKING:
    from collections.abc import Sequence

    import pandas as pd

    from roadrisk.base.units import Units
    from roadrisk.findings import Findings
    from roadrisk.reporting.editions.edition import EditionKind
    from roadrisk.reporting.place_sheets import Scale
    from roadrisk.study import Study

STRETCHES_PAGE = "stretches.html"


def stretches_html(
    study: Study, findings: Findings, *, kind: EditionKind = "confidential"
) -> bytes:
    """Return a page with a sheet for each stretch that stands out: ends, chance, years.

    Parameters
    ----------
    study : Study
    findings : Findings
    kind : {"confidential", "agency"}
        Edition that both were made for.

    Returns
    -------
    bytes
        UTF-8; no script, no request, one sheet of paper a stretch. All text from data is
        escaped. The same study and findings give the same bytes.
    """
    settings = study.settings
    scale = scale_of(study, findings)
    species, period = study_line(settings)
    banners = [INVENTED_BANNER] if settings.study.invented else []
    head = [
        *(f'<p class="banner">{escaped(words)}</p>' for words in (*banners, banner_words(kind))),
        f"<h1>{escaped(settings.study.name)}</h1>",
        f'<p class="small">{escaped(species)}; {escaped(period)}</p>',
        f'<p class="small">{escaped(" ".join(cover_words(kind)))}</p>',
        f'<p class="verdict">{escaped(findings.deaths.words)}</p>',
        f'<p class="verdict">{escaped(findings.chance.words)}</p>',
        f'<p class="small">{escaped(power_sentence(findings))}</p>',
        *(_summary(row, scale) for row in rows_of(findings.stretches)),
    ]
    articles = [
        _article(row, findings, scale, chart_notes(findings.stretch_years, settings))
        for row in rows_of(findings.stretches)
    ]
    words = [
        findings.chance.method, *how_to_read(settings, findings.deaths), caution_words(kind),
        *SAFETY, credit(study), provenance_line(study, findings, kind),
    ]  # fmt: skip
    foot = [
        "<h2>What could be found at all</h2>",
        f'<p class="small">{escaped(findings.chance.power)}</p>',
        *_power(findings, settings.study.units),
        "<h2>How to read this</h2>",
        *(f'<p class="small">{escaped(sentence)}</p>' for sentence in words if sentence),
    ]
    title = f"Stretches that stand out: {settings.study.name}"
    body = "\n".join([
        "<header>", *head, "</header>", *(articles or [f"<p>{escaped(NO_STRETCH)}</p>",
        f"<p>{escaped(NO_PROOF)}</p>"]), "<footer>", *foot, "</footer>",
    ])  # fmt: skip
    return printed_page(title, body, ["stretches.css"])


def _summary(row: dict[str, Any], scale: Scale) -> str:
    letter, words = stretch_letter(row["stretch"]), "; ".join(stretch_words(row, scale))
    return f"<p><b>{letter}</b> {escaped(words)}</p>"


def _article(row: dict[str, Any], findings: Findings, scale: Scale, notes: list[str]) -> str:
    which = int(row["stretch"])
    years = findings.stretch_years
    years = years[years["stretch"] == which]
    ranked = findings.ranked[findings.ranked["stretch"] == which]
    labels = [label.format(unit=length_unit(scale.units)) for label in SHEETS["stretches"]]
    lines = zip(labels, stretch_lines(row, years, ranked, scale), strict=True)
    out = ["<article>", f"<h2>Stretch {stretch_letter(which)}</h2>", "<dl>"]
    out += [f"<dt>{escaped(a)}</dt><dd>{escaped(b)}</dd>" for a, b in lines if b]
    out.append("</dl>")
    chart = year_chart(years, which)
    if chart:
        captions = [undated(row, years), *notes]
        said = " ".join(caption for caption in captions if caption)
        out += ["<figure>", chart, f"<figcaption>{escaped(said)}</figcaption>", "</figure>",
                _table(years)]  # fmt: skip
    out.append("</article>")
    return "\n".join(out)


def _table(years: pd.DataFrame) -> str:
    heads = ("Year", "Reports here", "Observers here", "Reports everywhere",
             "Here, at the usual share")  # fmt: skip
    names = ("year", "reports", "observers", "reports_everywhere", "reports_at_usual_share")
    rows = [
        [f"{row['year']:.0f}", *(count(row[name]) for name in names[1:])]
        for row in years.to_dict("records")
    ]
    return _rows(heads, rows)


def _power(findings: Findings, units: Units) -> list[str]:
    rows = power_rows(findings, units)
    return [_rows(power_heads(), rows)] if rows else []


def _rows(heads: Sequence[str], rows: Sequence[Sequence[str]]) -> str:
    head = "".join(f'<th scope="col">{escaped(words)}</th>' for words in heads)
    body = "\n".join(
        "<tr>" + "".join(f"<td>{escaped(cell)}</td>" for cell in row) + "</tr>" for row in rows
    )
    return f"<table>\n<thead><tr>{head}</tr></thead>\n<tbody>\n{body}\n</tbody>\n</table>"
