"""Documents as PDF, read back with pypdf (https://pypdf.readthedocs.io); by hand."""

from __future__ import annotations

import io
from dataclasses import replace

import pypdf
import pytest

from roadrisk.reporting.documents.blocks import (
    Block,
    Bullets,
    Document,
    Facts,
    Figure,
    Heading,
    PageBreak,
    Paragraph,
    Table,
)
from roadrisk.reporting.documents.pdf import LONGEST_WORD, UNKNOWN, pdf_bytes, printable

_SVG = (
    b'<svg xmlns="http://www.w3.org/2000/svg" width="90" height="40"><path d="M0 0L90 40"/></svg>'
)
_LETTERS = "ä ö ł ≥ × – ² \N{MINUS SIGN} ≤ ± ø č"
_MARKUP = '#eval("1+1") *bold* _under_ $x^2$ @label <b> \\ `code` = no // heading'


def _document(*blocks: Block) -> Document:
    return Document(
        "Two roads", "a subtitle", ("Invented.",), "running words", "foot words", blocks
    )


def _read(document: Document) -> pypdf.PdfReader:
    return pypdf.PdfReader(io.BytesIO(pdf_bytes(document)))


def _text(document: Document) -> str:
    return "\n".join(page.extract_text() for page in _read(document).pages)


def test_letters_and_markup_come_out_as_they_went_in() -> None:
    text = _text(_document(Paragraph(_LETTERS), Paragraph(_MARKUP), Bullets((_MARKUP,)),
                           Facts((("a", _MARKUP),)), Table((_MARKUP,), ((_MARKUP,),))))  # fmt: skip
    assert _LETTERS in text
    assert text.replace("\n", " ").replace("  ", " ").count(_MARKUP) == 5


def test_every_page_has_head_foot_and_number_and_each_table_page_its_head() -> None:
    rows = tuple((str(k), "words") for k in range(120))
    pages = _read(_document(Heading("One"), Table(("number", "said"), rows))).pages
    assert len(pages) == 3
    for k, page in enumerate(pages, 1):
        text = page.extract_text()
        assert "running words" in text
        assert "foot words" in text
        assert f"page {k} of 3" in text
        assert "number said" in text


def test_properties_are_title_and_subject_alone() -> None:
    made = pdf_bytes(replace(_document(Paragraph("x")), subject="of turtles"))
    reader = pypdf.PdfReader(io.BytesIO(made))
    told = {str(key): str(value) for key, value in (reader.metadata or {}).items()}
    assert told.pop("/Creator").startswith("Typst")
    assert told == {"/Title": "Two roads", "/Subject": "of turtles"}
    assert b"CreateDate" not in made
    root = reader.root_object
    assert str(root["/Lang"]) == "en"
    assert root["/MarkInfo"]["/Marked"]  # type: ignore[index]
    assert b"pdfuaid:part" in made


@pytest.mark.parametrize(("paper", "size"), [("a4", (595, 842)), ("us-letter", (612, 792))])
def test_paper(paper: str, size: tuple[int, int]) -> None:
    page = _read(replace(_document(Paragraph("x")), paper=paper)).pages[0]  # type: ignore[arg-type]
    assert (round(page.mediabox.width), round(page.mediabox.height)) == size


def test_same_document_same_bytes_with_a_picture() -> None:
    document = _document(Figure(_SVG, b"", "a line", "caption"), PageBreak(), Paragraph("end"))
    assert pdf_bytes(document) == pdf_bytes(document)
    assert "caption" in _text(document)
    assert len(_read(document).pages) == 2
    # The picture's words for those who can't see it.
    assert b"/Alt" in b"".join(
        obj.get_data() if hasattr(obj, "get_data") else repr(obj).encode()
        for obj in (_read(document).get_object(k) for k in range(1, 60)) if obj is not None
    )  # fmt: skip


def test_what_no_font_has_is_shown_as_unknown_and_unseen_marks_go() -> None:
    assert printable("a\x00\N{RIGHT-TO-LEFT OVERRIDE}b") == "a b"
    assert printable("\N{TURTLE}") == UNKNOWN
    assert UNKNOWN in _text(_document(Paragraph("\N{CJK UNIFIED IDEOGRAPH-9053} road")))


def test_long_words_may_break() -> None:
    text = _text(_document(Paragraph("w" * 400)))
    assert max(len(line) for line in text.splitlines()) < 200
    assert printable("w" * LONGEST_WORD) == "w" * LONGEST_WORD


def test_headings_that_skip_a_level_are_set() -> None:
    assert "Deep" in _text(_document(Heading("Deep", 3), Heading("Deeper", 3)))


def test_styles_are_set() -> None:
    words = [Paragraph(style, style) for style in ("plain", "lead", "small", "caution", "own")]
    text = _text(_document(*words, Facts((("to fill in", ""),))))
    for style in ("plain", "lead", "small", "caution", "own", "to fill in"):
        assert style in text
