"""How large what comes in may be: a state's records fit with room, a bomb doesn't.

A million reports make a table of some 300 MB, a million segments a GeoPackage of about as much.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from pathlib import Path

TABLE_BYTES = 4_000_000_000
LINE_CHARACTERS = 5_000_000
CELL_CHARACTERS = 2_000_000
FIELDS = 20_000
ROWS = 20_000_000
# Cells of a text table: so many, and beyond them so many for each byte of the file. A table of
# full rows has at most one a byte; only one long row among many short ones makes more.
CELLS, CELLS_A_BYTE = 20_000_000, 2

# XML packs about 1 to 15; what unpacks to more times its size is no record of anything.
UNPACKED_TIMES = 60

# Unpacked: never more than the first, and beyond the second only so many times the packed size.
WORKBOOK_BYTES, WORKBOOK_SURE_BYTES = 500_000_000, 30_000_000
WORKBOOK_CELLS = 10_000_000
# What a sheet can have by its format (ECMA-376; the number is from memory).
WORKBOOK_ROWS = 1_048_576

LAYER_BYTES = 20_000_000_000
FEATURES = 5_000_000
GEOJSON_OBJECT_MB = 40
GPX_BYTES, GPX_POINTS = 50_000_000, 200_000

EXTRACT_BYTES = 40_000_000_000
UNPACKED_BYTES = 1_000_000_000

DECISIONS_BYTES = 1_000_000_000


def too_large(path: Path, most_bytes: int, mend: str) -> tuple[str, str] | None:
    """Say that a file is larger than is read.

    Parameters
    ----------
    path : pathlib.Path
        An existing file.
    most_bytes : int
    mend : str
        What to do about it.

    Returns
    -------
    (problem, mend) or None
    """
    size = path.stat().st_size
    if size <= most_bytes:
        return None
    return f"the file has {in_words(size)}; at most {in_words(most_bytes)} are read.", mend


def in_words(size: int) -> str:
    """Return a number of bytes as a person says it, such as "4 GB".

    Parameters
    ----------
    size : int

    Returns
    -------
    str
    """
    for unit, name in ((10**9, "GB"), (10**6, "MB"), (10**3, "kB")):
        if size >= unit:
            return f"{size / unit:.3g} {name}"
    return f"{size} bytes"
