"""What public editions have let out, kept in the study folder: as secret as the records."""

from __future__ import annotations

import json
from contextlib import ExitStack, contextmanager
from dataclasses import asdict, dataclass
from typing import TYPE_CHECKING, Any

from roadrisk.base.folder_lock import held
from roadrisk.base.synced import replace_file
from roadrisk.errors import FolderInUseError, InputError, OutputError, Remark

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

RELEASE_FILE = "released.json"
_VERSION = 1
_MOST_BYTES = 200_000_000
_COARSEST = 3
_WHERE = ("level", "column", "row", "first_year", "last_year")
_STATES = ("alive", "dead", "")
# How long one public edition waits for another of the same study [s].
LONGEST_WAIT_S = 120.0
_NO_LOG = (
    f"{RELEASE_FILE} could not be written into the study folder ({{}}): without it no public "
    "edition is written"
)
_MEND = (
    "put back an older copy, or move the file away; without it a new edition can be subtracted "
    "from those that were published before"
)


@dataclass(frozen=True)
class ReleasedAnimal:
    """An animal as it was first published, which is how it is repeated ever after.

    Attributes
    ----------
    records : tuple of str
        Hashes of the keys of its reports.
    state : {"alive", "dead", ""}
    """

    records: tuple[str, ...]
    state: str


@dataclass(frozen=True)
class Batch:
    """Animals of a group that are published, or withdrawn, all together or not at all."""

    animals: tuple[ReleasedAnimal, ...]
    shown: bool = True


@dataclass(frozen=True)
class Released:
    """One group of cells as it was last published.

    Attributes
    ----------
    level, column, row : int
        Its square: side 0.001 * 10**level degrees, counted from longitude and latitude 0. It
        reaches as far as no group that was released before it does.
    first_year, last_year : int
        As published.
    batches : tuple of Batch
        In the order of their publication; no animal is in two.
    told : tuple of int
        Every number of animals that was published, in order, each once.
    """

    level: int
    column: int
    row: int
    first_year: int
    last_year: int
    batches: tuple[Batch, ...]
    told: tuple[int, ...]

    @property
    def shown(self) -> tuple[ReleasedAnimal, ...]:
        """The animals that the published numbers count."""
        return tuple(a for batch in self.batches if batch.shown for a in batch.animals)

    @property
    def behind(self) -> tuple[tuple[str, ...], ...]:
        """Records of each animal that the published numbers count."""
        return tuple(animal.records for animal in self.shown)

    @property
    def animals(self) -> int:
        """How many animals are published."""
        return len(self.shown)

    @property
    def alive(self) -> int:
        """How many of them were alive."""
        return self._in_state("alive")

    @property
    def dead(self) -> int:
        """How many of them were dead."""
        return self._in_state("dead")

    def _in_state(self, state: str) -> int:
        return sum(animal.state == state for animal in self.shown)


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
        if path.is_symlink() or not path.is_file():
            raise _refused("it is a link, or no file")
        if path.stat().st_size > _MOST_BYTES:
            raise _refused("the file is too large for a log of releases")
        content = json.loads(path.read_text("utf-8"))
        if not isinstance(content, dict) or content.get("roadrisk_released") != _VERSION:
            raise _refused("the file is no log of releases of this version")
        log = ReleaseLog(tuple(_group(group) for group in content["groups"]))
        _check_once(log)
    except OSError as error:
        raise _refused(f"the file can't be read ({error.strerror or error})") from error
    except (ValueError, KeyError, TypeError, RecursionError) as error:
        raise _refused("the file is broken") from error
    return log


@contextmanager
def releasing(folder: Path) -> Iterator[None]:
    """Hold a study while a public edition is made, from reading the log to writing it.

    Two that are made at the same time would each forget what the other let out. The later waits.

    Parameters
    ----------
    folder : pathlib.Path
        The study's.

    Raises
    ------
    FolderInUseError
        Another is being made for longer than `LONGEST_WAIT_S`.
    OutputError
        Nothing can be written in the study folder.
    """
    with ExitStack() as stack:
        try:
            stack.enter_context(held(folder, words="a public edition", wait_s=LONGEST_WAIT_S))
        except FolderInUseError:
            raise
        except OutputError as error:
            raise OutputError(_NO_LOG.format(error)) from error
        yield


def write_release_log(folder: Path, log: ReleaseLog) -> None:
    """Keep what public editions let out, whole or not at all.

    Parameters
    ----------
    folder : pathlib.Path
        The study's, held by `releasing` since its log was read.
    log : ReleaseLog
        With what was kept before in it.

    Raises
    ------
    OutputError
        Nothing was changed.
    """
    groups = [asdict(group) for group in log.groups]
    text = json.dumps({"roadrisk_released": _VERSION, "groups": groups}, indent=1)
    try:
        replace_file(folder / RELEASE_FILE, f"{text}\n".encode())
    except OSError as error:
        raise OutputError(_NO_LOG.format(error.strerror or error)) from error


def _group(group: dict[str, Any]) -> Released:
    where = {name: _whole(group[name]) for name in _WHERE}
    if not 0 <= where["level"] <= _COARSEST:
        raise ValueError
    batches = tuple(_batch(batch) for batch in group["batches"])
    return Released(**where, batches=batches, told=tuple(_whole(n) for n in group["told"]))


def _batch(batch: dict[str, Any]) -> Batch:
    if not isinstance(batch["shown"], bool):
        raise TypeError
    animals = tuple(
        ReleasedAnimal(tuple(_text(key) for key in animal["records"]), _text(animal["state"]))
        for animal in batch["animals"]
    )
    if not animals or any(a.state not in _STATES or not a.records for a in animals):
        raise ValueError
    return Batch(animals, batch["shown"])


def _check_once(log: ReleaseLog) -> None:
    """Raise if a record stands behind two animals, or a square is there twice."""
    records = [key for group in log.groups for batch in group.batches
               for animal in batch.animals for key in animal.records]  # fmt: skip
    squares = [(group.level, group.column, group.row) for group in log.groups]
    if len(set(records)) < len(records) or len(set(squares)) < len(squares):
        raise ValueError


def _text(value: object) -> str:
    if not isinstance(value, str):
        raise TypeError
    return value


def _whole(value: object) -> int:
    if not isinstance(value, int) or isinstance(value, bool):
        raise TypeError
    return value


def _refused(problem: str) -> InputError:
    return InputError([Remark(RELEASE_FILE, None, "", f"{problem}.", _MEND)])
