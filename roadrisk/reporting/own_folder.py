"""A folder of an edition's own: nothing of another lies in it, and nobody's edits are lost."""

from __future__ import annotations

from typing import TYPE_CHECKING

from roadrisk.errors import OutputError
from roadrisk.records.past_run import OLDER, as_written, edition_in
from roadrisk.records.release_log import RELEASE_FILE

if TYPE_CHECKING:
    from collections.abc import Iterable
    from pathlib import Path

    from roadrisk.reporting.editions.edition import EditionKind

# What people edit, and what their version is kept as.
EDITED = {"proposal.docx": "proposal_edited"}


def refuse_other_edition(out: Path, kind: EditionKind) -> None:
    """Stop before a confidential file could come to lie beside an agency's, or the other way.

    Parameters
    ----------
    out : pathlib.Path
        Where files are to be written; may be missing.
    kind : {"confidential", "agency", "public"}

    Raises
    ------
    OutputError
        The folder holds another edition's files, or those of a version without editions.
    """
    found = edition_in(out)
    if found in ("", kind):
        return
    whose = (
        "an older version, which knew no editions," if found == OLDER else f"the {found} edition"
    )
    raise OutputError(
        f"{out} holds files of {whose} and would get those of the {kind} edition: move them away, "
        "or name another folder with --out; nothing was written"
    )


def refuse_without_log(out: Path, folder: Path) -> None:
    """Stop where an earlier public edition lies in the folder and the study has lost its log.

    Parameters
    ----------
    out : pathlib.Path
        Where a public edition is to be written.
    folder : pathlib.Path
        The study's.

    Raises
    ------
    OutputError
        The new edition would start anew, and could be subtracted from the one that lies there.
    """
    if edition_in(out) == "public" and not (folder / RELEASE_FILE).exists():
        raise OutputError(
            f"{out} holds a public edition, but the study has no {RELEASE_FILE}, which says what "
            "was released: put it back; only if nothing was ever handed out, move the old edition "
            "away; nothing was written"
        )


def edits_kept(out: Path, names: list[str]) -> dict[str, bytes]:
    """Return a person's versions of files that are about to be replaced, under free names.

    Parameters
    ----------
    out : pathlib.Path
    names : list of str
        Of the files that are about to be written.

    Returns
    -------
    dict of str to bytes
        ``proposal_edited.docx``, else ``proposal_edited-2.docx`` and so on; empty where what lies
        there is what the last run wrote.

    Raises
    ------
    OutputError
        A file is there and can't be read.
    """
    kept = {}
    for name, stem in EDITED.items():
        path = out / name
        if name not in names or not path.is_file():
            continue
        try:
            content = path.read_bytes()
        except OSError as error:
            raise OutputError(
                f"{name} can't be read, so that edits in it could be lost: {error.strerror}; "
                "close it, or move it away, and run again"
            ) from error
        if not as_written(out, name, content):
            kept[_free(out, stem, path.suffix, content)] = content
    return kept


def edits_words(written: Iterable[Path]) -> list[str]:
    """Return a run's words about edited files that it kept.

    Parameters
    ----------
    written : iterable of pathlib.Path
        The files of a run.

    Returns
    -------
    list of str
        One sentence a file; empty where nothing had been edited.
    """
    return [
        f"Your edited {name} is kept as {path.name}; {name} is the fresh draft."
        for path in written
        for name, stem in EDITED.items()
        if path.name.startswith(stem)
    ]


def _free(out: Path, stem: str, suffix: str, content: bytes) -> str:
    """Return a name that is free, or whose file holds the same already."""
    number = 1
    while True:
        name = f"{stem}{suffix}" if number == 1 else f"{stem}-{number}{suffix}"
        path = out / name
        if not path.exists() or (path.is_file() and path.read_bytes() == content):
            return name
        number += 1
