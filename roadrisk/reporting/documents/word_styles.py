"""How a Word file looks: its paper, its styles, and nothing left of the library's template."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from roadrisk.reporting.documents.word_fields import bordered

if TYPE_CHECKING:
    from docx.document import Document as Word
    from docx.styles.style import ParagraphStyle
    from docx.table import Table

PAPERS = {"a4": (210.0, 297.0), "us-letter": (215.9, 279.4)}
MARGINS_MM = (22.0, 24.0, 22.0)
"""Left and right, top, bottom."""
TEXT_MM = {name: size[0] - 2 * MARGINS_MM[0] for name, size in PAPERS.items()}
STYLES = {
    "plain": "Normal", "lead": "Lead", "small": "Small", "caution": "Caution", "own": "Own words",
}  # fmt: skip
LISTS = {"caution": "Caution bullet", "small": "Small bullet"}
INK, GREY, HAIR = "1C1C1A", "5D5B55", "B9B6AD"
# Named fonts are the reader's; both have stand-ins of the same widths where they are missing.
FONT, HEAD_FONT = "Times New Roman", "Arial"
_LANGUAGE = "en-GB"


def without_template(word: Word) -> None:
    """Take out what the library's template brought: a thumbnail, notes on an author's program."""
    for part in (word.part.package, word.part):
        dropped = [
            key for key, rel in part.rels.items()
            if rel.reltype.rsplit("/", 1)[-1]
            in ("thumbnail", "extended-properties", "customXml", "stylesWithEffects")
        ]  # fmt: skip
        for key in dropped:
            del part.rels[key]
    settings: Any = word.settings.element
    for child in list(settings):
        if child.tag.rsplit("}", 1)[-1] in ("rsids", "docId", "savePreviewPicture", "proofState"):
            settings.remove(child)
    styles: Any = word.styles.element
    for told in list(styles.iter(_qn("w:rsid"))):
        told.getparent().remove(told)


def prepared(word: Word, paper: str) -> None:
    """Set paper, margins, language and styles of a new document.

    Parameters
    ----------
    word : docx.document.Document
    paper : {"a4", "us-letter"}
    """
    from docx.shared import Mm

    section = word.sections[0]
    section.page_width, section.page_height = (Mm(x) for x in PAPERS[paper])
    side, top, bottom = (Mm(x) for x in MARGINS_MM)
    section.left_margin = section.right_margin = side
    section.top_margin, section.bottom_margin = top, bottom
    section.header_distance = section.footer_distance = Mm(11)
    _language(word)
    _drop_table_styles(word)
    _text_styles(word)
    _own_styles(word)


def ruled(table: Table, *, head: bool) -> None:
    """Give a table hair lines between rows, and lines around its head where it has one."""
    lines = {"bottom": (4, HAIR), "insideH": (4, HAIR)}
    if head:
        lines["top"] = (8, INK)
    properties: Any = table._tbl.tblPr  # noqa: SLF001
    bordered(properties, "w:tblBorders", lines)


def _language(word: Word) -> None:
    from docx.oxml.ns import qn

    styles: Any = word.styles.element
    for told in styles.iter(qn("w:lang")):
        told.set(qn("w:val"), _LANGUAGE)


def _drop_table_styles(word: Word) -> None:
    """Leave out the template's hundred table styles: none is used."""
    from docx.enum.style import WD_STYLE_TYPE

    for style in list(word.styles):
        if style.type == WD_STYLE_TYPE.TABLE and style.name not in ("Normal Table", "Table Grid"):
            style.delete()


def _text_styles(word: Word) -> None:
    _set(_style(word, "Normal"), 10, after=5)
    for level, size in ((1, 13.0), (2, 11.0), (3, 10.0)):
        _set(_style(word, f"Heading {level}"), size, HEAD_FONT, bold=True, before=14 - 3 * level,
             after=4, together=True)  # fmt: skip
    title = _style(word, "Title")
    _set(title, 19, HEAD_FONT, bold=True, after=4)
    for border in title.element.pPr.findall(_qn("w:pBdr")):
        title.element.pPr.remove(border)
    _set(_style(word, "Subtitle"), 12, colour=GREY, after=12)
    _set(_style(word, "Caption"), 9, colour=GREY, after=10)
    _set(_style(word, "List Bullet"), 10, after=3)
    for name in ("Header", "Footer"):
        _set(_style(word, name), 8, HEAD_FONT, colour=GREY)


def _own_styles(word: Word) -> None:
    box = dict.fromkeys(("top", "left", "bottom", "right"), (6, INK))
    _set(_new(word, "Lead"), 12, bold=True, after=6)
    _set(_new(word, "Small"), 9, colour=GREY, before=2, after=8)
    _set(_new(word, "Table caption"), 9.5, bold=True, before=8, after=3, together=True)
    _set(_new(word, "Label"), 9.5, colour=GREY, before=2, after=2)
    _set(_new(word, "Cell"), 9, before=1.5, after=1.5)
    _set(_new(word, "Head cell"), 9, bold=True, before=2, after=2, together=True)
    _set(_new(word, "After table"), 4, after=4)
    _set(_new(word, "Picture"), 10.5, before=4, after=2, together=True)
    caution, banner, own = (_new(word, name) for name in ("Caution", "Banner", "Own words"))
    _set(caution, 10, before=6, after=8)
    _set(banner, 10, HEAD_FONT, bold=True, after=12)
    _set(own, 10, after=5)
    listed = _new(word, "Caution bullet", "List Bullet")
    _set(listed, 10, after=3)
    _set(_new(word, "Small bullet", "List Bullet"), 8.5, colour=GREY, after=2)
    boxed = ((caution, box), (banner, box), (listed, box), (own, {"left": (12, GREY)}))
    for style, sides in boxed:
        bordered(style.element.get_or_add_pPr(), "w:pBdr", sides, 6)
    own.paragraph_format.left_indent = _pt(12)


def _new(word: Word, name: str, base: str = "Normal") -> ParagraphStyle:
    from docx.enum.style import WD_STYLE_TYPE

    style: Any = word.styles.add_style(name, WD_STYLE_TYPE.PARAGRAPH)
    style.base_style = word.styles[base]
    style.quick_style = True
    made: ParagraphStyle = style
    return made


def _style(word: Word, name: str) -> ParagraphStyle:
    style: Any = word.styles[name]
    made: ParagraphStyle = style
    return made


def _set(
    style: ParagraphStyle,
    size: float,
    font: str = FONT,
    *,
    bold: bool = False,
    colour: str = INK,
    before: float = 0,
    after: float = 0,
    together: bool = False,
) -> None:
    from docx.shared import RGBColor

    properties: Any = style.element.get_or_add_rPr()
    # The template's names of themes would win over a font's name.
    for old in properties.findall(_qn("w:rFonts")):
        properties.remove(old)
    style.font.name, style.font.size = font, _pt(size)
    style.font.bold, style.font.italic = bold, False
    style.font.color.rgb = RGBColor.from_string(colour)
    for spacing in properties.findall(_qn("w:spacing")):
        properties.remove(spacing)
    layout = style.paragraph_format
    layout.space_before, layout.space_after = _pt(before), _pt(after)
    layout.line_spacing = 1.04
    layout.keep_with_next = together


def _pt(points: float) -> Any:
    from docx.shared import Pt

    return Pt(points)


def _qn(tag: str) -> str:
    from docx.oxml.ns import qn

    return str(qn(tag))
