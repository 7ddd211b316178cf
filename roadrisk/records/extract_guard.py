"""Before an OpenStreetMap extract is read: is it of a size that can be meant, also unpacked."""

from __future__ import annotations

import bz2
import gzip
import zlib
from typing import TYPE_CHECKING, Protocol

from roadrisk.records.limits import (
    EXTRACT_BYTES,
    UNPACKED_BYTES,
    UNPACKED_TIMES,
    in_words,
    too_large,
)

if TYPE_CHECKING:
    from pathlib import Path


class _Readable(Protocol):
    def read(self, size: int, /) -> bytes: ...


_CHUNK = 4_000_000
_SMALLER = "cut the extract to the region of the study"


def extract_problem(path: Path) -> tuple[str, str] | None:
    """Say why an extract is not read.

    A packed file is unpacked once to count, and no further than to the limit: a few bytes may
    unpack to more than any disk holds.

    Parameters
    ----------
    path : pathlib.Path
        An existing file.

    Returns
    -------
    (problem, mend) or None
    """
    problem = too_large(path, EXTRACT_BYTES, _SMALLER)
    if problem is not None:
        return problem
    most = max(UNPACKED_BYTES, UNPACKED_TIMES * path.stat().st_size)
    try:
        match path.suffix.lower():
            case ".gz":
                with gzip.open(path) as packed:
                    fits = _is_within(packed, most)
            case ".bz2":
                with bz2.open(path) as packed:
                    fits = _is_within(packed, most)
            case _:
                return None
    except (OSError, EOFError, zlib.error):
        return None  # broken: who reads it says so
    if fits:
        return None
    return f"it unpacks to more than {in_words(most)}, which no extract of its size does.", _SMALLER


def _is_within(packed: _Readable, most: int) -> bool:
    size = 0
    while size <= most:
        part = packed.read(_CHUNK)
        if not part:
            return True
        size += len(part)
    return False
