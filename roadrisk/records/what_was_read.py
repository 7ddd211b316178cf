"""Whether the files of a study are still those that were read."""

from __future__ import annotations

import hashlib
from typing import TYPE_CHECKING

from roadrisk.base.file_state import FileState, file_state
from roadrisk.errors import InputError, Remark
from roadrisk.records.study_files import companions

if TYPE_CHECKING:
    from collections.abc import Iterable
    from pathlib import Path

    from roadrisk.study import InputFile, Study

_WHILE = "it was changed while it was read, so that what was read may be half old and half new."
_SINCE = "it was changed since it was read, so that results would not be of what lies there now."
_MEND = "wait until who writes it is done, and run again"


class Door:
    """Files as they were before anything was read of them."""

    def __init__(self) -> None:
        self._seen: dict[Path, FileState | None] = {}

    def note(self, path: Path) -> None:
        """Keep the state of a file that is about to be read, and of its companions."""
        for part in (path, *companions(path)):
            self._seen.setdefault(part.resolve(), file_state(part))

    def changed(self, folder: Path, inputs: Iterable[InputFile]) -> list[Remark]:
        """Return an error for each file that isn't as it was at the door, when all is read.

        Parameters
        ----------
        folder : pathlib.Path
            The study's.
        inputs : iterable of InputFile
            What was read; a file that was not noted is held against what its hash was taken of.

        Returns
        -------
        list of Remark
        """
        remarks = []
        for file in inputs:
            path = (folder / file.name).resolve()
            if file.seen is not None and {self._seen.get(path, file.seen), file_state(path)} != {
                file.seen
            }:
                remarks.append(Remark(file.name, None, "", _WHILE, _MEND))
        return remarks


def refuse_changed(study: Study) -> None:
    """Stop before results are written of files that aren't any more as they were read.

    A file that was only touched, or written again with the same content, is none. Decisions may
    be taken meanwhile: results are of those that there were.

    Parameters
    ----------
    study : Study
        As it was read.

    Raises
    ------
    InputError
        With a line for each such file.
    """
    remarks = []
    for file in study.inputs:
        path = study.folder / file.name
        if file.seen is None or file_state(path) == file.seen:
            continue
        try:
            with path.open("rb") as stream:
                digest = hashlib.file_digest(stream, "sha256").hexdigest()
        except OSError:
            digest = ""
        if digest != file.sha256:
            remarks.append(Remark(file.name, None, "", _SINCE, _MEND))
    if remarks:
        raise InputError(remarks)
