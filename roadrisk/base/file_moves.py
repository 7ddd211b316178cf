"""Files moved to their places one by one, with a note by which a cut-short move is finished."""

from __future__ import annotations

import json
import os
import shutil
from typing import TYPE_CHECKING

from roadrisk.base.disk_words import disk_words
from roadrisk.base.file_state import file_state
from roadrisk.base.synced import synced, synced_folder
from roadrisk.errors import OutputError

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence
    from pathlib import Path

# Moving forwards, or back because one of the files could not be moved.
_FORWARDS, _BACK = "moving.json", "moving_back.json"
MARKS = (_FORWARDS, _BACK, f"{_FORWARDS}.draft")
# By name: the state of the file that was there before; empty where there was none.
Noted = dict[str, list[int]]


def move_in(
    names: Sequence[str], out: Path, staging: Path, first: Callable[[], None] | None
) -> None:
    """Move the files of ``staging/new`` into a folder; if one can't be, take the others back.

    Parameters
    ----------
    names : sequence of str
        Of the files.
    out, staging : pathlib.Path
        On one disk; `out` is held by this process (`folder_lock`).
    first : callable or None
        Called before the first is moved; if it fails, nothing was changed.

    Raises
    ------
    OutputError
        Nothing was changed; or what was can't be taken back, which `put_right` will do.
    """
    noted = _copy_old(names, out, staging)
    name = names[0]
    try:
        if first is not None:
            first()
        if len(names) > 1:  # one file is moved whole or not at all
            _mark(noted, staging)
        for name in names:
            os.replace(staging / "new" / name, out / name)  # noqa: PTH105
        synced_folder(out)
        (staging / _FORWARDS).unlink(missing_ok=True)
    except BaseException as problem:
        try:
            if (staging / _FORWARDS).exists():
                (staging / _FORWARDS).rename(staging / _BACK)
                _take_back(noted, out, staging)
        except OSError as error:
            raise OutputError(
                f"{disk_words(out / name, error)}; the files in {out} are now of two runs: "
                "run again once this is mended"
            ) from problem
        if isinstance(problem, OSError):
            raise OutputError(disk_words(out / name, problem)) from problem
        raise


def put_right(out: Path, staging: Path) -> None:
    """Finish what a program left that was killed between two moves.

    Parameters
    ----------
    out, staging : pathlib.Path
        A file in `out` that somebody wrote since is kept: beside the new one if that was still to
        come.

    Raises
    ------
    OSError
        To be called again.
    ValueError
        The note is none of ours.
    """
    back, forwards = staging / _BACK, staging / _FORWARDS
    if back.exists():
        _take_back(_noted(back), out, staging)
    elif forwards.exists():
        for name, state in _noted(forwards).items():
            if (staging / "new" / name).exists():
                keep_newer(out, name, state)
                os.replace(staging / "new" / name, out / name)  # noqa: PTH105
        synced_folder(out)
        forwards.unlink()


def keep_newer(out: Path, name: str, state: Sequence[int]) -> None:
    """Give a file that isn't in the given state another name: somebody wrote it meanwhile."""
    there = file_state(out / name)
    if there is not None and list(there) != list(state):
        os.replace(out / name, out / saved_name(name))  # noqa: PTH105


def saved_name(name: str) -> str:
    """Return what a file is kept as that was written while another was to take its place."""
    stem, dot, ending = name.rpartition(".")
    return f"{stem}_saved_meanwhile{dot}{ending}" if stem else f"{name}_saved_meanwhile"


def _copy_old(names: Sequence[str], out: Path, staging: Path) -> Noted:
    """Lay copies of the files that are there ready, and note which were."""
    name = ""
    noted: Noted = {}
    old = staging / "old"
    try:
        old.mkdir()
        for name in names:
            noted[name] = list(file_state(out / name) or ())
            if noted[name]:
                shutil.copy2(out / name, old / name)
                synced(old / name)
        synced_folder(old)
    except OSError as error:
        raise OutputError(disk_words(out / name, error)) from error
    return noted


def _mark(noted: Noted, staging: Path) -> None:
    draft = staging / f"{_FORWARDS}.draft"
    draft.write_text(json.dumps(noted), encoding="utf-8")
    synced(draft)
    draft.rename(staging / _FORWARDS)
    synced_folder(staging)


def _noted(mark: Path) -> Noted:
    noted = json.loads(mark.read_text("utf-8"))
    # A name must not lead to another folder.
    if not isinstance(noted, dict) or any(set(n) & {"/", "\\", ":", "\0"} for n in noted):
        raise ValueError
    return noted


def _take_back(noted: Noted, out: Path, staging: Path) -> None:
    """Put back what was there before; a file still in `new` was never moved.

    May be called again after it was cut short: a copy that is gone was put back already.
    """
    for name, state in noted.items():
        if (staging / "new" / name).exists():
            continue
        if not state:
            (out / name).unlink(missing_ok=True)
        elif (staging / "old" / name).exists():
            os.replace(staging / "old" / name, out / name)  # noqa: PTH105
    synced_folder(out)
    (staging / _BACK).unlink(missing_ok=True)
