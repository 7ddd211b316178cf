"""Having on the disk what was written, so that a power cut doesn't lose it."""

from __future__ import annotations

import os
from contextlib import suppress
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from pathlib import Path


def synced(path: Path) -> None:
    """Wait until a file's content is on the disk.

    Raises
    ------
    OSError
        It can't be: the disk is full, or broken.
    """
    # Windows flushes only what is open for writing.
    handle = os.open(path, os.O_RDWR | getattr(os, "O_BINARY", 0))
    try:
        os.fsync(handle)
    finally:
        os.close(handle)


def synced_folder(folder: Path) -> None:
    """Wait until the names in a folder are on the disk, where the system can do that."""
    if os.name != "posix":
        return
    # Some network drives refuse to; the names are then as safe as they get.
    with suppress(OSError):
        handle = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)


def replace_file(path: Path, content: bytes) -> None:
    """Write one file whole: whoever reads it has the old content or the new.

    Parameters
    ----------
    path : pathlib.Path
        Its folder must be there. One process at a time: hold the folder (`folder_lock.held`).
    content : bytes

    Raises
    ------
    OSError
        Nothing was changed.
    """
    draft = path.with_name(f".{path.name}.draft")
    try:
        draft.write_bytes(content)
        synced(draft)
        draft.replace(path)
    except BaseException:
        with suppress(OSError):
            draft.unlink()
        raise
    synced_folder(path.parent)
