"""A table of all columns of all tables: unit, meaning, level and kind of interval."""

from __future__ import annotations

from importlib import resources
from typing import TYPE_CHECKING

import pandas as pd

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping

COLUMNS_FILE = "columns.csv"
# Files that lead to no place of a protected animal; all others are not for publication.
WITHOUT_PLACES = (
    "crossing_rates.csv", "crossing_times.csv", "crossing_conditions.csv", "home_ranges.csv",
    "power.csv", "network_k.csv", "report_choices.csv", "reporters_by_month.csv",
    "death_sources.csv", "traffic_readings.csv", "kill_chance_assumptions.csv", "population.csv",
    "survival.csv", "survival_curve.csv", "growth.csv", "bearing_deviation.csv", "money_curve.csv",
    "measure_effects.csv", COLUMNS_FILE, "provenance.json",
)  # fmt: skip
# Names of a column in US customary units, and under which it is described.
_METRIC = (
    ("feet_in", "metres_in"), ("_per_mile", "_per_km"), ("limit_mph", "limit_kmh"),
    ("_miles", "_km"), ("miles_", "km_"),
)  # fmt: skip
_HEADS = ("file", "column", "unit", "what_it_is", "interval", "shows_places")


def columns_table(tables: Mapping[str, pd.DataFrame], level: float) -> pd.DataFrame:
    """Describe every column of a run's tables, and of the table that is returned.

    Parameters
    ----------
    tables : mapping of str to pandas.DataFrame
        By the name of their file.
    level : float
        Coverage of the study's intervals, two-sided.

    Returns
    -------
    pandas.DataFrame
        Columns: file, column, unit, what_it_is, interval (level and kind, where the column is an
        end of an interval), shows_places.

    Raises
    ------
    KeyError
        A column is not described in ``templates/columns.txt``.
    """
    described = descriptions()
    rows = []
    for file, names in [*((f, list(t)) for f, t in tables.items()), (COLUMNS_FILE, _HEADS)]:
        for name in names:
            key = metric_name(str(name))
            words = described.get((file, key)) or described["*", key]
            filled = [_filled(text, str(name), level) for text in words]
            rows.append([file, name, *filled, "no" if file in WITHOUT_PLACES else "yes"])
    return pd.DataFrame(rows, columns=list(_HEADS))


def confidential_words(names: Iterable[str]) -> str:
    """Return a run's closing words: which of its files are not for publication.

    Parameters
    ----------
    names : iterable of str
        Of the files that were written.

    Returns
    -------
    str
    """
    held = [name for name in names if name not in WITHOUT_PLACES]
    return (
        "Not for publication, since they lead to places of protected animals (the left-out "
        f"records and the doubts hold coordinates too): {', '.join(held)}."
    )


def descriptions() -> dict[tuple[str, str], tuple[str, str, str]]:
    """Return unit, meaning and interval by file (``*`` for several) and column."""
    text = (resources.files("roadrisk.reporting") / "templates" / "columns.txt").read_text("utf-8")
    out = {}
    for line in text.splitlines():
        if line and not line.startswith("#"):
            file, column, unit, what, interval = (part.strip() for part in line.split("|"))
            out[file, column] = (unit, what, interval)
    return out


def metric_name(column: str) -> str:
    """Return the name that a column has in metric units."""
    for us, metric in _METRIC:
        column = column.replace(us, metric)
    return f"{column.removesuffix('_ft')}_m" if column.endswith("_ft") else column


def _filled(text: str, column: str, level: float) -> str:
    if text == "-":
        return ""
    us = metric_name(column) != column
    values = {
        "{m}": "ft" if us else "m", "{km}": "mile" if us else "km",
        "{kmh}": "mph" if us else "km/h", "{level}": f"{100 * level:g}",
    }  # fmt: skip
    for sign, value in values.items():
        text = text.replace(sign, value)
    return text
