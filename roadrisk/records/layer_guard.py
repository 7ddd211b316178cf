"""Before a map layer is handed to the reading library: is it what its name says, and nothing more.

GDAL chooses a driver by content and follows what the content names: files elsewhere, addresses on
the web. Here a layer is held to one driver, and one that leads elsewhere is refused.
"""

from __future__ import annotations

import json
import mmap
import re
import shutil
import sqlite3
import struct
import threading
from contextlib import closing, contextmanager
from typing import TYPE_CHECKING, Any

from roadrisk.base.scratch import scratch_folder
from roadrisk.records.limits import GEOJSON_OBJECT_MB
from roadrisk.records.sqlite_beside import log_problem

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

TOLD_BY_START = {".gpkg": b"SQLite format 3\0", ".shp": struct.pack(">i", 9994)}
# https://www.geopackage.org/spec140, 1.1.1: application ids of 1.0, 1.1 and 1.2 onwards.
_GPKG_IDS = (b"GP10", b"GP11", b"GPKG")
# A member "crs" however it is written: any case, letters as escapes, a NUL behind.
_CRS = re.compile(
    rb"""["'](?:[cC]|\\u00[46]3)(?:[rR]|\\u00[57]2)(?:[sS]|\\u00[57]3)(?:\\u0000[^"']*)?["']\s*"""
)
_OPTIONS_LOCK = threading.Lock()


def layer_problem(path: Path, layer: str | None) -> tuple[str, str] | None:
    """Say why a layer must not be opened.

    Parameters
    ----------
    path : pathlib.Path
        An existing GeoPackage, shapefile or GeoJSON file.
    layer : str or None
        Which of a GeoPackage's layers is wanted; all of them are looked at if none is named.

    Returns
    -------
    (problem, mend) or None
    """
    kind = path.suffix.lower()
    if not _looks_like(path, kind):
        return (
            f"the content is not that of a {kind} file: it is damaged or has the wrong name.",
            "export the layer again",
        )
    if kind == ".gpkg":
        return log_problem(path) or _computed(path, layer)
    return None if kind in TOLD_BY_START else _elsewhere(path)


@contextmanager
def opened_as(path: Path) -> Iterator[str]:
    """Give the name by which the reading library opens this very file and nothing else.

    Parameters
    ----------
    path : pathlib.Path

    Yields
    ------
    str
        A name that holds GeoJSON to its driver; a plain one for a path whose signs would be
        taken for an archive or an address.
    """
    import pyogrio

    plain = path.absolute()
    options = {
        "OGR_GEOJSON_MAX_OBJ_SIZE": str(GEOJSON_OBJECT_MB),
        # Should anything ask for the web after all: a proxy that can't be reached by any means.
        "GDAL_HTTP_PROXY": "none://none",
    }
    with _OPTIONS_LOCK:
        before: dict[str, Any] = {name: pyogrio.get_gdal_config_option(name) for name in options}
        pyogrio.set_gdal_config_options(options)
        try:
            if path.suffix.lower() not in TOLD_BY_START:
                yield f"GeoJSON:{plain}"
            elif re.search(r"[!?;]|^//", str(plain)):
                with _plainly_named(plain) as other:
                    yield str(other)
            else:
                yield str(plain)
        finally:
            pyogrio.set_gdal_config_options(before)


@contextmanager
def _plainly_named(path: Path) -> Iterator[Path]:
    with scratch_folder() as folder:
        for part in path.parent.iterdir():
            if part.stem == path.stem or part.name.startswith(f"{path.name}-"):
                there = folder / f"layer{part.name[len(path.stem) :]}"
                try:
                    there.symlink_to(part)
                except OSError:  # where links need rights that a person may lack
                    shutil.copyfile(part, there)
        yield folder / f"layer{path.suffix}"


def _looks_like(path: Path, kind: str) -> bool:
    with path.open("rb") as file:
        start = file.read(100)
    if kind == ".gpkg":
        return start.startswith(TOLD_BY_START[kind]) and start[68:72] in _GPKG_IDS
    if kind in TOLD_BY_START:
        return start.startswith(TOLD_BY_START[kind])
    return start.removeprefix(b"\xef\xbb\xbf").lstrip().startswith(b"{")


def _elsewhere(path: Path) -> tuple[str, str] | None:
    """Refuse GeoJSON whose coordinate system is a link: it would be fetched."""
    with path.open("rb") as file, mmap.mmap(file.fileno(), 0, access=mmap.ACCESS_READ) as content:
        for found in _CRS.finditer(content):
            after = content[found.end() : found.end() + 100_000]
            if after[:1] == b"/" or (after[:1] == b":" and not _is_named(after[1:])):
                return (
                    'its member "crs" leads elsewhere, or can\'t be read.',
                    "export the layer again, in longitude and latitude (WGS 84)",
                )
    return None


def _is_named(after: bytes) -> bool:
    text = after.decode("utf-8", "replace").lstrip()
    if text.startswith("/"):  # a comment, which JSON doesn't have
        return False
    if not text.startswith("{"):
        return True  # a column of that name
    try:
        said, _ = json.JSONDecoder().raw_decode(text)
    except (ValueError, RecursionError):
        return False
    kind, named = said.get("type"), said.get("properties")
    return (
        isinstance(kind, str) and kind.casefold() in ("name", "epsg") and len(said) <= 2
        and isinstance(named, dict) and all(isinstance(v, (str, int)) for v in named.values())
    )  # fmt: skip


def _computed(path: Path, layer: str | None) -> tuple[str, str] | None:
    """Refuse layers that are computed while they are read: that may take for ever."""
    name = f"{path.absolute().as_uri()}?mode=ro"
    try:
        with closing(sqlite3.connect(name, uri=True, timeout=2.0)) as link:
            link.execute("PRAGMA trusted_schema = OFF")
            there = {str(name).casefold(): str(name) for (name,) in link.execute(
                "SELECT table_name FROM gpkg_contents LIMIT 10000")}  # fmt: skip
            wanted = list(there.values()) if layer is None else [layer]
            found = next((name for name in wanted if _is_computed(link, name)), None)
    except (sqlite3.Error, UnicodeDecodeError, OverflowError):
        return None  # damaged, or locked: the reading library says how
    if found is None:
        return None
    return (
        f"its layer {found[:100]!r} is computed while it is read (a view, or computed columns).",
        "export the layer to a GeoPackage of its own",
    )


def _is_computed(link: sqlite3.Connection, name: str) -> bool:
    kinds = link.execute(
        "SELECT type FROM sqlite_schema WHERE name = ? COLLATE NOCASE", (name,)
    ).fetchall()
    if ("view",) in kinds:
        return True
    # 2 and 3: https://www.sqlite.org/pragma.html#pragma_table_xinfo, generated columns.
    columns = link.execute("SELECT hidden FROM pragma_table_xinfo(?)", (name,)).fetchall()
    return any(hidden in (2, 3) for (hidden,) in columns)
