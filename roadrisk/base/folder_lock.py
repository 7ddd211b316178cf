"""One process at a time in a folder: a lock that goes when its holder dies, however it dies."""

from __future__ import annotations

import errno
import os
import socket
import sys
import threading
import time
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from datetime import datetime
from typing import TYPE_CHECKING

from roadrisk.base.disk_words import disk_words
from roadrisk.errors import FolderInUseError, OutputError, one_line

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

LOCK_FILE = ".roadrisk.lock"
# Where the file system has no locks: a file that stays behind if its maker is killed.
CLAIM_FILE = ".roadrisk.claim"
WAIT = "wait until that has ended"
_OURS = "roadrisk, process "
_LONGEST = 400
_TRIES = 50
_PAUSE_S = 0.05
_HELD_ALREADY = {errno.EAGAIN, errno.EACCES, errno.EWOULDBLOCK, errno.EDEADLK}
_NO_LOCKS = {
    getattr(errno, name)
    for name in ("ENOLCK", "EOPNOTSUPP", "ENOTSUP", "ENOSYS", "EINVAL")
    if hasattr(errno, name)
}
# Windows keeps others from reading what is locked, so a byte far behind the words is.
_LOCKED_BYTE = 1 << 30


@contextmanager
def held(folder: Path, *, words: str, mend: str = WAIT, wait_s: float = 0.0) -> Iterator[None]:
    """Hold a folder, so that no other process that asks for it works in it.

    The lock is the kernel's (flock, on Windows msvcrt), on a file `LOCK_FILE` in the folder that
    is gone afterwards; a process that is killed leaves the file, which then holds nobody up.
    Where the file system has no locks, a file `CLAIM_FILE` names the holder instead: one left
    by a killed process of this computer is passed over, one of another computer is not. The
    thread that holds a folder may hold it again; a forked or other process, or another thread, may
    not.

    Parameters
    ----------
    folder : pathlib.Path
        Made if missing, and taken away again if nothing lies in it at the end.
    words : str
        What for; shown to whom is turned away.
    mend : str
        What somebody should do who is turned away.
    wait_s : float
        How long to wait for another holder [s].

    Raises
    ------
    FolderInUseError
        Somebody else holds it: one sentence with who, on which computer, since when, and `mend`.
    OutputError
        The folder can't be made, or nothing can be written in it.
    """
    real = folder.resolve()
    key = str(real)
    if _HELD.get(key) == _me():
        yield
        return
    made: list[Path] = []
    lock = _acquire(folder, real, made, words, mend, time.monotonic() + wait_s)
    _HELD[key] = _me()
    try:
        yield
    finally:
        del _HELD[key]
        lock.release()
        _unmake(made)


# Process and thread that hold a folder; only who holds the lock changes its entry.
_HELD: dict[str, tuple[int, int]] = {}


def _me() -> tuple[int, int]:
    return os.getpid(), threading.get_ident()


@dataclass
class _Lock:
    """A lock that is held: an open file, or (handle None) a claim."""

    path: Path
    handle: int | None

    def release(self) -> None:
        if self.handle is None or sys.platform != "win32":
            # Gone while it is still held, so that who comes next makes a new one.
            with suppress(OSError):
                if self.handle is None or _same_file(self.path, self.handle):
                    self.path.unlink()
            if self.handle is not None:
                os.close(self.handle)
            return
        os.close(self.handle)
        with suppress(OSError):
            self.path.unlink()


def _acquire(
    folder: Path, real: Path, made: list[Path], words: str, mend: str, until: float
) -> _Lock:
    """Take the lock; folders that had to be made are put into `made`, innermost first."""
    tries = 0
    while True:
        _make(folder, real, made)
        try:
            found = _try_lock(real, words)
        except FileNotFoundError:
            found = ""  # whoever held it took the folder away with it
        except OSError as error:
            _unmake(made)
            raise OutputError(disk_words(folder, error)) from error
        except OutputError:
            _unmake(made)
            raise
        if isinstance(found, _Lock):
            return found
        tries += 1
        # An empty answer is a lock file that went just now: to be tried again at once.
        if (found or tries > _TRIES) and time.monotonic() >= until:
            _unmake(made)
            raise FolderInUseError(
                one_line(f"{folder} is in use by {found or 'others'}: {mend}; nothing was written")
            )
        if found:
            time.sleep(_PAUSE_S)


def _make(folder: Path, real: Path, made: list[Path]) -> None:
    missing = [p for p in (real, *real.parents) if not p.exists()]
    made += [p for p in missing if p not in made]
    try:
        real.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        _unmake(made)
        raise OutputError(disk_words(folder, error)) from error


def _unmake(made: list[Path]) -> None:
    for folder in made:
        # Not empty: something was written in it, by us or by others.
        with suppress(OSError):
            folder.rmdir()


def _try_lock(real: Path, words: str) -> _Lock | str:
    """Return the lock, or who has it; "" where its file was taken away meanwhile."""
    path = real / LOCK_FILE
    # A link would lead what is written here out of the folder.
    flags = os.O_RDWR | os.O_CREAT | getattr(os, "O_NOFOLLOW", 0) | getattr(os, "O_CLOEXEC", 0)
    try:
        handle = os.open(path, flags, 0o666)
    except OSError as error:
        if error.errno in (errno.ELOOP, errno.EISDIR):
            raise _in_the_way(path) from error
        raise
    try:
        try:
            taken = lock_open(handle)
        except OSError as error:
            if error.errno not in _NO_LOCKS:
                raise
            os.close(handle)
            handle = -1
            path.unlink(missing_ok=True)
            return _try_claim(real / CLAIM_FILE, words)
        os.lseek(handle, 0, os.SEEK_SET)
        who = os.read(handle, _LONGEST).decode("utf-8", "replace").strip()
        ours = who.startswith(_OURS)
        if not taken:
            return who if ours else "another roadrisk"
        if not _same_file(path, handle):
            return ""
        if who and not ours:
            raise _in_the_way(path)
        # On a full disk the lock holds as well; it only doesn't say whose it is.
        with suppress(OSError):
            os.ftruncate(handle, 0)
            os.lseek(handle, 0, os.SEEK_SET)
            os.write(handle, _who(words))
        lock, handle = _Lock(path, handle), -1
        return lock
    finally:
        if handle >= 0:
            os.close(handle)


def lock_open(handle: int) -> bool:
    """Lock an open file until it is closed, or its process ends.

    Parameters
    ----------
    handle : int
        Of a file that is open for writing.

    Returns
    -------
    bool
        False if another has it.

    Raises
    ------
    OSError
        The file system has no locks.
    """
    if sys.platform == "win32":
        import msvcrt

        os.lseek(handle, _LOCKED_BYTE, os.SEEK_SET)
        try:
            msvcrt.locking(handle, msvcrt.LK_NBLCK, 1)
        except OSError as error:
            if error.errno in _HELD_ALREADY:
                return False
            raise
        return True
    import fcntl

    try:
        fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except OSError as error:
        if error.errno in _HELD_ALREADY:
            return False
        raise
    return True


def _try_claim(path: Path, words: str) -> _Lock | str:
    """Claim the folder by a file, or return whose claim stands."""
    for _ in range(2):
        try:
            handle = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o666)
        except FileExistsError:
            who = path.read_bytes()[:_LONGEST].decode("utf-8", "replace").strip()
            if not _is_dead(who, str(path.parent)):
                return f"{who or 'another roadrisk'} (if none is at work there, delete {path})"
            path.unlink(missing_ok=True)
            continue
        try:
            os.write(handle, _who(words))
        finally:
            os.close(handle)
        return _Lock(path, None)
    return ""


def _is_dead(who: str, key: str) -> bool:
    """Whether a claim is of a process of this computer that is no more."""
    number, _, host = who.removeprefix(_OURS).partition(" on ")
    # On Windows asking a process whether it lives would end it.
    ours = who.startswith(_OURS) and host.split(" since ")[0] == socket.gethostname()
    if sys.platform == "win32" or not ours or not number.isdigit():
        return False
    if int(number) == os.getpid():
        return key not in _HELD
    try:
        os.kill(int(number), 0)
    except ProcessLookupError:
        return True
    except OSError:
        return False
    return False


def _who(words: str) -> bytes:
    now = datetime.now().astimezone().isoformat(" ", "minutes")
    return f"{_OURS}{os.getpid()} on {socket.gethostname()} since {now} ({words})\n".encode()


def _same_file(path: Path, handle: int) -> bool:
    try:
        there, mine = path.stat(follow_symlinks=False), os.fstat(handle)
    except OSError:
        return False
    return (there.st_dev, there.st_ino) == (mine.st_dev, mine.st_ino)


def _in_the_way(path: Path) -> OutputError:
    return OutputError(f"{path} is none of ours, and in the way: move it away")
