"""Writing several files whole or not at all, whenever the program may end."""

from __future__ import annotations

import os
import shutil
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING

from roadrisk.base import file_moves, folder_swap
from roadrisk.base.disk_words import disk_words
from roadrisk.base.folder_lock import held
from roadrisk.base.synced import synced, synced_folder
from roadrisk.errors import OutputError

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Iterator, Mapping

WRITING = "writing files"
ELSEWHERE = "wait until that has ended, or name another folder"
_MARKS = (*file_moves.MARKS[:2], folder_swap.MARKS[0])
_MADE_BY_US = {"new", "old", *file_moves.MARKS, *folder_swap.MARKS}
_IN_THE_WAY = "{} is in the way, and none of ours: look what it is, and move it away"


def write_whole(
    files: Mapping[str, bytes], out: Path, *, first: Callable[[], None] | None = None
) -> tuple[Path, ...]:
    """Write `files` into the folder `out`: either all of them, or nothing changes.

    The files are staged in a hidden folder beside `out`, on the disk before any takes its place.
    Then the whole folder is exchanged for one with the new files in it, in one step of the
    kernel (`folder_swap`), or, where that can't be, the files are moved one by one with a note
    of what was where (`file_moves`): what a killed program left half done is put right by the
    next call, or by `ready`. Other files in `out` stay. The folder is held meanwhile
    (`folder_lock`).

    Parameters
    ----------
    files : mapping of str to bytes
        Plain file names (no folders) and contents.
    out : pathlib.Path
        Made if missing.
    first : callable, optional
        Called when all is staged and before anything takes its place: what must be on the disk
        before the files can be seen. If it fails, nothing changes. What it did stays if the
        program is killed just after it.

    Returns
    -------
    tuple of pathlib.Path
        The files written, in the order of `files`.

    Raises
    ------
    FolderInUseError
        Another process works in the folder.
    OutputError
        One sentence: a file is open in another program, the disk is full, or the like.
    """
    if not files:
        return ()
    with ready(out):
        staging = _staging_for(out)
        _refuse_locked(files, out)
        try:
            _stage(files, out, staging)
            names = list(files)
            # One file needs no exchange: it is moved to its place in one step.
            if len(names) == 1 or not folder_swap.swapped_in(names, out, staging, first):
                file_moves.move_in(names, out, staging, first)
        finally:
            # With a mark still there the way back failed too: the next run needs the copies.
            if not _marked(staging):
                shutil.rmtree(staging, ignore_errors=True)
    return tuple(out / name for name in files)


@contextmanager
def ready(out: Path, *, words: str = WRITING, mend: str = ELSEWHERE) -> Iterator[None]:
    """Hold a folder to write in, with what a killed program left there put right.

    Parameters
    ----------
    out : pathlib.Path
        Made if missing; taken away again if nothing is written.
    words, mend : str
        What for, and what to do, said to whom is turned away.

    Raises
    ------
    FolderInUseError
        Another process holds it.
    OutputError
        It can't be written in, or what was left can't be put right yet.
    """
    with held(out, words=words, mend=mend):
        for staging in _stagings(out):
            _put_right(staging, out)
        yield


def _stagings(out: Path) -> tuple[Path, Path]:
    """Return where files may be staged: beside the folder, and in it."""
    real = out.resolve()
    name = f".{real.name}.unfinished"
    return real.parent / name, real / name


def _staging_for(out: Path) -> Path:
    beside, inside = _stagings(out)
    try:
        same_disk = beside.parent.stat().st_dev == inside.parent.stat().st_dev
    except OSError as error:
        raise OutputError(disk_words(out, error)) from error
    # A mounted folder can't receive files moved from its parent's disk.
    return beside if same_disk and os.access(beside.parent, os.W_OK) else inside


def _put_right(staging: Path, out: Path) -> None:
    if not os.path.lexists(staging):
        return
    try:
        ours = staging.is_dir() and not staging.is_symlink()
        if not ours or not {p.name for p in staging.iterdir()} <= _MADE_BY_US:
            raise OutputError(_IN_THE_WAY.format(staging))
        file_moves.put_right(out, staging)
        folder_swap.put_right(out, staging)
        shutil.rmtree(staging)
    except OSError as error:
        raise OutputError(disk_words(out / _name_in(error, staging), error)) from error
    except (ValueError, TypeError, KeyError, AttributeError) as error:
        raise OutputError(_IN_THE_WAY.format(staging)) from error


def _marked(staging: Path) -> bool:
    return any((staging / mark).exists() for mark in _MARKS)


def _refuse_locked(names: Iterable[str], out: Path) -> None:
    for name in names:
        target = out / name
        # LibreOffice's, Excel's, and Word's, which writes over the first two letters of a name of
        # eight or more before its ending, over one of seven (from memory).
        cut = min(max(len(Path(name).stem) - 6, 0), 2)
        for lock in (f".~lock.{name}#", f"~${name}", f"~${name[cut:]}"):
            if target.exists() and (out / lock).exists():
                raise OutputError(
                    f"{name} is open in another program; close it and run again "
                    f"(if no program has it open, delete {lock})"
                )
        if target.is_dir():
            raise OutputError(f"{target} is a folder where a file is to be written; move it away")
        if target.exists():
            try:
                with target.open("r+b"):
                    pass
            except OSError as error:
                raise OutputError(disk_words(target, error)) from error


def _stage(files: Mapping[str, bytes], out: Path, staging: Path) -> None:
    """Lay the new files ready, on the disk."""
    name = ""
    new = staging / "new"
    try:
        new.mkdir(parents=True)
        for name, content in files.items():
            (new / name).write_bytes(content)
        # All are written first: the first call then takes most of them to the disk.
        for name in files:
            synced(new / name)
        synced_folder(new)
    except OSError as error:
        raise OutputError(disk_words(out / name, error)) from error


def _name_in(error: OSError, staging: Path) -> str:
    named = error.filename2 or error.filename
    return Path(named).name if named else staging.name
