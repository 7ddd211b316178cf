"""What an earlier run wrote about itself: its provenance.json, read back."""

from __future__ import annotations

import hashlib
import json
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, TypeGuard

from roadrisk.errors import InputError, Remark

if TYPE_CHECKING:
    from pathlib import Path

NAME = "provenance.json"
OLDER = "older"
"""Stands for the edition of files that a version without editions wrote."""
_EDITIONS = ("confidential", "agency", "public")
_LARGEST_BYTES = 50_000_000
_MEND = "name the provenance.json of a run of this program, as it was written"


@dataclass(frozen=True, eq=False)
class PastRun:
    """An earlier run.

    Attributes
    ----------
    file : pathlib.Path
        Its provenance.json.
    edition : {"confidential", "agency", "public"}
    content : dict
        All that the file says.
    outputs : dict of str to str
        SHA-256 of each file that it wrote, by name.
    """

    file: Path
    edition: str
    content: dict[str, Any]
    outputs: dict[str, str]

    def written(self, name: str) -> bytes | None:
        """Return a file of that run as it lies beside provenance.json; None if it is gone."""
        try:
            return (self.file.parent / name).read_bytes()
        except OSError:
            return None


def read_past_run(file: Path) -> PastRun:
    """Read the provenance.json of an earlier run.

    Parameters
    ----------
    file : pathlib.Path

    Returns
    -------
    PastRun

    Raises
    ------
    InputError
        It isn't there, is no such file, or is of a version without editions.
    """
    content = _content(file)
    edition, outputs = content.get("edition"), content.get("outputs")
    if edition is None and outputs:
        raise _wrong(file, "it is of a version that knew no editions", "run the study anew")
    if edition not in _EDITIONS or not _named(outputs):
        raise _wrong(file, "it doesn't say which edition was written, and which files", _MEND)
    return PastRun(file, edition, content, outputs)


def edition_in(folder: Path) -> str:
    """Return whose edition's files lie in a folder.

    Parameters
    ----------
    folder : pathlib.Path

    Returns
    -------
    str
        "confidential", "agency", "public"; `OLDER` where a provenance.json tells no edition or
        can't be read; "" where there is none.
    """
    file = folder / NAME
    if not file.exists():
        return ""
    try:
        edition = _content(file).get("edition")
    except InputError:
        return OLDER
    return edition if edition in _EDITIONS else OLDER


def as_written(folder: Path, name: str, content: bytes) -> bool:
    """Return whether a file's content is what the last run into its folder wrote.

    Parameters
    ----------
    folder : pathlib.Path
    name : str
    content : bytes

    Returns
    -------
    bool
        False too where no provenance.json says what was written.
    """
    try:
        outputs = _content(folder / NAME).get("outputs")
    except InputError:
        return False
    return _named(outputs) and outputs.get(name) == hashlib.sha256(content).hexdigest()


def _content(file: Path) -> dict[str, Any]:
    try:
        if file.exists() and not file.is_file():
            raise _wrong(file, "it is no file", _MEND)
        if file.stat().st_size > _LARGEST_BYTES:
            raise _wrong(file, "it is larger than any that a run writes", _MEND)
        content = json.loads(file.read_bytes().decode("utf-8-sig"))
    except FileNotFoundError:
        raise _wrong(file, "it does not exist", _MEND) from None
    except OSError as error:
        raise _wrong(file, f"it can't be read: {error.strerror}", _MEND) from None
    except (ValueError, RecursionError):
        raise _wrong(file, "it is no JSON", _MEND) from None
    if not isinstance(content, dict):
        raise _wrong(file, "it is no provenance.json", _MEND)
    return content


def _named(outputs: object) -> TypeGuard[dict[str, str]]:
    """Return whether these are hashes by plain file name: no name may lead to another folder."""
    return isinstance(outputs, dict) and all(
        isinstance(name, str)
        and isinstance(digest, str)
        and name not in {"", ".", ".."}
        and not set(name) & {"/", "\\", ":", "\0"}
        for name, digest in outputs.items()
    )


def _wrong(file: Path, problem: str, mend: str) -> InputError:
    return InputError([Remark(file=file.name, problem=f"{problem}.", mend=f"{mend}.")])
