"""Coordinate systems as files and study.toml name them; none may lead to another file."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

import pyproj

from roadrisk.base.crs import WGS84

if TYPE_CHECKING:
    from collections.abc import Iterator

LONGEST = 100_000
_INIT = re.compile(r"\binit\s*=\s*(?!epsg:\d+\b)", re.IGNORECASE)
# Where a system names files: in WKT 1 and 2, in PROJ's strings, and in PROJ JSON.
_FILES = (
    re.compile(r'PARAMETERFILE\s*\[\s*"[^"]*"\s*,\s*"([^"]*)"', re.IGNORECASE),
    re.compile(r'EXTENSION\s*\[\s*"[^"]*"\s*,\s*"([^"]*)"', re.IGNORECASE),
    re.compile(r"\b(?:nad|geoid)?grids\s*=\s*([^\s\"]*)", re.IGNORECASE),
    re.compile(r"\bfile\s*=\s*([^\s\"]*)", re.IGNORECASE),
    re.compile(r'"value"\s*:\s*"([^"]*)"', re.IGNORECASE),
)


def known_crs(text: str) -> pyproj.CRS | None:
    """Return the coordinate system that a text means, if points can be turned into WGS 84.

    Parameters
    ----------
    text : str
        EPSG code, WKT, PROJ string or PROJ JSON.

    Returns
    -------
    pyproj.CRS or None
        None for one that isn't known, is no place on Earth, or names a file by its path: PROJ
        would open it.
    """
    if len(text) > LONGEST or "\0" in text or _INIT.search(text) or _leads_elsewhere(text):
        return None
    try:
        found = pyproj.CRS.from_user_input(text)
        on_earth = found.is_geographic or found.is_projected
        if not on_earth or _leads_elsewhere(found.to_wkt()):
            return None
        pyproj.Transformer.from_crs(found, WGS84, always_xy=True)
    except (pyproj.exceptions.ProjError, ValueError, TypeError, KeyError, RecursionError):
        return None
    return found


def _leads_elsewhere(text: str) -> bool:
    return any(set(name) & set("/\\:~") for name in _named(text))


def _named(text: str) -> Iterator[str]:
    for pattern in _FILES:
        for name in pattern.findall(text):
            # A whole PROJ string may stand in an extension of WKT.
            yield from _named(name) if "+" in name else (name,)
