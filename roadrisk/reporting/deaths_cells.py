"""Numbers of deaths in the cells of a printed table."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from roadrisk.base.units import M_PER_MILE
from roadrisk.reporting.death_words import BOUND
from roadrisk.reporting.wording import number

if TYPE_CHECKING:
    from collections.abc import Mapping

    import pandas as pd

    from roadrisk.base.units import Units

_NO_BREAK = "\N{NO-BREAK SPACE}"
_SURE, _LEAST = 0.99, 0.001
BOUND_NOTE = f"A 95 % bound is a {BOUND}; it is never zero."


def rows(table: pd.DataFrame) -> list[dict[str, Any]]:
    """Return a table's rows as dictionaries."""
    return [{str(k): v for k, v in row.items()} for row in table.to_dict("records")]


def interval_cell(
    row: Mapping[str, Any], name: str, times: float = 1.0, note: str = "not known"
) -> str:
    """Return a number with its interval, a bound, or why there is neither.

    Two digits, as many as such intervals bear; kept together in one line; a bound may take two.

    Parameters
    ----------
    row : mapping
        With `name`, and its _low and _high. A bound has no value, and an upper end.
    name : str
    times : float
        All three are multiplied by this.
    note : str
        Words where nothing is known.
    """
    value, low, high = (times * float(row[f"{name}{end}"]) for end in ("", "_low", "_high"))
    if np.isfinite([value, low, high]).all():
        said = f"{_short(value)} ({_short(low)} to {_short(high)})"
    elif np.isfinite(value):
        said = f"{_short(value)} (no interval)"
    elif np.isfinite(high):
        parts = (f"at most {_short(high)}", "(95 % bound)")
        return " ".join(part.replace(" ", _NO_BREAK) for part in parts)
    else:
        return note
    return said.replace(" ", _NO_BREAK)


def chance_cell(value: float) -> str:
    """Return a chance, or nothing where it isn't identified; none is said to be sure."""
    if np.isnan(value):
        return "–"
    if value > _SURE:
        return f"more than {_SURE}"
    return number(float(value), 2) if value >= 1 - _SURE else f"less than {1 - _SURE:.2g}"


def length_cell(km: float, units: Units) -> str:
    """Return a length in km or miles, without its unit."""
    return number(float(km) * 1000 / M_PER_MILE if units == "us" else float(km)) or "–"


def year_cell(row: Mapping[str, Any]) -> str:
    """Return how many whole deaths one coming year may bring."""
    low, high = float(row["coming_year_low"]), float(row["coming_year_high"])
    return (
        f"{low:.0f} to {high:.0f}".replace(" ", _NO_BREAK)
        if np.isfinite(low) and np.isfinite(high)
        else "not known"
    )


def _short(value: float) -> str:
    """Return a number with two digits; what is next to nothing is not written out."""
    return f"<{_LEAST:g}" if 0 < value < _LEAST else number(value, 2)
