"""Results of long steps, kept from run to run and used again while nothing they rest on changed."""

from __future__ import annotations

import hashlib
import os
import pickle
import sys
import time
from contextlib import suppress
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING, Protocol, TypeVar

from roadrisk.base.content_key import NoKeyError, content_key
from roadrisk.base.folder_lock import lock_open

if TYPE_CHECKING:
    from collections.abc import Callable

Result = TypeVar("Result")
Keys = tuple[str | None, ...]

FOLDER = ".kept"
NOTE = "about.txt"
_ENDING = ".step"
_HEAD = b"roadrisk step 1\n"
# Of each step: the last settings and the ones before, so that two may be compared.
_KEEP = 2
_LEFT_BEHIND_S = 6 * 3600.0
_LIBRARIES = ("numpy", "scipy", "pandas", "numba", "shapely", "geopandas", "pyproj", "statsmodels")
_ABOUT = """\
Results of steps that roadrisk keeps to be quick the next time. Nothing here is needed: the folder
may be deleted at any time, and what is damaged is worked out anew (also with --fresh).
It holds where animals live, as the study does. Don't pass it on.
"""


class Kept(Protocol):
    """Keeps results of steps."""

    def step(
        self, name: str, rests_on: tuple[str | None, ...], make: Callable[[], Result]
    ) -> Result:
        """Return what `make` returns, from an earlier run if it rests on the same.

        Parameters
        ----------
        name : str
            Of the step.
        rests_on : tuple of str or None
            Keys of all that the result hangs on, apart from the program itself; with a None
            among them nothing is kept.
        make : callable
        """

    def key(self, *values: object) -> str | None:
        """Return a name for the content of values; None if it isn't wanted."""


class KeepNothing:
    """Works every step out."""

    def step(
        self, name: str, rests_on: tuple[str | None, ...], make: Callable[[], Result]
    ) -> Result:
        """Return what `make` returns."""
        del name, rests_on
        return make()

    def key(self, *values: object) -> str | None:
        """Return None."""
        del values
        return None


class KeptSteps:
    """Keeps results in a folder of the study.

    A file is named by step and content of all that the step rests on, the package's own code and
    the versions of the libraries that numbers come from. It carries a checksum; one that is
    damaged, cut short or of another make is worked out anew. Where the folder can't be written
    nothing is kept, and the run goes on.

    Parameters
    ----------
    study : pathlib.Path
        The study folder; results go into `FOLDER` in it, which only its owner can open.
    fresh : bool
        Use nothing of what is there; keep the new results.

    Notes
    -----
    Results are read by pickle: a folder that somebody else may write to is not used.
    """

    def __init__(self, study: Path, *, fresh: bool = False) -> None:
        self._folder = study / FOLDER
        self._fresh = fresh
        if _ours(self._folder):
            _clear_parts(self._folder)
        self.used: list[str] = []

    def key(self, *values: object) -> str | None:
        """Return a name for the content of values; None where it can't be told."""
        try:
            return content_key(*values)
        except NoKeyError:
            return None

    def step(
        self, name: str, rests_on: tuple[str | None, ...], make: Callable[[], Result]
    ) -> Result:
        """Return what `make` returns, from an earlier run if it rests on the same."""
        if None in rests_on or not _ours(self._folder):
            return make()
        key = content_key(name, rests_on, program_key())
        file = self._folder / f"{name}-{key[:40]}{_ENDING}"
        if not self._fresh:
            found = _read(file, key)
            if found is not None:
                self.used.append(name)
                with suppress(OSError):
                    os.utime(file)
                return found[0]  # type: ignore[return-value]
        result = make()
        _keep(self._folder, file, name, key, result)
        return result


@cache
def program_key() -> str:
    """Return a name for the package's own code and the versions of what it computes with."""
    from importlib.metadata import version

    package = Path(__file__).parents[1]
    files = sorted(p for ending in ("*.py", "*.toml") for p in package.rglob(ending))
    code = [(p.relative_to(package), hashlib.sha256(p.read_bytes()).digest()) for p in files]
    return content_key(code, sys.version, [(name, version(name)) for name in _LIBRARIES])


def _ours(folder: Path) -> bool:
    """Whether a folder may be read from: not there yet, or only its owner, we, may write to it."""
    if folder.is_symlink():
        return False
    try:
        found = folder.stat()
    except FileNotFoundError:
        return True
    except OSError:
        return False
    if not hasattr(os, "geteuid"):
        return True
    return found.st_uid == os.geteuid() and not found.st_mode & 0o022


def _read(file: Path, key: str) -> tuple[object] | None:
    """Return what a file holds, in a tuple; None if it is missing, damaged or another's."""
    try:
        with file.open("rb") as opened:
            if opened.readline() != _HEAD or opened.readline().decode().strip() != key:
                return None
            told = opened.readline().decode().strip()
            start = opened.tell()
            if hashlib.file_digest(opened, "sha256").hexdigest() != told:
                return None
            opened.seek(start)
            return (pickle.load(opened),)  # noqa: S301  our own folder, checked above
    except Exception:  # noqa: BLE001  whatever is wrong with it, the step is worked out anew
        return None


class _Hashing:
    """A file to write to that knows the checksum of what was written."""

    def __init__(self, file: object) -> None:
        self._file = file
        self.digest = hashlib.sha256()

    def write(self, content: bytes) -> int:
        """Write, and count it into the checksum."""
        self.digest.update(content)
        return int(self._file.write(content))  # type: ignore[attr-defined]


def _keep(folder: Path, file: Path, name: str, key: str, result: object) -> None:
    """Write a result beside its name and rename it; on any trouble nothing is kept."""
    part = file.with_name(f"{file.name}.{os.getpid()}.part")
    try:
        folder.mkdir(mode=0o700, exist_ok=True)
        if not (folder / NOTE).exists():
            (folder / NOTE).write_text(_ABOUT, encoding="utf-8")
        with part.open("wb") as opened:
            # Held until it is closed, so that others tell it from what a killed run left.
            with suppress(OSError):
                lock_open(opened.fileno())
            opened.write(_HEAD + key.encode() + b"\n")
            at = opened.tell()
            opened.write(b"0" * 64 + b"\n")
            hashing = _Hashing(opened)
            pickle.dump(result, hashing, protocol=5)
            opened.seek(at)
            opened.write(hashing.digest.hexdigest().encode())
        part.replace(file)
        _forget(folder, name)
    except (OSError, pickle.PicklingError, TypeError, AttributeError):
        pass
    finally:
        with suppress(OSError):
            part.unlink(missing_ok=True)


def _clear_parts(folder: Path) -> None:
    """Delete what killed runs left half-written: nobody holds it, or it is old."""
    for part in folder.glob("*.part"):
        with suppress(OSError):
            old = time.time() - part.stat().st_mtime > _LEFT_BEHIND_S
            with part.open("r+b") as opened:
                left = old or lock_open(opened.fileno())
            if left:
                part.unlink()


def _forget(folder: Path, name: str) -> None:
    """Delete all but the newest results of a step."""
    kept = sorted(folder.glob(f"{name}-*{_ENDING}"), key=lambda p: p.stat().st_mtime, reverse=True)
    for file in kept[_KEEP:]:
        file.unlink(missing_ok=True)
