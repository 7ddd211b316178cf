"""One object for several processes of this computer: its arrays lie in a file and are mapped.

The file is read as it is used and kept once in memory however many processes map it. Arrays come
back writable, as they went (compiled functions tell the two apart), but what a process writes
stays its own.
"""

from __future__ import annotations

import mmap
import pickle
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from pathlib import Path

# Compiled loops want arrays to begin at such places.
_ALIGN = 64
# Smaller buffers stay where they are.
_LEAST_BYTES = 4096


def write_shared(path: Path, thing: object) -> None:
    """Write an object.

    Parameters
    ----------
    path : pathlib.Path
    thing : object
        Anything that can be pickled.

    Raises
    ------
    OSError
        No room, or no right to write.
    """
    buffers: list[pickle.PickleBuffer] = []

    def aside(buffer: pickle.PickleBuffer) -> bool:
        if buffer.raw().nbytes < _LEAST_BYTES:
            return True
        buffers.append(buffer)
        return False

    words = pickle.dumps(thing, protocol=5, buffer_callback=aside)
    spans, at = [], 0
    for buffer in buffers:
        size = buffer.raw().nbytes
        spans.append((at, size))
        at += -(-size // _ALIGN) * _ALIGN
    with path.open("wb") as file:
        for buffer, (start, _) in zip(buffers, spans, strict=True):
            file.seek(start)
            file.write(buffer.raw())
        file.truncate(max(at, 1))
    _words_file(path).write_bytes(pickle.dumps((words, spans), protocol=5))


def read_shared(path: Path) -> Any:
    """Read what `write_shared` wrote in this run; only for files that this program made itself.

    Parameters
    ----------
    path : pathlib.Path

    Returns
    -------
    object
    """
    words, spans = pickle.loads(_words_file(path).read_bytes())  # noqa: S301
    with path.open("rb") as file:
        # Private pages: writable, and a change reaches neither the file nor another process.
        mapped = memoryview(mmap.mmap(file.fileno(), 0, access=mmap.ACCESS_COPY))
    return pickle.loads(words, buffers=[mapped[a : a + size] for a, size in spans])  # noqa: S301


def _words_file(path: Path) -> Path:
    return path.with_suffix(".words")
