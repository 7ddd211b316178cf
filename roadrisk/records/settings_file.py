"""Reading study.toml, with the line of every key that is wrong."""

from __future__ import annotations

import copy
import re
import tomllib
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Any

from roadrisk.base.crs import require_metric
from roadrisk.errors import CoordinateSystemError, InputError, Remark
from roadrisk.records.columns import TERMS, check_mapping
from roadrisk.records.known_crs import known_crs
from roadrisk.settings import Settings, settings_from

if TYPE_CHECKING:
    from pathlib import Path

NAME = "study.toml"
_LARGEST_BYTES = 5_000_000
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
    try:
        with path.open("rb") as file:
            text = file.read(_LARGEST_BYTES).decode("utf-8-sig")
        data = tomllib.loads(text)
    except tomllib.TOMLDecodeError as error:
        return Loaded(None, (_syntax(error),))
    except UnicodeDecodeError as error:
        row = error.object[: error.start].count(b"\n") + 1
        return Loaded(None, (Remark(NAME, row, "", "it is not UTF-8.", "save it as UTF-8 text"),))
    except (OSError, ValueError, RecursionError) as error:
        mend = "write it again from an empty study"
        return Loaded(None, (Remark(NAME, None, "", f"it can't be read ({error}).", mend),))
    return _validated(data, text)


def find_line(text: str, key: str) -> int | None:
    """Return the line of study.toml on which a dotted key stands, or its section, or None.

    Parameters
    ----------
    text : str
    key : str
        Such as ``fixes.columns.organismID`` or ``study.time_zone``.
    """
    section, best, best_depth = "", None, 0
    for number, line in enumerate(text.splitlines(), start=1):
        start = line.strip()[:_KEY_CHARACTERS]
        head = re.match(r"\[+\s*([^\]]+?)\s*\]", start)
        entry = re.match(r"([\w\-.\"' ]+?)\s*=", start)
        if head:
            section = _plain(head[1])
            full = section
        elif entry:
            full = f"{section}.{_plain(entry[1])}" if section else _plain(entry[1])
        else:
            continue
        depth = len(full)
        if (key == full or key.startswith(full + ".")) and depth > best_depth:
            best, best_depth = number, depth
    return best


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


def _syntax(error: tomllib.TOMLDecodeError) -> Remark:
    said = str(error)
    place = re.search(r"\(at line (\d+), column \d+\)", said)
    problem = f"the TOML is broken: {said.split(' (at ', maxsplit=1)[0]}."
    mend = 'look at this line: text needs double quotes, a table [brackets], and paths need "/"'
    return Remark(NAME, int(place[1]) if place else None, "", problem, mend)


def _plain(key: str) -> str:
    return re.sub(r"\s*\.\s*", ".", key.replace('"', "").replace("'", "")).strip()
