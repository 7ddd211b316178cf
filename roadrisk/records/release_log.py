"""What public editions have let out, kept in the study folder: as secret as the records."""

from __future__ import annotations

import json
import os
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from roadrisk.errors import InputError, OutputError, Remark

if TYPE_CHECKING:
    from pathlib import Path

RELEASE_FILE = "released.json"
_VERSION = 1
_MOST_BYTES = 200_000_000
_NUMBERS = ("animals", "alive", "dead", "first_year", "last_year")
_MEND = (
    "put back an older copy, or move the file away; without it a new edition can be subtracted "
    "from those that were published before"
)


@dataclass(frozen=True)
class Released:
    """One group of cells as it was last published.

    Attributes
    ----------
    level, column, row : int
        Its square: side 0.001 * 10**level degrees, counted from longitude and latitude 0. It
        reaches as far as no group that was released before it does.
    animals, alive, dead, first_year, last_year : int
        As published.
    behind : tuple of tuple of str
        Keys of the records of each animal that these numbers count.
    """

    level: int
    column: int
    row: int
    animals: int
    alive: int
    dead: int
    first_year: int
    last_year: int
    behind: tuple[tuple[str, ...], ...]


@dataclass(frozen=True)
class ReleaseLog:
    """All groups ever published, in the order of their first publication."""

    groups: tuple[Released, ...] = ()


def read_release_log(folder: Path) -> ReleaseLog:
    """Return what former public editions of a study let out; nothing if there were none.

    Parameters
    ----------
    folder : pathlib.Path
        The study's.

    Returns
    -------
    ReleaseLog

    Raises
    ------
    InputError
        The file can't be read, or isn't one of ours.
    """
    path = folder / RELEASE_FILE
    try:
        if not path.exists():
            return ReleaseLog()
        if path.stat().st_size > _MOST_BYTES:
            raise _refused("the file is too large for a log of releases")
        content = json.loads(path.read_text("utf-8"))
        if not isinstance(content, dict) or content.get("roadrisk_released") != _VERSION:
            raise _refused("the file is no log of releases of this version")
        return ReleaseLog(tuple(_group(group) for group in content["groups"]))
    except OSError as error:
        raise _refused(f"the file can't be read ({error.strerror or error})") from error
    except (ValueError, KeyError, TypeError, RecursionError) as error:
        raise _refused("the file is broken") from error


def write_release_log(folder: Path, log: ReleaseLog) -> None:
    """Keep what public editions let out, whole or not at all.

    Parameters
    ----------
    folder : pathlib.Path
        The study's.
    log : ReleaseLog
        With what was kept before in it.

    Raises
    ------
    OutputError
        Nothing was changed.
    """
    path = folder / RELEASE_FILE
    draft = folder / f".{RELEASE_FILE}.draft"
    groups = [vars(group) for group in log.groups]
    text = json.dumps({"roadrisk_released": _VERSION, "groups": groups}, indent=1)
    try:
        with draft.open("w", encoding="utf-8") as stream:
            stream.write(f"{text}\n")
            stream.flush()
            os.fsync(stream.fileno())
        draft.replace(path)
    except OSError as error:
        if draft.is_file():
            draft.unlink()
        raise OutputError(
            f"{RELEASE_FILE} could not be written into the study folder "
            f"({error.strerror or error}): without it no public edition is written"
        ) from error


def _group(group: dict[str, Any]) -> Released:
    numbers = {name: _whole(group[name]) for name in ("level", "column", "row", *_NUMBERS)}
    if not 0 <= numbers["level"] <= 3:
        raise ValueError
    behind = tuple(tuple(str(key) for key in animal) for animal in group["behind"])
    return Released(**numbers, behind=behind)


def _whole(value: object) -> int:
    if not isinstance(value, int) or isinstance(value, bool):
        raise TypeError
    return value


def _refused(problem: str) -> InputError:
    return InputError([Remark(RELEASE_FILE, None, "", f"{problem}.", _MEND)])
