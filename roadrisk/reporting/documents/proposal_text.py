"""Sentences of the proposal, from templates fed by results; and a person's own paragraphs."""

from __future__ import annotations

import re
from functools import cache
from importlib.resources import files
from typing import TYPE_CHECKING, Any

from roadrisk.records.own_texts import SECTIONS
from roadrisk.reporting.csv_text import plain_text
from roadrisk.reporting.documents.blocks import Bullets, Heading, Paragraph

if TYPE_CHECKING:
    from collections.abc import Mapping

    from jinja2 import Environment, Template

    from roadrisk.reporting.documents.blocks import Block, Style

IN_THEIR_WORDS = "In the words of those who ask"
_PARTED = "\x1e"
_NO_BREAK = "\N{NO-BREAK SPACE}"
_LISTED = re.compile(r"\s*([-*•–]|\d+[.)])\s")


def sentences(section: str, block: str, **values: object) -> tuple[str, ...]:
    """Return a block of a section's template as paragraphs of plain text.

    Parameters
    ----------
    section : str
        Of `records.own_texts.SECTIONS`; its template is ``proposal_<section>.j2``.
    block : str
        Of that template.
    **values
        What it may name; a name that isn't given is an error, never an empty place. Texts come in
        as one line and are never read as a template.

    Returns
    -------
    tuple of str
        Parted at the template's own empty lines, blanks joined; without empty ones.
    """
    template = _template(section)
    given = {name: _flat(value) for name, value in values.items()}
    given["section"] = SECTION_NUMBERS
    said = "".join(template.blocks[block](template.new_context(given)))
    joined = (re.sub(r"[ \t\n]+", " ", part).strip() for part in said.split(_PARTED))
    return tuple(part for part in joined if part)


def paragraphs(
    section: str, block: str, style: Style = "plain", **values: object
) -> tuple[Block, ...]:
    """Return a block of a section's template as paragraphs; see `sentences`."""
    return tuple(Paragraph(said, style) for said in sentences(section, block, **values))


def points(section: str, block: str, **values: object) -> tuple[Block, ...]:
    """Return a block of a section's template as one list; nothing where it is empty."""
    items = sentences(section, block, **values)
    return (Bullets(items),) if items else ()


def own_words(section: str, texts: Mapping[str, str]) -> tuple[Block, ...]:
    """Return a person's own paragraphs of a section, as they are written; nothing without.

    Lines of a paragraph are joined, but for lists (lines that begin with a dash or a number).
    """
    text = texts.get(section, "").strip()
    if not text:
        return ()
    parts = (part.strip() for part in re.split(r"\n[ \t]*\n", text))
    own = [Paragraph(_unwrapped(part), "own") for part in parts if part]
    return (Heading(IN_THEIR_WORDS, 2), *own)


SECTION_NUMBERS = {name: k for k, name in enumerate(SECTIONS, 1)}
"""Numbers of the proposal's sections, by key."""


def _unwrapped(part: str) -> str:
    lines = [line.strip() for line in part.split("\n")]
    return ("\n" if any(_LISTED.match(line) for line in lines) else " ").join(lines)


def _flat(value: object) -> object:
    """Return a value whose texts have one line each."""
    if isinstance(value, str):
        return plain_text(value).replace(_NO_BREAK, " ")
    if isinstance(value, list | tuple):
        return [_flat(item) for item in value]
    return value


@cache
def _environment() -> Environment:
    from jinja2 import Environment, FunctionLoader, StrictUndefined

    folder = files("roadrisk.reporting") / "templates"

    def source(name: str) -> str:
        # Empty lines are marked before anything is put in: what comes out empty parts nothing.
        text = (folder / name).read_text(encoding="utf-8")
        return re.sub(r"\n[ \t]*\n", f"\n{_PARTED}\n", text)

    loader = FunctionLoader(source)
    # Plain text: who sets it escapes it.
    return Environment(loader=loader, undefined=StrictUndefined, autoescape=False)  # noqa: S701


def _template(section: str) -> Template:
    made: Any = _environment().get_template(f"proposal_{section}.j2")
    template: Template = made
    return template
