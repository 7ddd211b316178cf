"""Pages to print: one file, no script, no request, all text from data escaped."""

from __future__ import annotations

import html
from importlib import resources
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from collections.abc import Iterable, Sequence


# Rows of a table that isn't torn between two sheets of paper.
_SHORT = 14


def printed_page(title: str, body: str, styles: Sequence[str]) -> bytes:
    """Return a page that may fetch and run nothing.

    Parameters
    ----------
    title : str
        May be any text.
    body : str
        HTML whose text is escaped.
    styles : sequence of str
        Names of files in ``templates``.

    Returns
    -------
    bytes
        UTF-8.
    """
    folder = resources.files("roadrisk.reporting") / "templates"
    style = "\n".join((folder / name).read_text("utf-8") for name in styles)
    return (
        '<!DOCTYPE html>\n<html lang="en">\n<head>\n<meta charset="utf-8">\n'
        '<meta http-equiv="Content-Security-Policy" content="default-src \'none\'; '
        "style-src 'unsafe-inline'; base-uri 'none'; form-action 'none'\">\n"
        '<meta name="viewport" content="width=device-width, initial-scale=1">\n'
        f"<title>{escaped(title)}</title>\n<style>\n{style}</style>\n</head>\n<body>\n{body}\n"
        "</body>\n</html>\n"
    ).encode()


def escaped(text: str) -> str:
    """Return text as HTML shows it."""
    return html.escape(text, quote=True)


def paragraph(text: str, look: str = "") -> str:
    """Return a paragraph of plain text."""
    kind = f' class="{look}"' if look else ""
    return f"<p{kind}>{escaped(text)}</p>"


def table(
    caption: str, heads: Sequence[str], rows: Iterable[Sequence[str]], *, texts: Sequence[int] = ()
) -> str:
    """Return a table of plain text whose first column names the row.

    Parameters
    ----------
    caption : str
    heads : sequence of str
    rows : iterable of sequences of str
    texts : sequence of int
        Columns besides the first that hold words, not numbers, and are set to the left.

    Returns
    -------
    str
        In a box that scrolls sideways where the window is narrow, by keyboard too.
    """
    look = [' class="words"' if k in texts else "" for k in range(len(heads))]
    head = "".join(
        f'<th scope="col"{kind}>{escaped(words)}</th>'
        for words, kind in zip(heads, look, strict=True)
    )
    lines = [
        f'<tr><th scope="row">{escaped(first)}</th>'
        + "".join(
            f"<td{kind}>{escaped(cell)}</td>" for cell, kind in zip(rest, look[1:], strict=True)
        )
        + "</tr>"
        for first, *rest in rows
    ]
    body = "\n".join(lines)
    # Short tables stay on one sheet of paper.
    kind = ' class="short"' if len(lines) <= _SHORT else ""
    return (
        f'<div class="wide" role="region" tabindex="0" aria-label="{escaped(caption)}">\n'
        f"<table{kind}>\n<caption>{escaped(caption)}</caption>\n<thead><tr>{head}</tr></thead>\n"
        f"<tbody>\n{body}\n</tbody>\n</table>\n</div>"
    )


def figure(charts: Sequence[str], caption: str = "", look: str = "panels") -> str:
    """Return charts side by side with words below; "" without a chart."""
    drawn = [chart for chart in charts if chart]
    if not drawn:
        return ""
    inside = "\n".join(f"<div>{chart}</div>" for chart in drawn)
    said = f"\n<figcaption>{escaped(caption)}</figcaption>" if caption else ""
    return f'<figure>\n<div class="{look}">\n{inside}\n</div>{said}\n</figure>'
