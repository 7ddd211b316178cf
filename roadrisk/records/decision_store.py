"""Decisions kept in the study folder: an append-only history in one SQLite file."""

from __future__ import annotations

import hashlib
import json
import os
from contextlib import contextmanager
from dataclasses import fields, replace
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING

from roadrisk.decisions import Decisions, Entry
from roadrisk.errors import InputError, Remark, RoadriskError
from roadrisk.records.decision_checks import checked
from roadrisk.records.decision_copies import copied, other_copies
from roadrisk.records.decision_file import (
    DECISIONS_FILE,
    ReadOnlyFileError,
    check_whole,
    damaged,
    in_wal_mode,
    is_laid_out,
    lay_out,
    opened,
)
from roadrisk.records.limits import DECISIONS_BYTES, too_large
from roadrisk.records.sqlite_beside import log_problem
from roadrisk.records.synced_folder import synced_folder
from roadrisk.study import InputFile

if TYPE_CHECKING:
    import sqlite3
    from collections.abc import Iterator, Sequence

    from roadrisk.decisions import Draft

_FIELDS = tuple(f.name for f in fields(Entry))


class StaleError(RoadriskError):
    """Somebody wrote about the same reports meanwhile; nothing was written.

    Parameters
    ----------
    entries : tuple of Entry
        What was written since the caller looked.
    """

    def __init__(self, entries: tuple[Entry, ...]) -> None:
        self.entries = entries
        names = " and ".join(sorted({e.who for e in entries}))
        super().__init__(f"{names} decided on this report meanwhile: look at it again")


class DecisionStore:
    """The history of decisions of a study folder.

    Each call opens the file, does its work and closes it; several programs may write at once.

    Parameters
    ----------
    folder : pathlib.Path
        The study folder. `DECISIONS_FILE` is made in it by the first append.
    """

    def __init__(self, folder: Path) -> None:
        self.path = Path(folder) / DECISIONS_FILE

    def append(
        self, drafts: Sequence[Draft], *, who: str, source: str = "page", expect: int | None = None
    ) -> tuple[Entry, ...]:
        """Write drafts to the end of the history, all or none.

        Parameters
        ----------
        drafts : sequence of Draft
        who : str
            Name of the reviewer.
        source : str
            "page", or the name of the file they come from.
        expect : int, optional
            Number of the last entry that the caller has seen (0 for none): if a later one is about
            one of the same reports, nothing is written.

        Returns
        -------
        tuple of Entry
            As written. They are on the disk when this returns: a power cut doesn't lose them.

        Raises
        ------
        StaleError
            See `expect`.
        RoadriskError
            A draft that can't be written, or a file that can't be, with the mend.
        """
        ready = checked(drafts, who=who, source=source)
        if not ready:
            return ()
        fresh = not self.path.exists()
        with self._open() as link:
            link.execute("PRAGMA synchronous = FULL")
            # Another program's database is refused before anything in it is changed.
            is_laid_out(link, self.path.name)
            in_wal_mode(link)
            link.execute("BEGIN IMMEDIATE")
            try:
                lay_out(link, self.path.name)
                written = _write(link, ready, expect)
                link.execute("COMMIT")
            except BaseException:
                if link.in_transaction:
                    link.execute("ROLLBACK")
                raise
        if fresh:
            _sync_folder(self.path.parent)
        return written

    def history(self, after: int = 0) -> tuple[Entry, ...]:
        """Return the entries in the order in which they were written.

        Parameters
        ----------
        after : int
            Only entries with a larger number.

        Returns
        -------
        tuple of Entry
            Empty where there is no file yet.

        Raises
        ------
        RoadriskError
            The file can't be read: the problem and the mend in one line.
        """
        if not self.path.exists():
            return ()
        try:
            with self._open() as link:
                return _entries(link, self.path.name, after)
        except ReadOnlyFileError:
            # A WAL file can't be opened where nothing may be written, so a copy is read.
            with copied(self.path) as copy, opened(copy, self.path.name) as link:
                return _entries(link, self.path.name, after)

    def check(self) -> None:
        """Raise a RoadriskError with the mend if the file is damaged."""
        if not self.path.exists():
            return
        try:
            with self._open() as link:
                check_whole(link, self.path.name)
        except ReadOnlyFileError:
            with copied(self.path) as copy, opened(copy, self.path.name) as link:
                check_whole(link, self.path.name)

    @contextmanager
    def _open(self) -> Iterator[sqlite3.Connection]:
        if self.path.is_symlink():
            said, mend = "the file is a link.", "put the file itself into the study folder"
            raise InputError([Remark(self.path.name, None, "", said, mend)])
        problem = log_problem(self.path)
        if problem is not None:
            raise InputError([Remark(self.path.name, None, "", *problem)])
        with opened(self.path, self.path.name) as link:
            yield link


def read_decisions(
    folder: Path,
) -> tuple[Decisions, tuple[Remark, ...], tuple[InputFile, ...]]:
    """Read the decisions of a study folder.

    Parameters
    ----------
    folder : pathlib.Path

    Returns
    -------
    decisions : Decisions
        Empty where there is no file, or none that can be read.
    remarks : tuple of Remark
        An error if the file can't be read; doubts if it lies where files are synchronised, or if
        copies of it lie beside.
    inputs : tuple of InputFile
        The file, with the hash and size of what the history says: the same entries in a file with
        other bytes (which SQLite may lay out anew) are the same input.
    """
    store = DecisionStore(folder)
    name = store.path.name
    if not store.path.exists():
        return Decisions(), (), ()
    problem = too_large(store.path, DECISIONS_BYTES, "ask who made it: no reviewers write so much")
    if problem is not None:
        return Decisions(), (Remark(name, None, "", *problem),), ()
    try:
        store.check()
        history = store.history()
    except InputError as error:
        return Decisions(), error.remarks, ()
    remarks = other_copies(store.path)
    if not store.path.stat().st_size:
        said = "the file is empty: it holds no decisions."
        mend = "if there were some, put it back from a copy; else delete it"
        remarks += (Remark(name, None, "", said, mend, "doubt"),)
    if (why := synced_folder(Path(folder))) is not None:
        mend = "let one person work at a time, and wait until the sync is done before the next"
        remarks += (Remark(name, None, "", why, mend, "doubt"),)
    said_bytes = "".join(
        json.dumps([getattr(entry, name) for name in _FIELDS], default=str) + "\n"
        for entry in history
    ).encode("ascii")
    digest = hashlib.sha256(said_bytes).hexdigest()
    return Decisions(history), remarks, (InputFile(name, digest, len(said_bytes), len(history)),)


def _entries(link: sqlite3.Connection, name: str, after: int) -> tuple[Entry, ...]:
    if not is_laid_out(link, name):
        return ()
    rows = link.execute(
        f"SELECT {', '.join(_FIELDS)} FROM history WHERE number > ? ORDER BY number",  # noqa: S608
        (after,),
    )
    try:
        return tuple(_sound(Entry(number, datetime.fromisoformat(at), *rest))
                     for number, at, *rest in rows)  # fmt: skip
    except (ValueError, TypeError) as error:
        raise damaged(name) from error


def _sound(entry: Entry) -> Entry:
    """Return an entry that can have been written here, or raise a ValueError."""
    takes_back = entry.undoes is not None
    if (
        entry.at.tzinfo is None
        or takes_back != (entry.kind == "undo")
        or (entry.undoes is not None and not 0 < entry.undoes < entry.number)
    ):
        raise ValueError(entry.number)
    return entry


def _write(
    link: sqlite3.Connection, entries: tuple[Entry, ...], expect: int | None
) -> tuple[Entry, ...]:
    (last,) = link.execute("SELECT coalesce(max(number), 0) FROM history").fetchone()
    if expect is not None and last > expect:
        _refuse_stale(_entries(link, DECISIONS_FILE, 0), entries, expect)
    now = datetime.now(UTC)
    written = []
    for number, entry in enumerate(entries, last + 1):
        if entry.undoes is not None and not 0 < entry.undoes < number:
            raise RoadriskError(f"there is no entry {entry.undoes} to take back")
        done = replace(entry, number=number, at=now)
        values = [getattr(done, name) for name in _FIELDS]
        values[_FIELDS.index("at")] = now.isoformat()
        link.execute(
            f"INSERT INTO history ({', '.join(_FIELDS)}) "  # noqa: S608
            f"VALUES ({', '.join('?' * len(_FIELDS))})",
            values,
        )
        written.append(done)
    return tuple(written)


def _refuse_stale(history: tuple[Entry, ...], entries: tuple[Entry, ...], expect: int) -> None:
    """Raise if an entry after `expect` is about a report of `entries`."""
    by_number = {e.number: e for e in history}

    def about(entry: Entry) -> set[str]:
        while entry.kind == "undo" and entry.undoes in by_number:
            entry = by_number[entry.undoes]
        return {entry.report_key, entry.other_key} - {""}

    ours = set().union(*map(about, entries))
    newer = tuple(e for e in history if e.number > expect and about(e) & ours)
    if newer:
        raise StaleError(newer)


def _sync_folder(folder: Path) -> None:
    """Make the new file's name in its folder durable too (where the system can)."""
    if os.name == "posix":
        handle = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)
