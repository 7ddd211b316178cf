"""Copies of the history: one to read where nothing may be written, and strays of a sync."""

from __future__ import annotations

import shutil
from contextlib import contextmanager
from typing import TYPE_CHECKING

from roadrisk.base.scratch import scratch_folder
from roadrisk.errors import InputError, Remark

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

_TRIES = 5


@contextmanager
def copied(path: Path) -> Iterator[Path]:
    """Copy an SQLite file and its write-ahead log into a private folder that goes afterwards.

    Parameters
    ----------
    path : pathlib.Path

    Yields
    ------
    pathlib.Path
        The copy.

    Raises
    ------
    InputError
        The file can't be read, or it changed each time it was copied.
    """
    with scratch_folder() as folder:
        copy = folder / path.name
        try:
            for _ in range(_TRIES):
                before = _state(path)
                _copy(path, copy)
                if _state(path) == before:
                    break
            else:
                said, mend = "the file is being written all the time.", "wait, then try again"
                raise InputError([Remark(path.name, None, "", said, mend)])
        except OSError as error:
            said, mend = "the file may not be read.", "change its permissions"
            raise InputError([Remark(path.name, None, "", said, mend)]) from error
        yield copy


def other_copies(path: Path) -> tuple[Remark, ...]:
    """Return a doubt for each file beside that looks like another copy of the history.

    A sync that meets two changes at once keeps one under the name and the other beside it; a
    person who saves a copy does the same.
    """
    beside = sorted(
        other.name
        for other in path.parent.glob(f"{path.stem}*{path.suffix}")
        if other.name != path.name and other.is_file()
    )
    return tuple(
        Remark(
            name, None, "", "this looks like another copy of the decisions; it is not read.",
            f"if it holds decisions that {path.name} lacks, decide those again; then move it away",
            "doubt",
        )
        for name in beside
    )  # fmt: skip


def _log(path: Path) -> Path:
    return path.with_name(f"{path.name}-wal")


def _state(path: Path) -> list[tuple[int, int]]:
    some = (part.stat() for part in (path, _log(path)) if part.exists())
    return [(s.st_size, s.st_mtime_ns) for s in some]


def _copy(path: Path, copy: Path) -> None:
    _log(copy).unlink(missing_ok=True)
    shutil.copyfile(path, copy)
    if _log(path).exists():
        shutil.copyfile(_log(path), _log(copy))
