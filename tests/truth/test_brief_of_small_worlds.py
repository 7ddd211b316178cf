"""Brief and proposal of whole runs on small worlds: no more than was found."""

from __future__ import annotations

import io
from typing import TYPE_CHECKING

import pypdf
import pytest

import roadrisk
from roadrisk.reporting.documents.brief import answers, brief_pdf
from roadrisk.reporting.documents.facts import finding
from roadrisk.reporting.documents.pdf import pdf_bytes
from roadrisk.reporting.documents.proposal import proposal
from roadrisk.reporting.documents.word import word_bytes
from roadrisk.reporting.editions.making import make_edition
from tests.truth.small_worlds import whole_world
from tests.truth.worlds_without import WORLDS

if TYPE_CHECKING:
    from pathlib import Path

# World; how its finding begins; whether works are proposed.
SAID = {
    "no animals, no carcass": ("At most ", False),
    "no animals, no trials": ("How many animals die on these roads isn't known, only where", True),
    "roads only": ("How many animals die on these roads isn't known: nothing counted", False),
}


@pytest.mark.parametrize("name", SAID)
def test_two_pages_that_say_what_was_found(name: str, tmp_path: Path) -> None:
    begins, proposed = SAID[name]
    study = roadrisk.read_study(WORLDS[name](whole_world()).write(tmp_path / "study"))
    edition = make_edition(study, roadrisk.analyse(study), "agency")
    pages = pypdf.PdfReader(io.BytesIO(brief_pdf(edition))).pages
    assert len(pages) == 2
    said = finding(edition)
    assert said.startswith(begins)
    assert ("would avert" in said) == proposed
    answer = dict(answers(edition))
    assert ("fence" in answer["How much fence, how many passages?"]) == proposed
    # No price list: no money.
    assert "present value" not in answer["What does it cost, and to keep up?"]
    text = " ".join(page.extract_text() for page in pages)
    assert "Agency edition" in text
    document = proposal(edition)
    pages = pypdf.PdfReader(io.BytesIO(pdf_bytes(document))).pages
    assert 4 <= len(pages) <= 12
    text = " ".join(" ".join(page.extract_text() for page in pages).split())
    assert ("Asked for: fence" in text) == proposed
    assert ("No works are asked for." in text) != proposed
    assert len(word_bytes(document)) > 10_000
