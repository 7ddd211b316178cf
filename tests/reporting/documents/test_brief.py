"""The brief, read back with pypdf (https://pypdf.readthedocs.io); by hand, on made-up studies."""

from __future__ import annotations

import io
import re
from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd
import pypdf
import pytest

from roadrisk.release_settings import ProposalSection
from roadrisk.reporting.documents.brief import (
    NOT_RECORDED,
    QUESTIONS,
    answers,
    brief_document,
    brief_pdf,
)
from roadrisk.reporting.documents.facts import finding
from roadrisk.reporting.measures_around import NO_PROVEN_EFFECT
from roadrisk.reporting.provenance import provenance_line
from tests.reporting import made_up, made_up_deaths, made_up_measures
from tests.reporting.made_up_edition import confidential

if TYPE_CHECKING:
    from collections.abc import Callable

    from roadrisk.findings import Findings
    from roadrisk.measure_findings import MeasureTables
    from roadrisk.reporting.editions.edition import Edition

# What a busy engineer asks, and the words on the two pages that answer it (made-up study).
TEN = {
    "which 200 m first": r"Which 200 m first\? Rank 1, SR 12, mile 2\.05 to 2\.15 \(Heron Road\): "
    r"0\.31 \(0\.13 to 0\.63\) deaths a year; beside it rank 2, .*200 m in all, in S1\)",
    "how sure": r"How sure is that\? The place of rank 1 may rank 1 to 7 \(90 % "
    r"interval\), with a chance of 0\.97 of being among the 5 worst",
    "how much fence, how many passages": r"All sites: 1,880 m of fence \(both sides, ends "
    r"included\), 2 new passages, 1 existing passage to lead to, 1 opening to guard",
    "what does it cost, and to keep up": r"To build 261,000 \(184,000 to 396,000\) EUR, low to "
    r"high prices; upkeep 6,500 EUR a year; together 388,000 EUR",
    "what if we only sign": r"What if we only sign\? A sign alone has no proven effect",
    "what if we do nothing": r"What if we do nothing\? About 4\.2 animals die .*nothing found "
    r"here says that this would change.*"
    r"Roads kill 3\.1 \(1\.2 to 6\.2\) % of the adults a year",
    "when in the year": r"When in the year\? Carcasses that surveys found: most in May \(4\)",
    "whose road, which route and measures": r"County \(invented\): S1, SR 12, mile 1\.90 to 2\.50 "
    r"\(Heron Road\); S2, SR 12, mile 0\.10 to 0\.40",
    "what is in the way": r"What is in the way\? S1: private land .*S2: culvert C-7, not usable; "
    r"S3: driveway at the mill\. Cheap moments to build: S1 resurfacing planned for 2027",
    "how will we know it helped": r"for 3 years after the works, .*Success: deaths at the sites "
    r"fall as expected, by about 1\.2 of 1\.7 deaths a year, 71 %, and the 90 % interval",
}


def _pages(edition: Edition) -> list[str]:
    reader = pypdf.PdfReader(io.BytesIO(brief_pdf(edition)))
    return [" ".join(page.extract_text().replace("\N{ZERO WIDTH SPACE}", "").split())
            for page in reader.pages]  # fmt: skip


def _with(edition: Edition, change: Callable[[MeasureTables], MeasureTables]) -> Edition:
    findings = edition.findings
    return replace(edition, findings=replace(findings, measures=change(findings.measures)))


def _of(change: Callable[[Findings], Findings]) -> Edition:
    return confidential(change(made_up.findings()))


@pytest.fixture(scope="module")
def edition() -> Edition:
    return confidential()


@pytest.fixture(scope="module")
def pages(edition: Edition) -> list[str]:
    return _pages(edition)


@pytest.mark.parametrize("question", TEN)
def test_ten_questions_are_answered_on_two_pages(question: str, pages: list[str]) -> None:
    assert len(pages) == 2
    assert re.search(TEN[question], " ".join(pages))


def test_first_page_has_the_finding_and_five_rows(pages: list[str], edition: Edition) -> None:
    first = pages[0]
    assert "Invented demonstration data" in first
    assert "Confidential edition" in first
    said = finding(edition).replace("\N{NO-BREAK SPACE}", " ")
    assert said in first
    assert said.count(". ") == 0
    for row in ("S1 (ranks 1, 2, 3) SR 12, mile 1.90 to 2.50 (Heron Road) County (invented) 600 m "
                "1.2 (0.48 to 2.4) fence with passages 210,000 (150,000 to 320,000)",
                "S2 (rank 5)", "S3 (rank 7)", "4 Sedge Lane", "6 SR 12, mile 2.15"):  # fmt: skip
        assert row in first


def test_second_page_cautions_and_blank_contact(pages: list[str], edition: Edition) -> None:
    second = pages[1]
    for words in ("licensed engineers decide, under local codes, standards and permits",
                  "No finding is no proof of safety", "Who asks Contact", "And motorists?",
                  provenance_line(edition.study, edition.findings, edition.kind)):  # fmt: skip
        assert words in second


def test_us_units_take_letter_paper_feet_and_the_same_sums() -> None:
    us = confidential(study=made_up.study(units="us"))
    assert brief_document(us).paper == "us-letter"
    text = " ".join(_pages(us))
    # 1,880 m in feet.
    assert "6,168 ft of fence" in text
    assert "Which 660 ft first?" in text
    assert "261,000 (184,000 to 396,000) EUR" in text
    assert not re.search(r"\d m of fence", text)


_POORER = {
    "nobody knows how many": (_of(made_up_deaths.not_known),
                              "How many animals die on these roads isn't known"),
    "a bound alone": (_of(made_up_deaths.only_a_bound), "At most 8.4 animals die"),
    "nothing tells of deaths": (
        _with(_of(made_up_deaths.by_evidence), made_up_measures.nothing_proposed),
        "nothing that was counted tells of deaths"),
    "nothing at all": (confidential(made_up.without_evidence()), "No piece of road is ranked"),
    "no prices": (_with(confidential(), made_up_measures.without_prices), "Prices not confirmed"),
    "shares": (_with(_of(made_up_deaths.not_known), made_up_measures.by_share),
               "of the deaths on watched roads"),
}  # fmt: skip


@pytest.mark.parametrize("which", _POORER)
def test_poorer_studies_take_two_pages_and_say_what_is_not_known(which: str) -> None:
    poorer, words = _POORER[which]
    pages = _pages(poorer)
    assert len(pages) == 2
    text = " ".join(pages)
    assert words in text
    assert "nan" not in text.lower().replace("maintenance", "").split()
    for question, answer in answers(poorer):
        assert question in text
        assert answer.strip()


def test_without_prices_no_money_is_said() -> None:
    text = " ".join(_pages(_POORER["no prices"][0]))
    assert "EUR" not in text
    assert "1,880 m of fence" in text


def test_nothing_recorded_is_not_nothing_in_the_way(edition: Edition) -> None:
    bare = _with(edition, lambda m: replace(m, constraints=m.constraints.iloc[:0]))
    assert dict(answers(bare))["What is in the way?"] == NOT_RECORDED
    assert "that nothing stands in the way is not known" in NOT_RECORDED


def test_nothing_proposed_claims_no_effect() -> None:
    poorer = _POORER["nothing tells of deaths"][0]
    said = dict(answers(poorer))
    assert said["How much fence, how many passages?"] == "None: nothing is proposed."
    assert said["What is in the way?"] == "Not looked at: no place for works is chosen."
    assert said["What if we do nothing?"].endswith("isn't known either.")
    assert "avert" not in finding(poorer)
    assert said["What if we only sign?"] == NO_PROVEN_EFFECT


def test_texts_of_any_length_take_two_pages() -> None:
    long = "x" * 300 + " many words " * 25
    edition = confidential()
    asked = ProposalSection(requested_by="y " * 140, contact="z" * 300, objective_percent=40,
                            objective_year=2030)  # fmt: skip
    study = edition.study
    settings = study.settings.model_copy(update={
        "proposal": asked, "study": study.settings.study.model_copy(update={"name": long}),
    })  # fmt: skip
    findings = edition.findings
    chosen = findings.measures.chosen.assign(owner=long, measure_name=long, road=long, route="")
    measures = replace(
        findings.measures, chosen=chosen,
        constraints=findings.measures.constraints.assign(what=long),
    )  # fmt: skip
    ranked = findings.ranked.assign(road=long, route="", owner=long, place=long)
    other = replace(edition, study=replace(study, settings=settings),
                    findings=replace(findings, measures=measures, ranked=ranked))  # fmt: skip
    pages = _pages(other)
    assert len(pages) == 2
    assert "deaths at the sites fall by 40 % by 2030" in pages[1]
    # The last line is still on its page: nothing was cut off.
    assert "Invented roads." in pages[1]


def test_hostile_texts_stay_texts(pages: list[str]) -> None:
    assert made_up.SCRIPT in pages[0]
    assert "{{ 7 * 191 }}" in pages[0]


def test_same_edition_same_bytes(edition: Edition) -> None:
    assert brief_pdf(edition) == brief_pdf(edition)


def test_a_contact_that_is_given_is_printed(edition: Edition) -> None:
    asked = ProposalSection(contact="Ana Keeper, 0123", requested_by="Fen Trust")
    settings = edition.study.settings.model_copy(update={"proposal": asked})
    other = replace(edition, study=replace(edition.study, settings=settings))
    assert "Who asks Fen Trust Contact Ana Keeper, 0123" in _pages(other)[1]


def test_sites_that_are_not_told_are_counted(edition: Edition) -> None:
    chosen = edition.findings.measures.chosen
    seven = pd.concat([chosen, chosen, chosen.iloc[:1]], ignore_index=True)
    seven["site"] = range(1, 8)
    other = _with(edition, lambda measures: replace(measures, chosen=seven))
    said = dict(answers(other))
    for question in ("How sure is that?", "What does it avert?",
                     "How much fence, how many passages?"):  # fmt: skip
        assert "S5" in said[question]
        assert "(and 2 more: measures.csv)" in said[question]


def test_an_interval_that_is_missing_is_said(edition: Edition) -> None:
    chosen = edition.findings.measures.chosen
    bare = chosen.assign(deaths_per_year_low=np.nan, deaths_per_year_high=np.nan)
    other = _with(edition, lambda measures: replace(measures, chosen=bare))
    assert "1.2 (no interval)" in _pages(other)[0]


def test_all_questions_are_there(pages: list[str]) -> None:
    for question in QUESTIONS:
        assert question in " ".join(pages)
