"""A private folder for a while, which goes in any case: the next program clears up after a kill."""

from __future__ import annotations

import os
import shutil
import tempfile
import time
from contextlib import contextmanager, suppress
from functools import cache
from pathlib import Path
from typing import TYPE_CHECKING

from roadrisk.base.folder_lock import LOCK_FILE, held
from roadrisk.errors import OutputError

if TYPE_CHECKING:
    from collections.abc import Iterator

_PREFIX = "roadrisk-"
# Between making the folder and holding it a program may be killed, or be at work.
_SURELY_LEFT_S = 24 * 3600.0


@contextmanager
def scratch_folder() -> Iterator[Path]:
    """Make a private folder in the system's place for such, and take it away afterwards.

    Those that killed programs of the same person left there are taken away first: they are told
    by their name, their owner, and a lock that nobody holds any more.

    Yields
    ------
    pathlib.Path

    Raises
    ------
    OSError
        It can't be made: the disk is full, or the like.
    """
    place = Path(tempfile.gettempdir())
    clear_left(place)
    folder = Path(tempfile.mkdtemp(prefix=_PREFIX, dir=place))
    try:
        with held(folder, words="for a while"):
            yield folder
    finally:
        shutil.rmtree(folder, ignore_errors=True)


@cache
def clear_left(place: Path) -> None:
    """Take away what killed programs left in a folder; once in a program's life."""
    with suppress(OSError):
        for folder in list(place.glob(f"{_PREFIX}*")):
            with suppress(OSError, OutputError):
                if _is_left(folder):
                    shutil.rmtree(folder)


def _is_left(folder: Path) -> bool:
    seen = folder.lstat()
    mine = not hasattr(os, "geteuid") or seen.st_uid == os.geteuid()
    if folder.is_symlink() or not folder.is_dir() or not mine:
        return False
    if not (folder / LOCK_FILE).exists():
        return time.time() - seen.st_mtime > _SURELY_LEFT_S
    # Whoever is at work in it holds it, and this fails.
    with held(folder, words="clearing up"):
        return True
