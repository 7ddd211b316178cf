"""A document as an editable Word file: real styles, the same bytes every time."""

from __future__ import annotations

import io
import re
import zipfile
from typing import TYPE_CHECKING, Any

from roadrisk.reporting.documents.blocks import (
    Bullets,
    Facts,
    Figure,
    Heading,
    PageBreak,
    Paragraph,
    Table,
)
from roadrisk.reporting.documents.word_fields import add_page_numbers, described, repeated_head
from roadrisk.reporting.documents.word_styles import (
    LISTS,
    STYLES,
    TEXT_MM,
    prepared,
    ruled,
    without_template,
)

if TYPE_CHECKING:
    from docx.document import Document as Word
    from docx.table import Table as WordTable
    from docx.table import _Cell

    from roadrisk.reporting.documents.blocks import Block, Document

LABEL = 0.32
"""Share of the width that the labels of facts take."""
TOGETHER = 5
"""Tables of so many rows and fewer stay on one page."""
_STAMP = (1980, 1, 1, 0, 0, 0)
# What XML can't hold, what can't be seen, and what turns the direction of writing.
_UNSEEN = re.compile(
    "[\x00-\x09\x0b-\x1f\x7f-\x9f\u200b-\u200f\u2028-\u202e\u2060-\u206f\ud800-\udfff\ufeff\ufffe"
    "\uffff]+"
)


def word_bytes(document: Document) -> bytes:
    """Return a document as a Word file.

    Headings, lists and captions have Word's own styles, tables repeat their head on each page,
    pictures carry their words for those who can't see them. A person's own paragraphs and boxed
    cautions have the styles "Own words" and "Caution".

    Parameters
    ----------
    document : Document

    Returns
    -------
    bytes
        DOCX, language English. Of properties only title, subject and, where given, author; no
        date, no comment, no thumbnail. Text is never a field or markup; control characters are
        left out. The same document gives the same bytes.
    """
    import docx

    word = docx.Document()
    without_template(word)
    prepared(word, document.paper)
    _properties(word, document)
    add_page_numbers(word.sections[0], shown(document.running), shown(document.foot),
                     TEXT_MM[document.paper])  # fmt: skip
    if document.banner:
        word.add_paragraph("\n".join(shown(line) for line in document.banner), style="Banner")
    word.add_paragraph(shown(document.title), style="Title")
    if document.subtitle:
        word.add_paragraph(shown(document.subtitle), style="Subtitle")
    breaks = False
    last = 0
    for block in document.blocks:
        if isinstance(block, PageBreak):
            breaks = True
            continue
        if isinstance(block, Heading):
            last = max(1, min(block.level, last + 1))
        first = len(word.paragraphs)
        _add(word, block, document, last)
        if breaks and len(word.paragraphs) > first:
            word.paragraphs[first].paragraph_format.page_break_before = True
        breaks = False
    out = io.BytesIO()
    word.save(out)
    return _same_stamps(out.getvalue())


def shown(text: str) -> str:
    """Return text as Word may hold it: without what XML can't say and without unseen marks."""
    return _UNSEEN.sub(" ", text)


def _add(word: Word, block: Block, document: Document, level: int) -> None:
    width = TEXT_MM[document.paper]
    if isinstance(block, Heading):
        word.add_heading(shown(block.text), level)
    elif isinstance(block, Paragraph):
        word.add_paragraph(shown(block.text), style=STYLES[block.style])
    elif isinstance(block, Bullets):
        for item in block.items:
            word.add_paragraph(shown(item), style=LISTS.get(block.style, "List Bullet"))
    elif isinstance(block, Facts):
        _facts(word, block, width)
    elif isinstance(block, Table):
        _table(word, block, width)
    elif isinstance(block, Figure):
        _picture(word, block, width)


def _facts(word: Word, block: Facts, width: float) -> None:
    if not block.pairs:
        return
    table = word.add_table(len(block.pairs), 2)
    _widths(table, (LABEL, 1 - LABEL), width)
    ruled(table, head=False)
    for row, (label, said) in zip(table.rows, block.pairs, strict=True):
        _fill(row.cells[0], label, style="Label")
        # A line to fill in: the rule below the cell is the line.
        _fill(row.cells[1], said or "\n", style="Cell")
    _after(word)


def _table(word: Word, block: Table, width: float) -> None:
    if block.caption:
        word.add_paragraph(shown(block.caption), style="Table caption")
    columns = len(block.head)
    table = word.add_table(1 + len(block.rows), columns)
    shares = block.widths if len(block.widths) == columns else _by_content(block)
    _widths(table, shares, width)
    ruled(table, head=True)
    described(table, block.caption or ", ".join(block.head))
    cells = table._cells  # noqa: SLF001  all at once; row by row is slow
    for k, text in enumerate(block.head):
        _fill(cells[k], text, style="Head cell", right=k in block.right)
    for i, line in enumerate(block.rows, 1):
        for k, text in enumerate(line):
            _fill(cells[i * columns + k], text, style="Cell", right=k in block.right)
    repeated_head(table)
    kept = cells[: columns * len(block.rows)] if len(block.rows) <= TOGETHER else []
    # A note stays with the last row.
    for cell in [*kept, *(cells[-columns:] if block.note else [])]:
        cell.paragraphs[0].paragraph_format.keep_with_next = True
    if block.note:
        word.add_paragraph(shown(block.note), style="Small")
    else:
        _after(word)


def _picture(word: Word, block: Figure, width: float) -> None:
    from docx.shared import Mm

    paragraph = word.add_paragraph(style="Picture")
    share = min(1.0, max(0.05, block.width))
    picture = paragraph.add_run().add_picture(io.BytesIO(block.png), width=Mm(share * width))
    told: Any = picture._inline.docPr  # noqa: SLF001  no public way to give alternative text
    told.set("descr", shown(block.alt) or "picture")
    if block.caption:
        word.add_paragraph(shown(block.caption), style="Caption")
    else:
        paragraph.paragraph_format.keep_with_next = False


def _fill(cell: _Cell, text: str, *, style: str, right: bool = False) -> None:
    from docx.enum.text import WD_ALIGN_PARAGRAPH

    paragraph = cell.paragraphs[0]
    paragraph.style = style
    # What may not break at a space breaks within a word where a column is narrow.
    paragraph.add_run(shown(text).replace("\N{NO-BREAK SPACE}", " "))
    if right:
        paragraph.alignment = WD_ALIGN_PARAGRAPH.RIGHT


def _after(word: Word) -> None:
    """Part a table from what follows: two that touch would become one."""
    word.add_paragraph(style="After table")


def _by_content(block: Table) -> tuple[float, ...]:
    """Return widths after the longest text of each column, within reason."""
    lines = (block.head, *block.rows)
    longest = [max(len(line[k]) for line in lines) for k in range(len(block.head))]
    return tuple(min(max(n, 6), 34) for n in longest)


def _widths(table: WordTable, shares: tuple[float, ...], width: float) -> None:
    from docx.shared import Mm

    table.autofit = False
    total = sum(shares)
    for column, share in zip(table.columns, shares, strict=True):
        column.width = Mm(width * share / total)
    for k, cell in enumerate(table._cells):  # noqa: SLF001
        cell.width = Mm(width * shares[k % len(shares)] / total)


def _properties(word: Word, document: Document) -> None:
    told = word.core_properties
    element: Any = told._element  # noqa: SLF001  the only way to take dates out
    for child in list(element):
        element.remove(child)
    told.title, told.subject = shown(document.title)[:255], shown(document.subject)[:255]
    told.language = "en-GB"
    if document.author:
        told.author = shown(document.author)[:255]


def _same_stamps(archive: bytes) -> bytes:
    """Return the archive with every member's date fixed."""
    out = io.BytesIO()
    with (
        zipfile.ZipFile(io.BytesIO(archive)) as old,
        zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as new,
    ):
        for member in old.infolist():
            info = zipfile.ZipInfo(member.filename, _STAMP)
            info.compress_type, info.create_system, info.external_attr = zipfile.ZIP_DEFLATED, 3, 0
            new.writestr(info, old.read(member))
    return out.getvalue()
