"""The proposal: what it says of a made-up study, by hand, and of poorer ones no more than known."""

from __future__ import annotations

import io
from dataclasses import replace
from typing import TYPE_CHECKING, Any

import docx
import numpy as np
import pandas as pd
import pypdf
import pytest

from roadrisk.records.own_texts import SECTIONS
from roadrisk.release_settings import ProposalSection
from roadrisk.reporting.documents import proposal_case, proposal_choice
from roadrisk.reporting.documents.blocks import (
    Bullets,
    Document,
    Facts,
    Figure,
    Heading,
    Paragraph,
    Table,
)
from roadrisk.reporting.documents.facts import finding
from roadrisk.reporting.documents.pdf import pdf_bytes
from roadrisk.reporting.documents.proposal import TITLES, proposal
from roadrisk.reporting.documents.proposal_choice import QUESTIONS
from roadrisk.reporting.documents.proposal_text import IN_THEIR_WORDS
from roadrisk.reporting.documents.word import shown, word_bytes
from tests.reporting import made_up, made_up_deaths, made_up_measures
from tests.reporting.documents.test_word import PNG
from tests.reporting.made_up_edition import confidential

if TYPE_CHECKING:
    from collections.abc import Callable

    from roadrisk.findings import Findings
    from roadrisk.measure_findings import MeasureTables
    from roadrisk.reporting.editions.edition import Edition

HOSTILE = (made_up.SCRIPT, "{{ 7 * 191 }}{% for x in y %}", made_up_measures.HOSTILE)
SHARES = ("averted_per_year", "averted_per_year_low", "averted_per_year_high")


def _of(change: Callable[[Findings], Findings]) -> Edition:
    return confidential(change(made_up.findings()))


def _with(edition: Edition, change: Callable[[MeasureTables], MeasureTables]) -> Edition:
    findings = edition.findings
    return replace(edition, findings=replace(findings, measures=change(findings.measures)))


def _asked(edition: Edition, **said: Any) -> Edition:
    settings = edition.study.settings.model_copy(update={"proposal": ProposalSection(**said)})
    return replace(edition, study=replace(edition.study, settings=settings))


def _by_section(document: Document) -> dict[str, str]:
    """Return each section's words, tables and lists among them; "" for what stands before."""
    keys = {title: key for key, title in TITLES.items()}
    out: dict[str, list[str]] = {"": []}
    key = ""
    for block in document.blocks:
        if isinstance(block, Heading) and block.level == 1:
            key = keys[block.text.partition("  ")[2]]
            out[key] = []
        elif isinstance(block, Heading | Paragraph):
            out[key].append(block.text)
        elif isinstance(block, Bullets):
            out[key] += block.items
        elif isinstance(block, Facts):
            out[key] += [f"{label}: {said or '____'}" for label, said in block.pairs]
        elif isinstance(block, Table):
            lines = (block.head, *block.rows)
            out[key] += [block.caption, *(" | ".join(line) for line in lines), block.note]
        elif isinstance(block, Figure):
            out[key].append(block.caption)
    return {k: "\n".join(v).replace("\N{NO-BREAK SPACE}", " ") for k, v in out.items()}


@pytest.fixture
def drawn() -> None:
    """Ask for true pictures."""


@pytest.fixture(autouse=True)
def _undrawn(request: pytest.FixtureRequest, monkeypatch: pytest.MonkeyPatch) -> None:
    """Leave pictures out of tests of words: drawing takes most of the time."""
    if "drawn" in request.fixturenames:
        return
    blank = Figure(
        b"<svg xmlns='http://www.w3.org/2000/svg' width='9' height='9'/>", PNG, "blank", "", 0.1
    )
    for room, names in ((proposal_case, ("months_chart", "places_map", "roads_chart")),
                        (proposal_choice, ("choices_chart", "money_figure"))):  # fmt: skip
        for name in names:
            monkeypatch.setattr(room, name, lambda _: blank)


@pytest.fixture(scope="module")
def edition() -> Edition:
    return confidential()


@pytest.fixture(scope="module")
def said(edition: Edition) -> dict[str, str]:
    return _by_section(proposal(edition))


EXPECTED = {
    "request": ("Asked for: fence with passages at 1 site, fence led to culverts at 1 site and "
                "seasonal signs at 1 site, 1.2 km of road in all, as section 7 lists them",
                "Asked of: ____", "Date: ____"),
    "location": ("the others by their distance from the nearest junction",
                 "isn't on record at S3", "S1 | SR 12, mile 1.90 to 2.50 (Heron Road) | SR 12, "
                 "mile 1.90 (Heron Road) (52.20522, 19.41802)", "| 600 m | County (invented)",
                 "S1 | secondary | 4,200 (2019) | 90 km/h | 2", "S3 | residential | not known"),
    "need": ("About 4.2 animals die a year", "1 stretch stands out", "p = 0.001 or less",
             "may rank 1 to 7", "County (invented) | 9.6 | 4.8 | 4.2 (1.7 to 8.4)",
             "all adults, by crossings | 3.1 (1.2 to 6.2) | 0.72 | 0.53",
             "Both intervals leave it open whether numbers grow or shrink",
             "Legal status: ____", "in April to October, by the species profile"),
    "objective": ("Deaths at the sites fall as expected, by about 1.2 (0.48 to 2.4) deaths a "
                  "year.", "By the year: ____", "of about 1.7 that die at the sites now"),
    "existing": ("culvert C-7 | Heron Road | not usable | perched 0.6 m | survey this first",
                 "measures.html has 1 more", "No existing fences were given: none is assumed",
                 "Past measures, and how they went: ____"),
    "alternatives": ("do nothing | 0 | – | 0 | 0 |", "as proposed | 3 | 1.2 km | 388,000 | "
                     "1.2 (0.48 to 2.4) | 3", "Do nothing: averts less than what is proposed, "
                     "intervals apart. Fence the stretch that stands out: no difference from what "
                     "is proposed is shown, since intervals overlap.",
                     "A sign alone has no proven effect",
                     "half the traffic in active hours | 2.4 (0.96 to 4.8) | 1.8 (0.72 to 3.6)"),
    "recommended": ("S1 | fence with passages | 600 m | 1,240 m | 2 new | 1",
                    "all |  | 1.2 km | 1,880 m | 2 new, 1 there | 1",
                    "S1 | 1.2 (0.48 to 2.4) | 0.9 (0.36 to 1.8) | 0.1 | 97",
                    "exclusion fence, supplied and built | m | 1,240 |  |  | 85 (60 to 140)",
                    "height above ground | 0.6 m (0.3 to 1 m) |", "build both, or neither",
                    "none was measured here"),
    "constraints": ("S3 | driveway at the mill | the fence opens here",
                    "S1 resurfacing planned for 2027",
                    "Right-of-way | S1: see the table above |",
                    "Clear zone | limits and traffic: section 2; verges: no |",
                    "Utilities | not in the study's data |"),
    "cost": ("To build 261,000 (184,000 to 396,000) EUR", "Funding: ____",
             "all | 261,000 (184,000 to 396,000) | 6,500 | 388,000 |"),
    "maintenance": ("Kept up by: ____", "walk both sides 1 to 4 times a year", "Passages: keep",
                    "seasonal signs at the roadside", "Upkeep is put at 6,500 EUR a year"),
    "permits": ("Permits that are needed: ____", "Ask before building: S1 private land of",
                "Protected species: handling"),
    "monitoring": ("lies wholly below no change", "Deaths at the sites | before the works, and 3 "
                   "years after them", "isn't worked out in this draft",
                   "Few die at the sites in a year", "mend them, and count the year",
                   "If no change is shown: that isn't yet a failure"),
    "methods": ("carcass surveys | 6 | 3.2 | how many and where",
                "public reports of dead animals | 23.1 | 9.6 | where alone",
                "While every number here is invented", "What isn't known",
                "4.8 km of road were watched by no source", "no crash records were supplied"),
    "references": ("fence with passages, effect: invented source of 2010.",
                   "built before: another one.", "Okabe, Satoh & Sugihara 2009", "Kulldorff 1997",
                   "Hels & Buchwald 2001", "Gibbs & Shriver 2002", "Caswell 2001"),
    "cautions": ("no engineering judgement", "No finding is no proof of safety",
                 "Never stop or search on a road where it is unsafe"),
}  # fmt: skip


@pytest.mark.parametrize("section", SECTIONS)
def test_sections_say_what_the_findings_hold(section: str, said: dict[str, str]) -> None:
    assert list(said)[1:] == list(SECTIONS) == list(EXPECTED) == list(TITLES)
    for words in EXPECTED[section]:
        assert words in said[section]


def test_the_finding_and_the_edition_stand_first(edition: Edition) -> None:
    document = proposal(edition)
    assert document.blocks[0] == Paragraph(finding(edition), "lead")
    assert document.banner[0] == "Invented demonstration data"
    assert document.banner[1].startswith("Confidential edition")
    for topic, question in QUESTIONS:
        assert any(isinstance(b, Table) and (topic, question) in [(r[0], r[2]) for r in b.rows]
                   for b in document.blocks)  # fmt: skip


_EMPTY = {
    "nothing counted": _with(_of(made_up_deaths.by_evidence), made_up_measures.nothing_proposed),
    "nothing at all": _with(confidential(made_up.without_evidence()),
                            made_up_measures.nothing_at_all),
    "not how many": _with(_of(made_up_deaths.not_known), made_up_measures.by_share),
    "a bound": _with(_of(made_up_deaths.only_a_bound), made_up_measures.nothing_proposed),
    "no prices": _with(confidential(), made_up_measures.without_prices),
}  # fmt: skip


@pytest.mark.parametrize("which", _EMPTY)
def test_poorer_studies_make_an_honest_proposal(which: str) -> None:
    poorer = _EMPTY[which]
    document = proposal(poorer)
    text = "\n".join(_by_section(document).values())
    assert "nan" not in text.lower().replace("maintenance", "").replace("tenant", "").split()
    pages = len(pypdf.PdfReader(io.BytesIO(pdf_bytes(document))).pages)
    assert 3 <= pages <= 12
    assert len(docx.Document(io.BytesIO(word_bytes(document))).paragraphs) > 40
    if poorer.findings.measures.chosen.empty:
        for claim in ("would avert", "Asked for: ", "Expected of the works", "EUR"):
            assert claim not in text


def test_without_works_nothing_is_asked_to_be_built() -> None:
    said = _by_section(proposal(_EMPTY["nothing counted"]))
    assert said["request"].startswith("No works are asked for. No measure is proposed: nothing")
    assert "leave to go on counting" in said["request"]
    assert "they are" not in said["location"]
    assert "The places below are the first of the ranked list, and no sites" in said["location"]
    assert "Rank | Where" in said["location"]
    assert said["objective"] == ("No number is set: no works are proposed, so none would bear one.")
    assert "Choices weren't weighed against each other" in said["alternatives"]
    assert "Nothing was looked at" in said["constraints"]
    assert "so there is no cost" in said["cost"]
    assert said["maintenance"] == "Nothing is proposed that would have to be kept up."
    assert said["monitoring"].startswith("No works are proposed, so there is no effect to follow")
    assert "nothing that was counted tells of deaths" in said["methods"]
    assert "two numbers in brackets" not in said["methods"]


def test_nothing_at_all_is_said_to_be_nothing() -> None:
    said = _by_section(proposal(_EMPTY["nothing at all"]))
    assert (
        "none is ranked: nothing that was counted tells one road from another" in (said["location"])
    )
    assert "can't be told from so few animals and observers" in said["need"]
    assert "No structure was given" in said["existing"]


def test_how_many_isnt_known() -> None:
    said = _by_section(proposal(_EMPTY["not how many"]))
    assert "isn't known, only where more die than elsewhere" in said["need"]
    assert "Whose roads animals die on" not in said["need"]
    assert "since no source has a known chance of counting a death" in said["methods"]
    assert "24 % (9.6 to 48 %) of the deaths on watched roads" in said["objective"]


def test_without_prices_no_money_is_said() -> None:
    said = _by_section(proposal(_EMPTY["no prices"]))
    assert "EUR" not in "".join(said.values())
    assert "quantities only, no cost is claimed" in said["cost"]
    assert "What upkeep costs isn't known" in said["maintenance"]
    assert "What the works cost isn't known" in said["methods"]
    assert "Prices not confirmed: quantities only" in said["recommended"]
    assert "metre of fence first" in said["location"]


def test_what_people_know_is_printed(edition: Edition) -> None:
    said = _by_section(proposal(_asked(
        edition, agency="The county", sponsor="Town", requested_by="Fen Trust", contact="0123",
        prepared_on="2030-05-03", legal_status="protected", maintenance_by="District",
        funding="a grant", permits=("of the nature office",), past_measures=("signs, 2019",),
        monitoring_years=7,
    )))  # fmt: skip
    for words in ("Asked of: The county", "Sponsoring agency or body: Town",
                  "Requested by: Fen Trust", "Contact: 0123", "Date: 3 May 2030"):  # fmt: skip
        assert words in said["request"]
    assert "Legal status: protected" in said["need"]
    assert "nothing here tells whether it helped:\nsigns, 2019" in said["existing"]
    assert "Funding: a grant" in said["cost"]
    assert "Kept up by: District" in said["maintenance"]
    assert "Named by those who ask:\nof the nature office" in said["permits"]
    assert "7 years after them" in said["monitoring"]
    assert "isn't met in 7 years" in said["monitoring"]


@pytest.mark.parametrize(
    ("percent", "year", "words"),
    [
        (60.0, 2031, ("fall by 60 % by 2031, from about 1.7 deaths a year now.",
                      "leaves room for less than is expected")),
        (90.0, None, ("fall by 90 %, from about 1.7", "By the year: ____",
                      "about 71 %: the objective asks for more than is expected")),
        (None, 2031, ("as expected, by about 1.2 (0.48 to 2.4) deaths a year by 2031.",)),
    ],
)  # fmt: skip
def test_objective(
    edition: Edition, percent: float | None, year: int | None, words: tuple[str, ...]
) -> None:
    asked = _asked(edition, objective_percent=percent, objective_year=year)
    said = _by_section(proposal(asked))["objective"]
    for part in words:
        assert part in said
    assert ("By the year" in said) == (year is None)


def test_an_effect_that_isnt_known_sets_no_number(edition: Edition) -> None:
    blank = _with(edition, lambda m: replace(m, curve=m.curve.iloc[:0]))
    said = _by_section(proposal(blank))
    assert "By how much can't be set: how many the works avert isn't known" in said["objective"]
    assert "Expected of" not in said["objective"]
    # Without its interval the choice isn't held against others.
    assert "intervals" not in said["alternatives"].replace("(90 % intervals)", "")


def test_choices_are_told_apart_by_intervals_alone(edition: Edition) -> None:
    def changed(measures: MeasureTables) -> MeasureTables:
        table = measures.alternatives.copy()
        table.loc[2, list(SHARES)] = [5.0, 3.0, 9.0]
        extra = table.iloc[[0]].assign(alternative="unheard of", **dict.fromkeys(SHARES, np.nan))
        return replace(measures, alternatives=pd.concat([table, extra], ignore_index=True))

    said = _by_section(proposal(_with(edition, changed)))["alternatives"]
    assert "Fence the stretch that stands out: averts more than what is proposed" in said
    assert "Unheard of: not known beside what is proposed." in said
    assert "no difference" not in said


@pytest.mark.parametrize(
    ("verdict", "words"),
    [("none stands out", "No stretch stands out from the road around by more than chance. That is "
      "no proof that all roads are alike"),
     ("too few to tell", "can't be told from so few animals and observers")],
)  # fmt: skip
def test_chance(edition: Edition, verdict: Any, words: str) -> None:
    findings = edition.findings
    chance = replace(findings.chance, verdict=verdict)
    other = replace(edition, findings=replace(findings, chance=chance))
    assert words in _by_section(proposal(other))["need"]


def test_population_that_isnt_known(edition: Edition) -> None:
    deaths = edition.findings.deaths
    bare = replace(deaths, population=deaths.population.iloc[:0], growth=deaths.growth.iloc[:0])
    said = _by_section(proposal(replace(edition, findings=replace(edition.findings, deaths=bare))))
    assert "What share of the adults the roads kill isn't known" in said["need"]
    assert "What road deaths mean to the population's growth isn't known" in said["need"]
    assert "isn't identified" in said["methods"]
    assert "Gibbs" not in said["references"]
    assert "Caswell" not in said["references"]


def test_growth_that_is_told_apart_from_none(edition: Edition) -> None:
    deaths = edition.findings.deaths
    sure = deaths.growth.assign(value=-3.0, value_low=-5.0, value_high=-1.0)
    other = replace(edition.findings, deaths=replace(deaths, growth=sure))
    said = _by_section(proposal(replace(edition, findings=other)))["need"]
    assert "numbers change by \N{MINUS SIGN}3 (\N{MINUS SIGN}5 to \N{MINUS SIGN}1) % a year" in said
    assert "leave it open" not in said


def test_nothing_recorded_is_not_nothing_in_the_way(edition: Edition) -> None:
    bare = _with(edition, lambda m: replace(m, constraints=m.constraints.iloc[:0]))
    said = _by_section(proposal(bare))
    assert "that nothing stands in the way is not known" in said["constraints"]
    assert "Right-of-way | nothing recorded: not known" in said["constraints"]
    assert "Cheap moments" not in said["constraints"]


def test_places_by_measures_alone_and_by_junctions_alone(edition: Edition) -> None:
    two = _with(edition, lambda m: replace(m, chosen=m.chosen.iloc[:2]))
    said = _by_section(proposal(two))
    assert "Places with a route are given by the agency's own measures, and by" in said["location"]
    assert "to be found out first" not in said["location"]
    # No sign is chosen: places for them are told, and nobody folds one.
    assert "give 3 places to start from" in said["recommended"]
    assert "Signs:" not in said["maintenance"]
    bare = _with(edition, lambda m: replace(m, chosen=m.chosen.assign(route="")))
    assert "No route measures are on record here" in _by_section(proposal(bare))["location"]


def test_fences_that_stand(edition: Edition) -> None:
    study = replace(edition.study, fences=edition.study.sightings.iloc[:0])
    said = _by_section(proposal(replace(edition, study=study)))["existing"]
    assert "Existing fences: 0 pieces on record." in said


def test_many_deaths_and_a_speed_that_says_nothing(edition: Edition) -> None:
    def changed(measures: MeasureTables) -> MeasureTables:
        what_if = measures.what_if.copy()
        what_if.loc[0, list(SHARES)] = np.nan
        chosen = measures.chosen.assign(deaths_per_year=9.0)
        return replace(measures, chosen=chosen, what_if=what_if)

    said = _by_section(proposal(_with(edition, changed)))
    assert "Few die at the sites" not in said["monitoring"]
    assert "What a lower speed limit would do isn't identified" in said["methods"]


def test_several_payers_have_a_table(edition: Edition) -> None:
    def changed(measures: MeasureTables) -> MeasureTables:
        bill = measures.quantities.copy()
        bill.loc[0, "paid_by"] = "reserve"
        return replace(measures, quantities=bill)

    said = _by_section(proposal(_with(edition, changed)))["cost"]
    assert "Who pays, all sites together" in said
    assert "reserve | 105,000 |" in said
    assert "as the price list says" not in said


def test_own_words_stand_at_the_end_of_their_section_and_stay(edition: Edition) -> None:
    texts = {"need": "One line\nwrapped.\n\n- a list\n- of two\n\n{{ 7 * 191 }} $x$ <b>",
             "cautions": "Last."}  # fmt: skip
    changed = replace(edition, study=replace(edition.study, texts=texts))
    document = proposal(changed)
    own = [b.text for b in document.blocks if isinstance(b, Paragraph) and b.style == "own"]
    assert own == ["One line wrapped.", "- a list\n- of two", "{{ 7 * 191 }} $x$ <b>", "Last."]
    said = _by_section(document)
    assert said["need"].endswith("\n".join([IN_THEIR_WORDS, *own[:3]]))
    assert "in the words of those who ask" in said["request"]
    # A fresh draft from other findings keeps them.
    fresh = replace(changed, findings=_EMPTY["nothing counted"].findings)
    kept = [b.text for b in proposal(fresh).blocks if isinstance(b, Paragraph) and b.style == "own"]
    assert kept == own
    text = " ".join(p.extract_text() for p in
                    pypdf.PdfReader(io.BytesIO(pdf_bytes(document))).pages)  # fmt: skip
    assert "{{ 7 * 191 }} $x$ <b>" in text


@pytest.mark.usefixtures("drawn")
@pytest.mark.parametrize("units", ["metric", "us"])
def test_pdf_and_word_say_the_same_in_both_units(units: str) -> None:
    edition = confidential(study=made_up.study(units=units))
    document = proposal(edition)
    pages = pypdf.PdfReader(io.BytesIO(pdf_bytes(document))).pages
    assert 6 <= len(pages) <= 12
    assert all(f"page {k} of {len(pages)}" in p.extract_text() for k, p in enumerate(pages, 1))
    printed = " ".join(" ".join(p.extract_text() for p in pages).split())
    printed = printed.replace("\N{ZERO WIDTH SPACE}", "").replace("\N{NO-BREAK SPACE}", " ")
    word = docx.Document(io.BytesIO(word_bytes(document)))
    heads = [p.text for p in word.paragraphs if p.style.name == "Heading 1"]
    assert heads == [f"{k}  {title}" for k, title in enumerate(TITLES.values(), 1)]
    fence = "1,240 m" if units == "metric" else "4,068 ft"
    cells = [[c.text for c in row.cells] for table in word.tables for row in table.rows]
    long = "600 m" if units == "metric" else "1969 ft"
    assert ["S1", "fence with passages", long, fence, "2 new", "1"] in cells
    assert fence in printed
    blocks = [b for b in document.blocks if isinstance(b, Figure)]
    described = [s._inline.docPr.get("descr") for s in word.inline_shapes]
    assert described == [shown(b.alt) for b in blocks]
    assert len(described) == 5
    for words in HOSTILE:
        assert words in "\n".join([*(" ".join(row) for row in cells),
                                   *(p.text for p in word.paragraphs)])  # fmt: skip
    assert document.paper == ("a4" if units == "metric" else "us-letter")


@pytest.mark.usefixtures("drawn")
def test_same_edition_same_bytes(edition: Edition) -> None:
    assert word_bytes(proposal(edition)) == word_bytes(proposal(edition))
    assert pdf_bytes(proposal(edition)) == pdf_bytes(proposal(edition))
