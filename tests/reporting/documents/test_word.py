"""Documents as Word files, read back with python-docx (https://python-docx.readthedocs.io)."""

from __future__ import annotations

import io
import re
import zipfile
from dataclasses import replace

import docx
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
from roadrisk.reporting.documents.word import TOGETHER, shown, word_bytes

# One grey point.
PNG = bytes.fromhex(
    "89504e470d0a1a0a0000000d49484452000000010000000108000000003a7e9b550000000a49444154789c6360"
    "000000020001e221bc330000000049454e44ae426082"
)
_MARKUP = '<w:p>&amp; {{ 7 * 191 }} =1+1 \\n </w:t> "x"'


def _document(*blocks: Block) -> Document:
    return Document("Two roads", "a subtitle", ("Invented.", "Not for publication."),
                    "running words", "foot words", blocks)  # fmt: skip


def _read(document: Document):
    return docx.Document(io.BytesIO(word_bytes(document)))


def _part(document: Document, name: str) -> str:
    with zipfile.ZipFile(io.BytesIO(word_bytes(document))) as archive:
        return archive.read(name).decode()


def test_blocks_come_in_order_with_words_own_styles() -> None:
    word = _read(_document(
        Heading("One"), Paragraph("p"), Heading("Sub", 2), Bullets(("a", "b")),
        Paragraph("lead", "lead"), Paragraph("small", "small"), Paragraph("box", "caution"),
        Paragraph("mine", "own"), Bullets(("c",), "caution"), Bullets(("d",), "small"),
    ))  # fmt: skip
    assert [(p.style.name, p.text) for p in word.paragraphs] == [
        ("Banner", "Invented.\nNot for publication."), ("Title", "Two roads"),
        ("Subtitle", "a subtitle"), ("Heading 1", "One"), ("Normal", "p"), ("Heading 2", "Sub"),
        ("List Bullet", "a"), ("List Bullet", "b"), ("Lead", "lead"), ("Small", "small"),
        ("Caution", "box"), ("Own words", "mine"), ("Caution bullet", "c"), ("Small bullet", "d"),
    ]  # fmt: skip
    for name in ("Caution", "Caution bullet", "Banner", "Own words"):
        assert "w:pBdr" in word.styles[name].element.xml


def test_a_table_repeats_its_head_and_short_ones_stay_together() -> None:
    rows = tuple((str(k), "words") for k in range(60))
    table = Table(("number", "said"), rows, right=(0,), caption="Sixty", note="below")
    word = _read(_document(table, replace(table, rows=rows[:TOGETHER], note="")))
    long, short = word.tables
    assert [c.text for c in long.rows[0].cells] == ["number", "said"]
    assert [c.text for c in long.rows[60].cells] == ["59", "words"]
    assert "w:tblHeader" in long.rows[0]._tr.xml
    assert all("w:tblHeader" not in row._tr.xml for row in long.rows[1:])
    assert 'w:tblCaption w:val="Sixty"' in long._tbl.xml
    assert long.rows[1].cells[0].paragraphs[0].alignment == 2  # right
    kept = [row.cells[0].paragraphs[0].paragraph_format.keep_with_next for row in short.rows]
    assert kept == [True] * TOGETHER + [None]
    kept = [row.cells[0].paragraphs[0].paragraph_format.keep_with_next for row in long.rows]
    assert kept == [None] * 60 + [True]  # its note below it


def test_facts_leave_room_to_fill_in() -> None:
    (table,) = _read(_document(Facts((("Asked of", "the county"), ("By the year", ""))))).tables
    assert [[c.text for c in row.cells] for row in table.rows] == [
        ["Asked of", "the county"], ["By the year", "\n"]
    ]  # fmt: skip
    assert "w:insideH" in table._tbl.xml


def test_pages_have_head_foot_and_number() -> None:
    document = _document(Paragraph("x"))
    assert _read(document).sections[0].header.paragraphs[0].text == "running words"
    foot = _part(document, "word/footer1.xml")
    assert "foot words" in foot
    assert re.findall(r"<w:instrText> (\w+) </w:instrText>", foot) == ["PAGE", "NUMPAGES"]


def test_a_picture_carries_its_words() -> None:
    document = _document(Figure(b"", PNG, 'a "line" & more', "caption", 0.5), PageBreak(),
                         Heading("Next"))  # fmt: skip
    word = _read(document)
    (picture,) = word.inline_shapes
    assert picture._inline.docPr.get("descr") == 'a "line" & more'
    # Half of the text's width, 166 mm.
    assert picture.width == pytest.approx(83 * 36_000, rel=1e-3)
    styles = [(p.style.name, p.text) for p in word.paragraphs[-3:]]
    assert styles == [("Picture", ""), ("Caption", "caption"), ("Heading 1", "Next")]
    assert word.paragraphs[-1].paragraph_format.page_break_before


@pytest.mark.parametrize(("paper", "size"), [("a4", (210, 297)), ("us-letter", (215.9, 279.4))])
def test_paper(paper: str, size: tuple[float, float]) -> None:
    section = _read(replace(_document(), paper=paper)).sections[0]  # type: ignore[arg-type]
    assert (section.page_width.mm, section.page_height.mm) == pytest.approx(size, abs=0.1)


def test_properties_are_ours_and_no_date_is_in_it() -> None:
    document = replace(_document(Paragraph("x")), subject="of turtles")
    told = _read(document).core_properties
    assert (told.title, told.subject, told.author, told.comments) == (
        "Two roads", "of turtles", "", ""
    )  # fmt: skip
    assert told.created is told.modified is None
    assert "<dcterms:" not in _part(document, "docProps/core.xml")
    assert 'w:lang w:val="en-GB"' in _part(document, "word/styles.xml")
    with zipfile.ZipFile(io.BytesIO(word_bytes(document))) as archive:
        assert {i.date_time for i in archive.infolist()} == {(1980, 1, 1, 0, 0, 0)}
        names = archive.namelist()
        everything = b"".join(archive.read(name) for name in names)
    assert not any("thumbnail" in name or "app.xml" in name for name in names)
    for left in (b"python-docx", b"Macintosh", b"w:rsid w:val", b"2013-12"):
        assert left not in everything
    assert _read(replace(document, author="Ana")).core_properties.author == "Ana"


def test_hostile_text_stays_text() -> None:
    document = _document(
        Heading(_MARKUP), Paragraph(_MARKUP, "own"), Facts(((_MARKUP, _MARKUP),)),
        Table((_MARKUP,), ((_MARKUP,),), caption=_MARKUP),
    )  # fmt: skip
    word = _read(replace(document, title=_MARKUP))
    texts = [p.text for p in word.paragraphs] + [
        c.text for t in word.tables for row in t.rows for c in row.cells
    ]
    assert texts.count(_MARKUP) == 8
    assert _part(document, "word/document.xml").count("w:instrText") == 0


def test_what_xml_cant_hold_is_left_out() -> None:
    dirty = "a\x00\x1f\ud800\ufffe\N{RIGHT-TO-LEFT OVERRIDE}b\N{TURTLE}"
    assert shown(dirty) == "a b\N{TURTLE}"
    assert _read(_document(Paragraph(dirty))).paragraphs[-1].text == "a b\N{TURTLE}"


def test_same_document_same_bytes() -> None:
    document = _document(Heading("x"), Figure(b"", PNG, "a"), Table(("a",), (("b",),)))
    assert word_bytes(document) == word_bytes(document)


def test_headings_that_skip_a_level() -> None:
    word = _read(_document(Heading("Deep", 3), Heading("Deeper", 3)))
    assert [p.style.name for p in word.paragraphs[-2:]] == ["Heading 1", "Heading 2"]
