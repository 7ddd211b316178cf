"""A study folder while it is being read: its settings, what was found, and what was said of it."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

from roadrisk.errors import Remark
from roadrisk.records.settings_file import NAME, Loaded
from roadrisk.records.study_files import describe, find_file
from roadrisk.records.what_was_read import Door

if TYPE_CHECKING:
    from pathlib import Path

    from roadrisk.settings import Settings
    from roadrisk.study import InputFile


@dataclass
class FolderInReading:
    """What all that is read of a study folder shares.

    Attributes
    ----------
    folder : pathlib.Path
    loaded : Loaded
        study.toml as it was read.
    settings : Settings
    remarks : list of Remark
        Grows while files are read.
    inputs : list of InputFile
        Likewise; each file once.
    door : Door
        What is about to be read is noted there.
    """

    folder: Path
    loaded: Loaded
    settings: Settings
    remarks: list[Remark]
    inputs: list[InputFile] = field(default_factory=list)
    door: Door = field(default_factory=Door)

    @property
    def failed(self) -> bool:
        """Whether an error was noted."""
        return any(r.kind == "error" for r in self.remarks)

    def describe(self, path: Path, rows: int | None) -> None:
        """Add a file that was read to the inputs."""
        known = {i.name for i in self.inputs}
        self.inputs += [i for i in describe(self.folder, path, rows) if i.name not in known]

    def find(self, name: str, key: str) -> Path | None:
        """Return the file that a key of study.toml names, or note the error and return None."""
        found = find_file(self.folder, name, key, NAME)
        if isinstance(found, Remark):
            self.remarks.append(found)
            return None
        self.door.note(found)
        return found

    def crs_is_known(self, section: str) -> bool:
        """Whether the coordinate system that a section names can be used."""
        return not any(r.column == f"{section}.crs" for r in self.loaded.remarks)
