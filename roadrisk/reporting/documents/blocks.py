"""What a document is made of, whatever it is set in: one content, a PDF and a Word file.

All text is plain text: a renderer must never read markup in it.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

Style = Literal["plain", "lead", "small", "caution", "own"]
"""lead: the one sentence to remember; caution: a boxed warning; own: a person's own words."""


@dataclass(frozen=True)
class Heading:
    """A heading; level 1 is a section."""

    text: str
    level: int = 1


@dataclass(frozen=True)
class Paragraph:
    """A paragraph of plain text."""

    text: str
    style: Style = "plain"


@dataclass(frozen=True)
class Bullets:
    """A list; each item is plain text."""

    items: tuple[str, ...]
    style: Style = "plain"


@dataclass(frozen=True)
class Facts:
    """Pairs of a label and what is to be said, set as two columns. "" is a line to fill in."""

    pairs: tuple[tuple[str, str], ...]


@dataclass(frozen=True)
class Table:
    """A table; its head is repeated on each page.

    Attributes
    ----------
    head : tuple of str
    rows : tuple of tuple of str
    widths : tuple of float
        Relative; empty: by content.
    right : tuple of int
        Columns that are set flush right (numbers), from 0.
    caption, note : str
        Above and below the table.
    """

    head: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    widths: tuple[float, ...] = ()
    right: tuple[int, ...] = ()
    caption: str = ""
    note: str = ""


@dataclass(frozen=True)
class Figure:
    """A picture in two forms of the same drawing.

    Attributes
    ----------
    svg, png : bytes
        For print and for Word.
    alt : str
        What it shows, for those who can't see it.
    caption : str
    width : float
        Share of the text's width.
    """

    svg: bytes
    png: bytes
    alt: str
    caption: str = ""
    width: float = 1.0


@dataclass(frozen=True)
class PageBreak:
    """What follows begins on a new page."""


Block = Heading | Paragraph | Bullets | Facts | Table | Figure | PageBreak


@dataclass(frozen=True)
class Document:
    """A document.

    Attributes
    ----------
    title, subtitle : str
    banner : tuple of str
        Boxed lines above all else on the first page: the edition, that the study is invented.
    running : str
        At the head of every page.
    foot : str
        At the foot of every page, beside the page's number.
    blocks : tuple of Block
    paper : {"a4", "us-letter"}
    author, subject : str
        For the file's properties; "" for none.
    """

    title: str
    subtitle: str
    banner: tuple[str, ...]
    running: str
    foot: str
    blocks: tuple[Block, ...]
    paper: Literal["a4", "us-letter"] = "a4"
    author: str = ""
    subject: str = ""
