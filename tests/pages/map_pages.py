"""Maps for the tests in a browser, and what they ask of a page again and again."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

from axe_playwright_python.sync_playwright import Axe

from roadrisk.reporting.deaths_page import deaths_html
from roadrisk.reporting.editions.making import make_edition
from roadrisk.reporting.map import map_html
from roadrisk.reporting.measures_page import measures_html
from roadrisk.reporting.stretch_page import stretches_html
from tests.reporting import made_up

if TYPE_CHECKING:
    from playwright.sync_api import Page

    from roadrisk.findings import Findings
    from roadrisk.reporting.editions.edition import Edition, EditionKind

# The made-up reports say nothing of sex.
SEXES = ("female", "male", "")
# An element's tag, id, class and the beginning of its text.
SAID = """(e) => {
  const text = (e.innerText || e.value || e.getAttribute("aria-label") || "").trim();
  return `${e.tagName.toLowerCase()}#${e.id}.${e.className} ${text.slice(0, 40)}`;
}"""


def findings() -> Findings:
    """Return the made-up findings, with females and males among the reports."""
    known = made_up.findings()
    sex = [SEXES[k // 2 % 3] for k in range(len(known.sightings))]
    return replace(known, sightings=known.sightings.assign(sex=sex))


def edition(kind: EditionKind = "agency", units: str = "metric") -> Edition:
    """Return an edition of the made-up study."""
    return make_edition(made_up.study(units=units), findings(), kind)


def pages(made: Edition) -> dict[str, bytes]:
    """Return the map and the pages to print of an edition, by their usual names."""
    study, known, kind = made.study, made.findings, made.kind
    return {
        "map": map_html(made),
        "stretches": stretches_html(study, known, kind=kind),
        "deaths": deaths_html(study, known, kind=kind),
        "measures": measures_html(study, known, known.measures, kind=kind),
    }


def unfold(page: Page) -> None:
    """Open what is folded on a small screen."""
    page.evaluate("document.querySelectorAll('#panel, #legend').forEach((e) => { e.open = true; })")


def barriers(page: Page) -> list[str]:
    """Return what axe-core calls serious or critical; https://github.com/dequelabs/axe-core."""
    report = Axe().run(page).response
    return [
        f"{v['impact']}: {v['id']}: {len(v['nodes'])} times: {v['nodes'][0]['html'][:160]}"
        for v in report["violations"]
        if v["impact"] in ("serious", "critical")
    ]


def focused(page: Page) -> str:
    """Return what has the keyboard, as `SAID` says it."""
    return str(page.evaluate(f"({SAID})(document.activeElement)"))
