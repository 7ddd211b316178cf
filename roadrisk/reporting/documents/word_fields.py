"""What Word needs said in its own XML: page numbers, repeated heads, words about a table."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from docx.section import Section
    from docx.table import Table
    from docx.text.paragraph import Paragraph


def add_page_numbers(section: Section, running: str, foot: str, width_mm: float) -> None:
    """Put words at the head of each page, and words with "page x of y" at its foot.

    Parameters
    ----------
    section : docx.section.Section
    running, foot : str
    width_mm : float
        Of the text [mm]: where the page's number ends.
    """
    from docx.enum.text import WD_TAB_ALIGNMENT
    from docx.shared import Mm

    section.header.paragraphs[0].text = running
    paragraph = section.footer.paragraphs[0]
    stops = paragraph.paragraph_format.tab_stops
    # The template's own stops at the middle and at another paper's edge would come first.
    for old in section.footer.paragraphs[0].style.paragraph_format.tab_stops:
        stops.add_tab_stop(old.position, WD_TAB_ALIGNMENT.CLEAR)
    stops.add_tab_stop(Mm(width_mm), WD_TAB_ALIGNMENT.RIGHT)
    # The words have lines of their own where they are long, and the number always has its end.
    paragraph.add_run(foot)
    paragraph.add_run("\tpage " if len(foot) < _ONE_LINE else "\n\tpage ")
    _field(paragraph, "PAGE")
    paragraph.add_run(" of ")
    _field(paragraph, "NUMPAGES")


def repeated_head(table: Table) -> None:
    """Repeat a table's first row on each page, and part no row between pages."""
    for k, row in enumerate(table.rows):
        told = row._tr.get_or_add_trPr()  # noqa: SLF001
        told.append(_element("w:cantSplit"))
        if k == 0:
            told.append(_element("w:tblHeader"))


def described(table: Table, words: str) -> None:
    """Say what a table is to those who can't see it."""
    told = table._tbl.tblPr  # noqa: SLF001
    told.append(_element("w:tblCaption", words))


def bordered(element: Any, tag: str, sides: dict[str, tuple[int, str]], space: int = 0) -> None:
    """Add borders to the properties of a paragraph or a table.

    Parameters
    ----------
    element : lxml element
        w:pPr or w:tblPr.
    tag : {"w:pBdr", "w:tblBorders"}
    sides : dict
        "top", "left", "bottom", "right", "insideH": width [1/8 point] and colour.
    space : int
        Between border and text [point].
    """
    borders = _element(tag)
    for side in ("top", "left", "bottom", "right", "insideH"):
        if side in sides:
            width, colour = sides[side]
            line = _element(f"w:{side}", "single")
            for name, value in (("sz", width), ("space", space), ("color", colour)):
                line.set(_name(f"w:{name}"), str(value))
            borders.append(line)
    element.append(borders)


_ONE_LINE = 95


def _field(paragraph: Paragraph, code: str) -> None:
    """Add a field; until Word has counted it shows 1."""
    for kind in ("begin", code, "separate", "1", "end"):
        run = paragraph.add_run("1" if kind == "1" else "")
        if kind == code:
            text = _element("w:instrText")
            text.text = f" {code} "
            run._r.append(text)  # noqa: SLF001
        elif kind != "1":
            char = _element("w:fldChar")
            char.set(_name("w:fldCharType"), kind)
            run._r.append(char)  # noqa: SLF001


def _element(tag: str, value: str = "") -> Any:
    from docx.oxml import OxmlElement

    element: Any = OxmlElement(tag)
    if value:
        element.set(_name("w:val"), value)
    return element


def _name(tag: str) -> str:
    from docx.oxml.ns import qn

    return str(qn(tag))
