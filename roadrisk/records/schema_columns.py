"""Columns that several tables of a study share."""

from __future__ import annotations

from typing import Any

import pandas as pd
import pandera.pandas as pa

UTC_TIME = pd.DatetimeTZDtype("ns", "UTC")


def text(**more: Any) -> pa.Column:
    """Return a column of text, "" where not known."""
    return pa.Column(str, coerce=True, **more)


def number(**more: Any) -> pa.Column:
    """Return a column of numbers, NaN where not known."""
    return pa.Column(float, coerce=True, nullable=True, **more)


def where() -> dict[str, pa.Column]:
    """Return file and row (header = row 1) that a record came from."""
    return {"source_file": text(), "source_row": pa.Column("int64", coerce=True)}


def when() -> dict[str, pa.Column]:
    """Return the date as given, the same in UTC, and whether the time of day was given."""
    return {
        "eventDate": text(),
        "time": pa.Column(UTC_TIME, coerce=True),
        "time_known": pa.Column(bool, coerce=True),
    }


def on_road() -> dict[str, pa.Column]:
    """Return route, measure along it [the agency's unit] and side, as given."""
    return {"route": text(), "route_measure": number(), "side": text()}
