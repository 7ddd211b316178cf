"""A folder exchanged for one with new files in it, in one step: nobody ever sees half.

POSIX renames a folder only over an empty one. Linux can exchange two folders (renameat2 with
RENAME_EXCHANGE, since 3.15; its manual page): whoever looks sees the old files or the new, and so
it stays if the program or the computer ends at that moment. Where that is missing, the old folder
is renamed and then the new one: between the two there is no folder, and what a program that was
killed there left is put right by the next. Windows renames no folder in which a file is open.
"""

from __future__ import annotations

import ctypes
import errno
import json
import os
import shutil
import stat
from contextlib import suppress
from pathlib import Path
from typing import TYPE_CHECKING

from roadrisk.base.disk_words import disk_words
from roadrisk.base.file_moves import saved_name
from roadrisk.base.file_state import file_state
from roadrisk.base.folder_lock import LOCK_FILE
from roadrisk.base.synced import synced, synced_folder
from roadrisk.errors import OutputError

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable

MARKS = ("swapping.json", "swapping.json.draft")
# From linux/fs.h and linux/fcntl.h.
_EXCHANGE, _HERE = 2, -100
_CANT = {errno.ENOSYS, errno.EINVAL, errno.EOPNOTSUPP}


def swapped_in(
    names: Iterable[str], out: Path, staging: Path, first: Callable[[], None] | None
) -> bool:
    """Exchange a folder for ``staging/new``, its other files kept by links.

    Parameters
    ----------
    names : iterable of str
        Of the files in ``staging/new``.
    out, staging : pathlib.Path
        `out` is held by this process (`folder_lock`).
    first : callable or None
        Called before the exchange.

    Returns
    -------
    bool
        False if this folder can't be exchanged, and nothing was changed: it is a mounted one, the
        one we stand in, holds folders or links, or no file that is replaced, so that it may be
        somebody's own; or the system can't.

    Raises
    ------
    OutputError
        Nothing was changed.
    """
    mine = set(names)
    real, new = out.resolve(), staging / "new"
    if os.name != "posix" or not _may_swap(mine, real, staging):
        return False
    kept = {p.name: file_state(p) for p in real.iterdir()}
    if not _dressed(real, new, set(kept) - mine):
        return False
    try:
        _mark(staging, new, {name: list(state or ()) for name, state in kept.items()}, mine)
        if first is not None:
            first()
        _exchange(real, new, staging)
        synced_folder(real.parent)
        synced_folder(staging)
        put_right(out, staging)
    except OSError as error:
        with suppress(OSError):
            put_right(out, staging)
        raise OutputError(disk_words(out, error)) from error
    except BaseException:
        # `first` failed, or a person stopped it: whichever folder is in its place is whole.
        put_right(out, staging)
        raise
    return True


def put_right(out: Path, staging: Path) -> None:
    """Finish what a program left that was killed around an exchange.

    Parameters
    ----------
    out, staging : pathlib.Path
        Whatever somebody wrote into the old folder while it was exchanged is carried over.

    Raises
    ------
    OSError
        To be called again.
    """
    mark = staging / MARKS[0]
    if not mark.exists():
        return
    noted = json.loads(mark.read_text("utf-8"))
    new, old = staging / "new", staging / "old"
    exchanged = new.exists() and new.stat().st_ino != noted["new"]
    if exchanged:
        _carry_over(new, out, noted)
    elif old.exists():
        # Killed between two renames: the new folder was not in its place yet.
        for path in old.iterdir() if not _is(out, noted["new"]) else ():
            if path.name != LOCK_FILE:
                os.replace(path, out / path.name)  # noqa: PTH105
        if _is(out, noted["new"]):
            _carry_over(old, out, noted)
    synced_folder(out)
    mark.unlink()


def _is(folder: Path, inode: int) -> bool:
    return folder.exists() and folder.stat().st_ino == inode


def _may_swap(mine: set[str], real: Path, staging: Path) -> bool:
    if staging.parent != real.parent or real.is_mount() or _stands_in(real):
        return False
    with os.scandir(real) as entries:
        found = {e.name: e.is_file(follow_symlinks=False) for e in entries}
    others = set(found) - mine - {LOCK_FILE}
    return all(found.values()) and (not others or not mine.isdisjoint(found))


def _stands_in(real: Path) -> bool:
    """Whether this process, and so most likely a person's terminal, stands in the folder."""
    try:
        return Path.cwd().is_relative_to(real)
    except OSError:
        return False


def _dressed(real: Path, new: Path, others: set[str]) -> bool:
    """Give the new folder the other files, the owner and the rights of the old one."""
    try:
        for name in others:
            os.link(real / name, new / name)
        was, is_ = real.stat(), new.stat()
        if (was.st_uid, was.st_gid) != (is_.st_uid, is_.st_gid):
            os.chown(new, was.st_uid, was.st_gid)
        shutil.copystat(real, new)
        if stat.S_IMODE(new.stat().st_mode) != stat.S_IMODE(was.st_mode):
            new.chmod(stat.S_IMODE(was.st_mode))
        synced_folder(new)
    except OSError:
        # A disk without links, or files of somebody else.
        for name in others:
            (new / name).unlink(missing_ok=True)
        return False
    return True


def _mark(staging: Path, new: Path, kept: dict[str, list[int]], mine: set[str]) -> None:
    noted = {"new": new.stat().st_ino, "there": kept, "names": sorted(mine)}
    draft = staging / MARKS[1]
    draft.write_text(json.dumps(noted), encoding="utf-8")
    synced(draft)
    draft.rename(staging / MARKS[0])
    synced_folder(staging)


def _exchange(real: Path, new: Path, staging: Path) -> None:
    try:
        _renameat2(real, new)
    except OSError as error:
        if error.errno not in _CANT:
            raise
        old = staging / "old"
        real.rename(old)
        try:
            new.rename(real)
        except OSError:
            old.rename(real)
            raise


def _renameat2(one: Path, other: Path) -> None:
    """Exchange two folders, or raise an OSError of `_CANT` where the system can't."""
    try:
        call = ctypes.CDLL(None, use_errno=True).renameat2
    except (AttributeError, OSError):
        raise OSError(errno.ENOSYS, "no exchange of folders") from None
    if call(_HERE, os.fsencode(one), _HERE, os.fsencode(other), _EXCHANGE):
        code = ctypes.get_errno()
        raise OSError(code, os.strerror(code), str(one))


def _carry_over(old: Path, out: Path, noted: dict[str, dict[str, list[int]]]) -> None:
    """Move what came into the old folder after it was looked through."""
    for path in sorted(old.iterdir()):
        known = noted["there"].get(path.name)
        if path.name == LOCK_FILE or (known and list(file_state(path) or ()) == known):
            continue
        name = saved_name(path.name) if path.name in noted["names"] else path.name
        os.replace(path, out / name)  # noqa: PTH105
