"""Numbers of the sheets' small charts: what was recorded at a place by month, hour and year."""

from __future__ import annotations

from calendar import month_name
from typing import TYPE_CHECKING, Any

import numpy as np

if TYPE_CHECKING:
    import pandas as pd

    from roadrisk.reporting.editions.edition import PlaceCounts

# Column of `PlaceCounts.marginal`, its name, why it may not be known: by hour, else.
_ROWS = (
    ("alive", "Reports of live animals", "", ""),
    ("dead", "Reports of dead animals", "", ""),
    ("other", "Reports, alive or dead not said", "", ""),
    ("carcasses", "Carcasses that surveys found", "", "not known: no survey searched here"),
    ("crossings", "Steps of tagged animals across the road",
     "not known by hour: fixes lie too far apart in time",
     "not known: no tagged animal within reach"),
)  # fmt: skip
_BY = {"month": "By month", "hour": "By hour", "year": "By year"}
_NOTES = (
    "Hours are local time. These are counts of what was recorded, not estimates, so they carry no "
    "interval; each kind has a scale of its own, and how much people looked is not known. "
    "Decimals: a report whose place is uncertain is shared between roads, and one that may repeat "
    "another counts in part.",
)


def chart_data(counts: PlaceCounts) -> dict[str, Any]:
    """Return the numbers and the words of the charts.

    Parameters
    ----------
    counts : PlaceCounts

    Returns
    -------
    dict
        ``places``: by kind of place, by its number, by "month", "hour" and "year" the numbers of
        each of ``rows`` in the order of ``names``, None where not known.
    """
    table = counts.marginal
    return {
        "title": "When it was recorded here",
        "by": _BY,
        "rows": [[name, {"hour": hour, "any": why}] for _, name, hour, why in _ROWS],
        "names": {
            "month": list(month_name)[1:],
            "hour": [str(hour) for hour in range(24)],
            "year": [str(year) for year in _values(table, "year")],
        },
        "none": "none",
        "notes": list(_NOTES),
        "places": _places(table),
    }


def _places(table: pd.DataFrame) -> dict[str, Any]:
    out: dict[str, Any] = {}
    for (kind, place, by), rows in table.groupby(["place_kind", "place", "counted_by"], sort=False):
        numbers = [_numbers(rows[column].to_numpy(np.float64)) for column, *_ in _ROWS]
        out.setdefault(str(kind), {}).setdefault(str(place), {})[str(by)] = numbers
    return out


def _numbers(values: np.ndarray) -> list[float | int | None]:
    """Return numbers to two digits, so that little of a shared report stays more than none."""
    return [
        None if not np.isfinite(v) else round(v) if v >= 100 or v == round(v) else float(f"{v:.2g}")
        for v in values.tolist()
    ]


def _values(table: pd.DataFrame, by: str) -> list[int]:
    return list(dict.fromkeys(int(v) for v in table.loc[table["counted_by"] == by, "value"]))
