"""What a disk answers, in plain words."""

from __future__ import annotations

import errno
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from pathlib import Path

FULL = frozenset(
    getattr(errno, name) for name in ("ENOSPC", "EDQUOT", "EFBIG") if hasattr(errno, name)
)
NO_ROOM = FULL | {errno.EROFS}


def disk_words(path: Path, error: OSError) -> str:
    """Return why a file or folder could not be written, and what to do, as one sentence.

    Parameters
    ----------
    path : pathlib.Path
        What was to be written.
    error : OSError

    Returns
    -------
    str
    """
    if error.errno in FULL:
        return f"the disk is full: {path.name} could not be written; make room and run again"
    if error.errno == errno.EROFS:
        return f"{path} lies on a disk that can only be read; name another folder"
    if isinstance(error, PermissionError):
        return (
            f"{path.name} is open in another program, or writing there is not allowed; "
            "close it and run again"
        )
    if isinstance(error, (FileExistsError, NotADirectoryError)):
        return f"{path} can't be a folder: a file of that name is in the way"
    return f"{path.name} could not be written: {error.strerror or error}"
