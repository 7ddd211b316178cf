"""Reading study.toml, with the line of every key that is wrong."""

from __future__ import annotations

import copy
import functools
import re
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

from roadrisk.base.crs import require_metric
from roadrisk.errors import CoordinateSystemError, InputError, Remark
from roadrisk.records.columns import TERMS, check_mapping
from roadrisk.records.known_crs import known_crs
from roadrisk.records.toml_file import parsed_toml
from roadrisk.settings import Settings, settings_from

if TYPE_CHECKING:
    from pathlib import Path

NAME = "study.toml"
_LARGEST_BYTES = 2_000_000
# No key that anybody writes is longer.
_KEY_CHARACTERS = 200


@dataclass(frozen=True)
class Loaded:
    """What study.toml gave.

    Attributes
    ----------
    settings : Settings or None
        Where there are errors: the settings without the keys that are wrong, so that the
        tables can be checked all the same; None if that makes no sense.
    remarks : tuple of Remark
        Errors.
    text : str
        For finding lines.
    """

    settings: Settings | None
    remarks: tuple[Remark, ...]
    text: str = ""


def load_settings(folder: Path) -> Loaded:
    """Read ``study.toml`` of a study folder.

    Parameters
    ----------
    folder : pathlib.Path

    Returns
    -------
    Loaded
        Never raises for bad input.
    """
    path = folder / NAME
    if not folder.is_dir():
        what = "is no folder" if folder.exists() else "does not exist"
        mend = 'name a study folder, or make one with "roadrisk new"'
        return Loaded(None, (Remark(folder.name or str(folder), None, "", f"it {what}.", mend),))
    if not path.is_file():
        mend = 'name the folder that holds it, or make one with "roadrisk new"'
        return Loaded(None, (Remark(NAME, None, "", "the folder has no such file.", mend),))
    if not path.resolve().is_relative_to(folder.resolve()):
        problem, mend = "it is a link that leads out of the folder.", "copy the file into it"
        return Loaded(None, (Remark(NAME, None, "", problem, mend),))
    parsed = parsed_toml(
        path, NAME, most_bytes=_LARGEST_BYTES, anew="write it again from an empty study",
        hint='text needs double quotes, a table [brackets], and paths need "/"',
    )  # fmt: skip
    if isinstance(parsed, Remark):
        return Loaded(None, (parsed,))
    try:
        return _validated(*parsed)
    except RecursionError:
        mend = "write it again from an empty study"
        return Loaded(None, (Remark(NAME, None, "", "it is nested too deep.", mend),))


def find_line(text: str, key: str) -> int | None:
    """Return the line of study.toml on which a dotted key stands, or its section, or None.

    Parameters
    ----------
    text : str
    key : str
        Such as ``fixes.columns.organismID`` or ``study.time_zone``.
    """
    best, best_depth = None, 0
    for full, number in _keys(text):
        if (key == full or key.startswith(full + ".")) and len(full) > best_depth:
            best, best_depth = number, len(full)
    return best


@functools.lru_cache(maxsize=4)
def _keys(text: str) -> tuple[tuple[str, int], ...]:
    """Return dotted keys and sections with their lines."""
    section, found = "", []
    for number, line in enumerate(text.splitlines(), start=1):
        start = line.strip()[:_KEY_CHARACTERS]
        head = re.match(r"\[+\s*([^\]]+?)\s*\]", start)
        entry = re.match(r"([\w\-.\"' ]+?)\s*=", start)
        if head:
            section = _plain(head[1])
            found.append((section, number))
        elif entry:
            key = _plain(entry[1])
            found.append((f"{section}.{key}" if section else key, number))
    return tuple(found)


def with_line(remark: Remark, text: str) -> Remark:
    """Return a remark about study.toml with the line of its key."""
    if remark.file != NAME or remark.row is not None or not remark.column:
        return remark
    return replace(remark, row=find_line(text, remark.column))


def _validated(data: dict[str, Any], text: str) -> Loaded:
    try:
        settings: Settings | None = settings_from(data, NAME)
        remarks: list[Remark] = []
    except InputError as error:
        remarks = list(error.remarks)
        settings = _salvaged(data, error)
    if settings is not None:
        remarks += _mappings(settings) + _systems(settings)
    return Loaded(settings, tuple(with_line(r, text) for r in remarks), text)


def _salvaged(data: dict[str, Any], error: InputError) -> Settings | None:
    """Return the settings without the keys that are wrong, so that tables are checked too."""
    rest = copy.deepcopy(data)
    for remark in error.remarks:
        _drop(rest, remark.column.split("."))
    try:
        return settings_from(rest, NAME)
    except InputError:
        return None


def _drop(data: dict[str, Any], keys: list[str]) -> None:
    place: Any = data
    for key in keys[:-1]:
        if not isinstance(place.get(key), dict):
            place.pop(key, None)
            return
        place = place[key]
    place.pop(keys[-1], None)


def _mappings(settings: Settings) -> list[Remark]:
    remarks: list[Remark] = []
    for name in TERMS:
        part: Any = settings.roads.agency if name == "roads.agency" else getattr(settings, name)
        if part is not None:
            remarks += check_mapping(name, part.columns, NAME)
    return remarks


def _systems(settings: Settings) -> list[Remark]:
    remarks = []
    for name in TERMS:
        part: Any = settings.roads.agency if name == "roads.agency" else getattr(settings, name)
        if part is not None and part.crs is not None and known_crs(part.crs) is None:
            remarks.append(_no_system(f"{name}.crs", part.crs))
    if settings.study.crs != "auto" and known_crs(settings.study.crs) is None:
        remarks.append(_no_system("study.crs", settings.study.crs))
    elif settings.study.crs != "auto":
        try:
            require_metric(settings.study.crs)
        except CoordinateSystemError as error:
            mend = 'write "auto", or the EPSG code of a projected system in metres'
            remarks.append(Remark(NAME, None, "study.crs", f"{error}.", mend))
    return remarks


def _no_system(key: str, text: str) -> Remark:
    problem = f"{text[:100]!r} is no coordinate system that is known."
    mend = "write an EPSG code such as EPSG:4326 or EPSG:32617"
    return Remark(NAME, None, key, problem, mend)


def _plain(key: str) -> str:
    return re.sub(r"\s*\.\s*", ".", key.replace('"', "").replace("'", "")).strip()
