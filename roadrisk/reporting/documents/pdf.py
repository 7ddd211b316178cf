"""A document as PDF: tagged, on paper of the study's units, the same bytes every time."""

from __future__ import annotations

import json
import re
from dataclasses import asdict
from functools import cache
from importlib.resources import files
from pathlib import Path
from typing import TYPE_CHECKING, Any

from roadrisk.reporting.documents.blocks import Figure, Heading

if TYPE_CHECKING:
    from collections.abc import Iterable

    from roadrisk.reporting.documents.blocks import Block, Document

LONGEST_WORD = 30
UNKNOWN = "\N{REPLACEMENT CHARACTER}"
_BREAK = "\N{ZERO WIDTH SPACE}"
# Besides controls: marks that turn the direction of writing or can't be seen.
_UNSEEN = re.compile(r"[\x00-\x09\x0b-\x1f\x7f-\x9f\u200b-\u200f\u2028-\u202e\u2060-\u206f\ufeff]+")


def pdf_bytes(document: Document, *, template: str = "document.typ") -> bytes:
    """Return a document as PDF.

    All text goes in as data and is never read as markup. Nothing is fetched; fonts are those in
    the wheels of typst and matplotlib. A character that none of them has is printed as U+FFFD.

    Parameters
    ----------
    document : Document
    template : str
        A file of `reporting/templates` that sets it.

    Returns
    -------
    bytes
        PDF/UA-1: tagged, with language and title. It carries no date, and of its properties only
        title, subject and, where given, author. The same document gives the same bytes.
    """
    import typst

    pictures: dict[str, bytes] = {}
    blocks = [_block(block, pictures) for block in _in_order(document.blocks)]
    said = {
        name: _shown(getattr(document, name))
        for name in ("title", "subtitle", "banner", "running", "foot", "subject")
    }
    data = {**said, "author": _shown([document.author] if document.author else []),
            "paper": document.paper, "blocks": blocks}  # fmt: skip
    templates = files("roadrisk.reporting") / "templates"
    sources = {name: (templates / name).read_bytes() for name in ("kit.typ", template)}
    # typst takes files by name too, which its stub doesn't know.
    made = typst.compile(  # type: ignore[call-overload]
        {"main.typ": sources[template], **sources, **pictures},
        format="pdf", ignore_system_fonts=True, font_paths=[_more_fonts()],
        sys_inputs={"document": json.dumps(data)}, pdf_standards=["ua-1"],
    )  # fmt: skip
    return bytes(made)


def printable(text: str) -> str:
    """Return text as it is set: no unseen marks, long words with places to break.

    A character that no font has becomes U+FFFD.
    """
    clean = _UNSEEN.sub(" ", text)
    letters = _letters()
    clean = "".join(c if ord(c) in letters or c == "\n" else UNKNOWN for c in clean)
    return re.sub(rf"\S{{{LONGEST_WORD}}}(?=\S)", rf"\g<0>{_BREAK}", clean)


def _in_order(blocks: Iterable[Block]) -> list[Block]:
    """Return blocks whose headings skip no level, as readers of tags expect."""
    out: list[Block] = []
    last = 0
    for block in blocks:
        if isinstance(block, Heading):
            last = max(1, min(block.level, last + 1))
            out.append(Heading(block.text, last))
        else:
            out.append(block)
    return out


def _block(block: Block, pictures: dict[str, bytes]) -> dict[str, Any]:
    kind = type(block).__name__.lower()
    if isinstance(block, Figure):
        file = f"picture_{len(pictures) + 1}.svg"
        pictures[file] = block.svg
        return {"kind": kind, "file": file, "alt": _shown(block.alt) or "picture",
                "caption": _shown(block.caption), "width": block.width}  # fmt: skip
    return {"kind": kind} | {name: _shown(value) for name, value in asdict(block).items()}


def _shown(value: Any) -> Any:
    if isinstance(value, str):
        return printable(value)
    if isinstance(value, list | tuple):
        return [_shown(item) for item in value]
    return value


def _more_fonts() -> str:
    import matplotlib as mpl

    return str(Path(mpl.get_data_path()) / "fonts" / "ttf")


@cache
def _letters() -> frozenset[int]:
    """Return the characters of the second font, which takes over where the first has none."""
    from matplotlib.ft2font import FT2Font

    return frozenset(FT2Font(str(Path(_more_fonts()) / "DejaVuSans.ttf")).get_charmap())
