"""What may lie beside an SQLite file: its logs, which SQLite follows wherever they lead."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from pathlib import Path

LOGS = ("-journal", "-wal", "-shm")
# https://www.sqlite.org/fileformat2.html, section 3 (The Rollback Journal): header string; a
# journal that names a super-journal ends with it too.
_MAGIC = bytes.fromhex("d9d505f920a163d7")


def log_problem(path: Path) -> tuple[str, str] | None:
    """Say why an SQLite file must not be opened because of the logs beside it.

    A rollback journal may name another file anywhere on the computer (a super-journal), which
    SQLite reads and then deletes. We never write one, so a file with such a journal is refused.

    Parameters
    ----------
    path : pathlib.Path
        The SQLite file.

    Returns
    -------
    (problem, mend) or None
    """
    if path.exists() and not path.is_file():
        return "it is no file.", "take it away"
    for ending in LOGS:
        log = path.with_name(path.name + ending)
        if log.is_symlink() or (log.exists() and not log.is_file()):
            return (f"{log.name!r} beside it is a link, or no file.", "take it away")
    journal = path.with_name(f"{path.name}-journal")
    if journal.is_file() and _names_another(journal):
        return (
            f"{journal.name!r} beside it leads to another file on this computer.",
            "don't use files of this folder before you know who made it; take that one away",
        )
    return None


def _names_another(journal: Path) -> bool:
    with journal.open("rb") as file:
        file.seek(0, 2)
        size = file.tell()
        file.seek(max(0, size - len(_MAGIC)))
        return size > len(_MAGIC) and file.read() == _MAGIC
