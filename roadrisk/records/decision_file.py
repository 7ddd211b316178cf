"""The SQLite file that holds decisions: its layout, and what SQLite says of it in plain words."""

from __future__ import annotations

import sqlite3
import time
from contextlib import closing, contextmanager
from typing import TYPE_CHECKING

from roadrisk.errors import InputError, Remark

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

    from roadrisk.errors import RoadriskError

DECISIONS_FILE = "decisions.sqlite"
VERSION = 1
# Marks the file as ours among SQLite files: "rrdk" in ASCII.
APPLICATION = 0x7272646B
BUSY_S = 20.0

_LAYOUT = (
    """CREATE TABLE history (
    number INTEGER PRIMARY KEY,
    at TEXT NOT NULL,
    who TEXT NOT NULL CHECK (who <> ''),
    kind TEXT NOT NULL CHECK (kind IN ('verdict', 'place', 'same', 'apart', 'undo')),
    report_key TEXT NOT NULL,
    fingerprint TEXT NOT NULL,
    verdict TEXT NOT NULL CHECK (verdict IN ('', 'accept', 'ask back', 'not sure', 'reject')),
    reason TEXT NOT NULL,
    longitude REAL CHECK (longitude BETWEEN -180 AND 180),
    latitude REAL CHECK (latitude BETWEEN -90 AND 90),
    other_key TEXT NOT NULL,
    undoes INTEGER REFERENCES history (number),
    source TEXT NOT NULL,
    other_fingerprint TEXT NOT NULL
) STRICT""",
    """CREATE TRIGGER nothing_is_changed BEFORE UPDATE ON history
    BEGIN SELECT RAISE(ABORT, 'the history of decisions is append-only'); END""",
    """CREATE TRIGGER nothing_is_deleted BEFORE DELETE ON history
    BEGIN SELECT RAISE(ABORT, 'the history of decisions is append-only'); END""",
    # Without it INSERT OR REPLACE would overwrite a line unseen by the other two.
    """CREATE TRIGGER numbers_go_on BEFORE INSERT ON history
    WHEN NEW.number <> (SELECT coalesce(max(number), 0) + 1 FROM history)
    BEGIN SELECT RAISE(ABORT, 'the history of decisions is append-only'); END""",
)


class ReadOnlyFileError(InputError):
    """The file can be read but nothing beside it written."""


@contextmanager
def opened(path: Path, name: str) -> Iterator[sqlite3.Connection]:
    """Open the file; what SQLite says of it becomes one line with the mend."""
    try:
        with closing(sqlite3.connect(path, timeout=BUSY_S, isolation_level=None)) as link:
            link.execute("PRAGMA foreign_keys = ON")
            yield link
    except sqlite3.Error as error:
        raise _in_words(error, name) from error
    except (UnicodeDecodeError, OverflowError) as error:  # text or a number that can't be either
        raise damaged(name) from error


def damaged(name: str) -> InputError:
    """Return the error that a file holds no history that can be read."""
    said = "the file is damaged, or is no history of decisions."
    mend = "keep it under another name and put back a copy from before"
    return InputError([Remark(name, None, "", said, mend)])


def _in_words(error: sqlite3.Error, name: str) -> RoadriskError:
    code = getattr(error, "sqlite_errorcode", 0) & 0xFF
    match code:
        case sqlite3.SQLITE_NOTADB | sqlite3.SQLITE_CORRUPT:
            return damaged(name)
        case sqlite3.SQLITE_READONLY | sqlite3.SQLITE_CANTOPEN | sqlite3.SQLITE_PERM:
            said = "the file or its folder may not be written."
            mend = "make both writable, or copy the study folder to where you may write"
            return ReadOnlyFileError([Remark(name, None, "", said, mend)])
        case sqlite3.SQLITE_BUSY | sqlite3.SQLITE_LOCKED:
            said = f"another program kept the file busy for {BUSY_S:g} seconds."
            mend = "close the other program, then do it again; nothing was written"
        case sqlite3.SQLITE_FULL:
            said = "the disk is full."
            mend = "make room, then do it again; nothing was written"
        case _:
            said = f"the file can't be used ({error})."
            mend = "copy the study folder to a local disk and work there"
    return InputError([Remark(name, None, "", said, mend)])


def in_wal_mode(link: sqlite3.Connection) -> None:
    """Switch to write-ahead logging; SQLite doesn't wait by itself for others to let it."""
    until = time.monotonic() + BUSY_S
    while True:
        try:
            (mode,) = link.execute("PRAGMA journal_mode = WAL").fetchone()
        except sqlite3.OperationalError as error:
            busy = error.sqlite_errorcode & 0xFF in (sqlite3.SQLITE_BUSY, sqlite3.SQLITE_LOCKED)
            if not busy or time.monotonic() > until:
                raise
            time.sleep(0.01)
        else:
            if mode != "wal":
                said = "this disk can't keep a write-ahead log (is it a network drive?)."
                mend = "copy the study folder to a local disk and work there"
                raise InputError([Remark(DECISIONS_FILE, None, "", said, mend)])
            return


def lay_out(link: sqlite3.Connection, name: str) -> None:
    """Make the tables in a new file, within the transaction of its first entries."""
    if is_laid_out(link, name):
        return
    for statement in _LAYOUT:
        link.execute(statement)
    link.execute(f"PRAGMA application_id = {APPLICATION}")
    link.execute(f"PRAGMA user_version = {VERSION}")


def is_laid_out(link: sqlite3.Connection, name: str) -> bool:
    """Whether the file holds a history; False for an empty file."""
    # One statement, so that it doesn't see half of what another program is just laying out.
    tables, version, application = link.execute(
        "SELECT (SELECT count(*) FROM sqlite_schema), user_version, application_id "
        "FROM pragma_user_version, pragma_application_id"
    ).fetchone()
    if not tables and not version and not application:
        return False
    if application != APPLICATION:
        said = "the file is a database of another program, no history of decisions."
        mend = "move it away: decisions are kept under this name"
        raise InputError([Remark(name, None, "", said, mend)])
    if version > VERSION:
        said = f"a newer roadrisk wrote this file (layout {version}; known here: {VERSION})."
        raise InputError([Remark(name, None, "", said, "update roadrisk on this computer")])
    # Nothing but what was laid out: a view in a table's place could compute for ever.
    there = {(kind, sql) for kind, sql in link.execute("SELECT type, sql FROM sqlite_schema")}
    if there != {(statement.split()[1].lower(), statement) for statement in _LAYOUT}:
        raise damaged(name)
    return True


def check_whole(link: sqlite3.Connection, name: str) -> None:
    """Raise if SQLite finds damage."""
    if not is_laid_out(link, name):
        return
    (found,) = link.execute("PRAGMA quick_check(1)").fetchone()
    if found != "ok":
        said = "the file is damaged."
        mend = "keep it under another name and put back a copy from before"
        raise InputError([Remark(name, None, "", said, mend)])
