"""Findings in which every text that data can bring says something that a page might run."""

from __future__ import annotations

from dataclasses import fields, is_dataclass, replace
from typing import Any

import geopandas as gpd
import pandas as pd

from tests.pages import map_pages
from tests.reporting import made_up

HOSTILE = (
    made_up.SCRIPT,
    made_up.PICTURE,
    made_up.TEMPLATE,
    '"><svg onload=window.__hacked=6>',
    "</script></title><b>x",
    "javascript:alert(1)//' onclick='alert(1)",
    "<a href=https://example.invalid/x>x</a><iframe src=https://example.invalid>",
)
# Without a space or a semicolon, which part one id from the next.
IN_IDS = "<img/src=x/onerror=window.__hacked=7>"
# What the program itself writes and reads again.
CODES = frozenset({
    "sex", "vitality", "state", "counted_by", "measure", "month", "verdict", "grade", "who",
    "group", "value", "quantity", "unit", "type", "effort", "interval", "road_class",
    "source", "assumption", "reading", "place_kind", "first_day", "last_day", "band_of",
    "measure_name", "name_of", "alternative",
})  # fmt: skip
IDS = frozenset({"segment_id", "segment_ids"})


def hostile(what: Any) -> Any:
    """Return findings, or a part of them, with hostile words added to every text.

    Parameters
    ----------
    what : dataclass, pandas.DataFrame, str, tuple or anything else
        Codes of the program and empty texts are left; anything else is handed back.
    """
    if is_dataclass(what) and not isinstance(what, type):
        changed = {
            f.name: hostile(getattr(what, f.name)) for f in fields(what) if f.name not in CODES
        }
        return replace(what, **changed)
    if isinstance(what, pd.DataFrame):
        return _table(what)
    if isinstance(what, str):
        return f"{what} {HOSTILE[len(what) % len(HOSTILE)]}" if what else what
    if isinstance(what, tuple):
        return tuple(hostile(part) for part in what)
    return what


def _table(table: pd.DataFrame) -> pd.DataFrame:
    changed: dict[str, Any] = {}
    for name in table.columns:
        values = table[name]
        if name in CODES or isinstance(values.dtype, gpd.array.GeometryDtype):
            continue
        if name in IDS:
            changed[name] = [v + IN_IDS for v in values]
        elif pd.api.types.is_string_dtype(values) or values.dtype == object:
            changed[name] = [_said(v, row) if isinstance(v, str) else v
                             for row, v in enumerate(values)]  # fmt: skip
    return table.assign(**changed)


def _said(value: str, row: int) -> str:
    return f"{value} {HOSTILE[(row + len(value)) % len(HOSTILE)]}" if value else value


def findings() -> Any:
    """Return the made-up findings, hostile throughout."""
    return hostile(map_pages.findings())
