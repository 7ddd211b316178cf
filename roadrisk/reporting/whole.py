"""Writing several files whole or not at all."""

from __future__ import annotations

import errno
import json
import os
import shutil
from pathlib import Path
from typing import TYPE_CHECKING

from roadrisk.errors import OutputError

if TYPE_CHECKING:
    from collections.abc import Callable, Iterable, Mapping

FULL = {errno.ENOSPC, errno.EDQUOT} if hasattr(errno, "EDQUOT") else {errno.ENOSPC}
MOVING = "moving.json"


def write_whole(
    files: Mapping[str, bytes], out: Path, *, finish: Callable[[], None] | None = None
) -> tuple[Path, ...]:
    """Write `files` into the folder `out`: either all of them, or nothing changes.

    The files are staged in a hidden folder beside `out`, with copies of what they replace,
    and are then moved to their places one by one; if a move fails, the earlier ones are taken
    back. What a killed run left behind is put right by the next call. Other files in `out`
    are not touched. Two runs into one folder at the same time are not guarded against.

    Parameters
    ----------
    files : mapping of str to bytes
        Plain file names (no folders) and contents.
    out : pathlib.Path
        Made if missing.
    finish : callable, optional
        Called when all files lie in their places: what must be written with them and elsewhere.
        If it fails, the files are taken back. If the program is killed while it runs, the next
        call takes them back, whatever `finish` did.

    Returns
    -------
    tuple of pathlib.Path
        The files written, in the order of `files`.

    Raises
    ------
    OutputError
        One sentence: a file is open in another program, the disk is full, or the like.
    """
    made = _make(out)
    try:
        staging = _staging_for(out)
        _tidy_leftover(staging, out)
        _refuse_locked(files, out)
        try:
            _move_all(_stage(files, out, staging), out, staging, finish)
        finally:
            # With the mark still there the way back failed too: the next run needs the copies.
            if not (staging / MOVING).exists():
                shutil.rmtree(staging, ignore_errors=True)
    except BaseException:
        _unmake(made)
        raise
    return tuple(out / name for name in files)


def _make(out: Path) -> list[Path]:
    """Make the folder; return the folders that are new, innermost first."""
    missing = [p for p in (out, *out.parents) if not p.exists()]
    try:
        out.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        _unmake(missing)
        raise OutputError(_sentence(out, error)) from error
    return missing


def _unmake(made: list[Path]) -> None:
    for folder in made:
        if folder.is_dir() and not any(folder.iterdir()):
            folder.rmdir()


def _staging_for(out: Path) -> Path:
    real = out.resolve()
    name = f".{real.name}.unfinished"
    beside = real.parent
    try:
        same_disk = beside.stat().st_dev == real.stat().st_dev
    except OSError as error:
        raise OutputError(_sentence(out, error)) from error
    # A mounted folder can't receive files moved from its parent's disk.
    return (beside if same_disk and os.access(beside, os.W_OK) else real) / name


def _tidy_leftover(staging: Path, out: Path) -> None:
    if not staging.exists():
        return
    try:
        if (staging / MOVING).exists():
            mark = (staging / MOVING).read_text(encoding="utf-8")
            _take_back(json.loads(mark), out, staging)
        shutil.rmtree(staging)
    except OSError as error:
        raise OutputError(_sentence(out / _name_in(error, staging), error)) from error


def _refuse_locked(names: Iterable[str], out: Path) -> None:
    for name in names:
        target = out / name
        # LibreOffice's, Excel's, and Word's, which writes over the first two letters of a name of
        # eight or more before its ending, over one of seven (from memory).
        cut = min(max(len(Path(name).stem) - 6, 0), 2)
        for lock in (f".~lock.{name}#", f"~${name}", f"~${name[cut:]}"):
            if target.exists() and (out / lock).exists():
                raise OutputError(
                    f"{name} is open in another program; close it and run again "
                    f"(if no program has it open, delete {lock})"
                )
        if target.is_dir():
            raise OutputError(f"{target} is a folder where a file is to be written; move it away")
        if target.exists():
            try:
                with target.open("r+b"):
                    pass
            except OSError as error:
                raise OutputError(_sentence(target, error)) from error


def _stage(files: Mapping[str, bytes], out: Path, staging: Path) -> dict[str, bool]:
    """Lay new files and copies of the old ones ready; return which had an old one."""
    name = ""
    replaced = {}
    try:
        for part in ("new", "old"):
            (staging / part).mkdir(parents=True)
        for name, content in files.items():
            with (staging / "new" / name).open("wb") as stream:
                stream.write(content)
                stream.flush()
                os.fsync(stream.fileno())
            replaced[name] = (out / name).exists()
            if replaced[name]:
                shutil.copy2(out / name, staging / "old" / name)
        draft = staging / f"{MOVING}.draft"
        draft.write_text(json.dumps(replaced), encoding="utf-8")
        draft.rename(staging / MOVING)
    except OSError as error:
        raise OutputError(_sentence(out / name, error)) from error
    return replaced


def _move_all(
    replaced: Mapping[str, bool], out: Path, staging: Path, finish: Callable[[], None] | None
) -> None:
    name = ""
    try:
        for name in replaced:
            os.replace(staging / "new" / name, out / name)  # noqa: PTH105
        if finish is not None:
            finish()
        (staging / MOVING).unlink()
    except BaseException as problem:
        try:
            _take_back(replaced, out, staging)
        except OSError as error:
            raise OutputError(
                f"{_sentence(out / name, error)}; the files in {out} are now of two runs: "
                "run again once this is mended"
            ) from problem
        (staging / MOVING).unlink(missing_ok=True)
        if isinstance(problem, OSError):
            raise OutputError(_sentence(out / name, problem)) from problem
        raise


def _take_back(replaced: Mapping[str, bool], out: Path, staging: Path) -> None:
    """Put back what was there before; a file still in `new` was never moved.

    May be called again after it was cut short: a copy that is gone was put back already.
    """
    for name, had_before in replaced.items():
        if (staging / "new" / name).exists():
            continue
        if not had_before:
            (out / name).unlink(missing_ok=True)
        elif (staging / "old" / name).exists():
            os.replace(staging / "old" / name, out / name)  # noqa: PTH105


def _name_in(error: OSError, staging: Path) -> str:
    named = error.filename2 or error.filename
    return Path(named).name if named else staging.name


def _sentence(path: Path, error: OSError) -> str:
    if error.errno in FULL:
        return f"the disk is full: {path.name} could not be written; make room and run again"
    if isinstance(error, PermissionError):
        return (
            f"{path.name} is open in another program, or writing there is not allowed; "
            "close it and run again"
        )
    if isinstance(error, (FileExistsError, NotADirectoryError)):
        return f"{path} can't be a folder: a file of that name is in the way"
    return f"{path.name} could not be written: {error.strerror or error}"
