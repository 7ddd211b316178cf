"""Starting a study folder: an empty one with comments, or one around a table that is there."""

from __future__ import annotations

import json
from typing import TYPE_CHECKING

from roadrisk.base.whole import ready, write_whole
from roadrisk.errors import OutputError
from roadrisk.records.new_study_text import METHODS, ROADS, STUDY, TABLES, TEMPLATES
from roadrisk.records.price_table import price_form
from roadrisk.records.proposal import Match, Proposal, propose
from roadrisk.records.settings_file import NAME
from roadrisk.records.study_files import companions

if TYPE_CHECKING:
    import datetime as dt
    from pathlib import Path

__all__ = ["Match", "Proposal", "propose", "write_empty", "write_from"]


def write_empty(folder: Path) -> list[Path]:
    """Write an empty study: a commented study.toml, tables with header rows, a form of prices.

    Parameters
    ----------
    folder : pathlib.Path
        Made if it is missing.

    Returns
    -------
    list of pathlib.Path
        The files written.

    Raises
    ------
    OutputError
        If one of the files exists already, or the folder can't be written to; nothing is
        written then.
    """
    start, end = "2024-01-01", "2024-12-31"
    texts = {NAME: STUDY.format(start=start, end=end) + TABLES + ROADS + METHODS}
    texts |= {name: ",".join(terms) + "\n" for name, terms in TEMPLATES.items()}
    texts["prices.csv"] = price_form()
    _refuse_existing(folder, list(texts))
    return _write(folder, texts)


def write_from(folder: Path, proposal: Proposal) -> list[Path]:
    """Write a study around a table, with the mapping that the user has confirmed.

    The table is copied into the folder unless it lies there. What the table can't tell (name,
    species, time zone, roads) is left to be filled in.

    Parameters
    ----------
    folder : pathlib.Path
        Made if it is missing.
    proposal : Proposal
        As confirmed; `crs` and `date_order` filled in where they had to be asked.

    Returns
    -------
    list of pathlib.Path
        The files written.

    Raises
    ------
    OutputError
        If study.toml or the table's name exists there already, or the folder can't be
        written to.
    """
    sources = [proposal.file, *companions(proposal.file)]
    inside = proposal.file.parent.resolve() == folder.resolve()
    _refuse_existing(folder, [NAME] if inside else [NAME, *(s.name for s in sources)])
    start = _day(proposal.first_day, "2024-01-01")
    end = _day(proposal.last_day, "2024-12-31")
    head = STUDY.format(start=start, end=end)
    texts = {NAME: head + _section(proposal) + ROADS + METHODS}
    if inside:
        return _write(folder, texts)
    try:
        copies = {s.name: s.read_bytes() for s in sources}
    except OSError as error:
        raise OutputError(f"{folder}: the table can't be copied ({error.strerror}).") from error
    return _write(folder, texts, copies)


def _section(proposal: Proposal) -> str:
    table = proposal.table
    keys: dict[str, str | None] = {
        "file": proposal.file.name,
        "sheet": proposal.sheet,
        "encoding": proposal.encoding,
        "crs": proposal.crs,
        "date_order": proposal.date_order,
    }
    lines = ["", f"[{table}]"]
    lines += [f"{key} = {_quoted(value)}" for key, value in keys.items() if value is not None]
    if proposal.ask_date_order and proposal.date_order is None:
        lines.append('# date_order = "day-first"           # or "month-first": the dates need it')
    if proposal.coordinates == "projected" and proposal.crs is None:
        lines.append('# crs = "EPSG:32617"                 # the system of x and y: fill in')
    lines += ["", f"[{table}.columns]"]
    lines += [f"{m.term} = {_quoted(m.theirs)}" for m in proposal.matches]
    if proposal.unused:
        lines.append(f"# not used: {', '.join(map(_quoted, proposal.unused))}")
    return "\n".join(lines) + "\n"


def _quoted(text: str) -> str:
    """Return a TOML basic string; JSON's escapes are TOML's too."""
    return json.dumps(text, ensure_ascii=False).replace("\x7f", "\\u007f")


def _day(day: dt.date | None, otherwise: str) -> str:
    return otherwise if day is None else day.isoformat()


def _refuse_existing(folder: Path, names: list[str]) -> None:
    if folder.exists() and not folder.is_dir():
        raise OutputError(f"{folder} is a file: name a folder.")
    there = [n for n in names if (folder / n).exists()]
    if there:
        raise OutputError(
            f"{folder} already holds {', '.join(there)}: nothing was written. "
            "Name another folder, or move them."
        )


def _write(
    folder: Path, texts: dict[str, str], copies: dict[str, bytes] | None = None
) -> list[Path]:
    files = {name: text.encode() for name, text in texts.items()} | (copies or {})
    with ready(folder, words="roadrisk new"):
        # Again, now that nobody else writes there: another may have been quicker.
        _refuse_existing(folder, list(files))
        return list(write_whole(files, folder))
