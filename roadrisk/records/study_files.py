"""Files of a study folder: found without leaving the folder, and their content hashes."""

from __future__ import annotations

import difflib
import hashlib
import os
from pathlib import Path, PurePosixPath, PureWindowsPath

from roadrisk.base.file_state import FileState, file_state
from roadrisk.errors import Remark
from roadrisk.study import InputFile

_GONE = FileState(0, -1, -1)
# A shapefile is several files.
_BESIDE = {".shp": (".shx", ".dbf", ".prj", ".cpg")}
# Most file systems take no longer name (POSIX's NAME_MAX on Linux; from memory).
_LONGEST = 255


def find_file(folder: Path, name: str, key: str, settings_file: str) -> Path | Remark:
    """Return the file that study.toml names, or the error in naming it.

    Parameters
    ----------
    folder : pathlib.Path
        The study folder.
    name : str
        As written in study.toml.
    key : str
        The key it is written under.
    settings_file : str
        For the error.

    Returns
    -------
    pathlib.Path or Remark
        The file exists and lies in the folder, links followed, as do its companions.
    """
    problem = _bad_name(name)
    if problem:
        return Remark(settings_file, None, key, *problem)
    path = folder / name
    if not path.exists():
        return Remark(
            settings_file, None, key, f"there is no file {name!r}.", _nearest_file(folder, name)
        )
    if not path.is_file():
        return Remark(settings_file, None, key, f"{name!r} is no file.", "name a file")
    root = folder.resolve()
    for part in (path, *companions(path)):
        if not part.resolve().is_relative_to(root):
            return Remark(
                settings_file,
                None,
                key,
                f"{part.name!r} is a link that leads out of the study folder.",
                "copy the file into the folder",
            )
    if not os.access(path, os.R_OK):
        return Remark(
            settings_file, None, key, f"{name!r} may not be read.", "change its permissions"
        )
    return path


def describe(folder: Path, path: Path, rows: int | None) -> list[InputFile]:
    """Return name, SHA-256, size and rows of a file, and the same of its companions.

    A file that is gone meanwhile has no hash, and a state that none has.
    """
    root = folder.resolve()
    found = []
    for part in (path, *companions(path)):
        try:
            with part.open("rb") as file:
                seen = file_state(file.fileno()) or _GONE
                digest = hashlib.file_digest(file, "sha256").hexdigest()
        except OSError:
            seen, digest = _GONE, ""
        shown = part.absolute()
        inside = shown.is_relative_to(folder.absolute())
        name = shown.relative_to(folder.absolute()) if inside else part.resolve().relative_to(root)
        own_rows = rows if part == path else None
        found.append(InputFile(name.as_posix(), digest, seen.size_bytes, own_rows, seen))
    return found


def _bad_name(name: str) -> tuple[str, str] | None:
    windows = PureWindowsPath(name)
    if not name.strip() or not name.isprintable():
        return f"{name!r} is no file name.", "write the name of a file in the study folder"
    if PurePosixPath(name).is_absolute() or windows.drive or windows.root:
        return (
            f"{name!r} leads out of the study folder.",
            "copy the file into the study folder and write its name",
        )
    if ".." in windows.parts:
        return (
            f"{name!r} leads out of the study folder.",
            "copy the file into the study folder, and write no '..'",
        )
    if len(name.encode("utf-8", "replace")) > _LONGEST:
        return f"{name[:50]!r}… is too long for a file name.", "give the file a shorter name"
    if "\\" in name and os.sep == "/":
        return f"{name!r} has a backslash.", "write / between folders: it works everywhere"
    return None


def _nearest_file(folder: Path, name: str) -> str:
    place = (folder / name).parent
    there = sorted(p.name for p in place.iterdir() if p.is_file()) if place.is_dir() else []
    folded = {n.casefold(): n for n in there}
    near = difflib.get_close_matches(Path(name).name.casefold(), list(folded), 1, cutoff=0.5)
    if near:
        return f"did you mean {folded[near[0]]!r}?"
    return "put the file into the study folder, or correct the name"


def companions(path: Path) -> list[Path]:
    """Return the files that belong to a shapefile and stand beside it; else nothing."""
    endings = _BESIDE.get(path.suffix.lower(), ())
    if not endings:
        return []
    # However their endings are written: .DBF is read too.
    beside = [p for p in path.parent.iterdir() if p.stem == path.stem and p.is_file()]
    return sorted((p for p in beside if p.suffix.lower() in endings),
                  key=lambda p: (endings.index(p.suffix.lower()), p.name))  # fmt: skip
