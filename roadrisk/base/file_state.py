"""Whether a file is still the one that was seen before, without reading it again."""

from __future__ import annotations

import os
from typing import TYPE_CHECKING, NamedTuple

if TYPE_CHECKING:
    from pathlib import Path


class FileState(NamedTuple):
    """What changes when a file is written to, or another is put in its place.

    Attributes
    ----------
    size_bytes : int
    mtime_ns : int
        When it was last written to [ns]; a disk's clock may tick in milliseconds, so two writes
        within a tick look alike if the size stays.
    inode : int
        Number of the file itself, under whatever name.
    """

    size_bytes: int
    mtime_ns: int
    inode: int


def file_state(file: Path | int) -> FileState | None:
    """Return the state of a file, by its path or as it is open.

    Parameters
    ----------
    file : pathlib.Path or int
        Links are followed.

    Returns
    -------
    FileState or None
        None where there is no file, or it can't be looked at.
    """
    try:
        seen = os.stat(file)  # noqa: PTH116  an open file has no path
    except OSError:
        return None
    return FileState(seen.st_size, seen.st_mtime_ns, seen.st_ino)
