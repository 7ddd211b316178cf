"""Two versions of a table, cell by cell: which numbers and words differ."""

from __future__ import annotations

import csv
import io
import json
import math
from dataclasses import dataclass
from itertools import zip_longest
from typing import TYPE_CHECKING, Any

from roadrisk.reporting.csv_text import plain_text

if TYPE_CHECKING:
    from collections.abc import Iterator

TOLERANCE = 1e-9
TABLES = (".csv", ".geojson")
# Says which version and inputs made the file: no number of the study.
_PROVENANCE = "provenance"
_NOTHING = "nothing"


@dataclass(frozen=True)
class Difference:
    """One cell that differs.

    Attributes
    ----------
    file : str
    row : str
        As a spreadsheet counts, the header being row 1; of GeoJSON the number of the feature.
    column : str
    then, now : str
        Both values.
    """

    file: str
    row: str
    column: str
    then: str
    now: str

    def line(self) -> str:
        """Return it as a line to print."""
        where = f"{self.file}, {self.row}, column {self.column}"
        return f"{where}: {self.then} then, {self.now} now"


def differences(name: str, then: bytes, now: bytes) -> list[Difference]:
    """Compare two versions of a table.

    Parameters
    ----------
    name : str
        Of the file; ends in one of `TABLES`.
    then, now : bytes

    Returns
    -------
    list of Difference
        In the order of the file. Numbers are the same within `TOLERANCE` of the larger of their
        size and 1; words only if equal.
    """
    try:
        if name.endswith(".csv"):
            return list(_of_csv(name, _rows(then), _rows(now)))
        return list(_of_json(name, json.loads(then), json.loads(now), ()))
    except (ValueError, csv.Error, RecursionError):
        return [Difference(name, "whole file", "any", "a table", "what can't be read as one")]


def _rows(content: bytes) -> list[list[str]]:
    return list(csv.reader(io.StringIO(content.decode("utf-8-sig"), newline="")))


def _of_csv(name: str, then: list[list[str]], now: list[list[str]]) -> Iterator[Difference]:
    head = now[0] if now else []
    if then[:1] != now[:1]:
        yield Difference(name, "row 1", "heads", ", ".join(*then[:1]), ", ".join(*now[:1]))
        return
    for number, (a, b) in enumerate(zip_longest(then[1:], now[1:]), 2):
        row = f"row {number}"
        if a is None or b is None:
            yield Difference(
                name, row, "any", *(_NOTHING if r is None else "a row" for r in (a, b))
            )
            continue
        for column, x, y in zip_longest(head, a, b, fillvalue=""):
            if not _same_text(x, y):
                yield Difference(name, row, column, x or _NOTHING, y or _NOTHING)


def _of_json(name: str, then: Any, now: Any, path: tuple[str, ...]) -> Iterator[Difference]:
    if path[-1:] == (_PROVENANCE,):
        return
    if isinstance(then, dict) and isinstance(now, dict):
        for key in dict.fromkeys([*then, *now]):
            yield from _of_json(name, then.get(key), now.get(key), (*path, key))
    elif isinstance(then, list) and isinstance(now, list):
        for k, (a, b) in enumerate(zip_longest(then, now), 1):
            yield from _of_json(name, a, b, (*path, str(k)))
    elif not _same(then, now):
        row, inside = "metadata", path
        if path[:1] == ("features",) and len(path) > 1:
            row, inside = f"feature {path[1]}", path[2:]
        values = (_NOTHING if v is None else plain_text(str(v)) for v in (then, now))
        yield Difference(name, row, " ".join(inside) or "any", *values)


def _same(a: object, b: object) -> bool:
    numbers = (int, float)
    if isinstance(a, numbers) and isinstance(b, numbers):
        return _near(float(a), float(b))
    if isinstance(a, str) and isinstance(b, str):
        return _same_text(a, b)
    return a == b


def _same_text(a: str, b: str) -> bool:
    if a == b:
        return True
    try:
        return _near(float(a), float(b))
    except ValueError:
        return False


def _near(a: float, b: float) -> bool:
    if not (math.isfinite(a) and math.isfinite(b)):
        return a == b or (math.isnan(a) and math.isnan(b))
    return abs(a - b) <= TOLERANCE * max(1.0, abs(a), abs(b))
