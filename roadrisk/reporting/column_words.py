"""A table of all columns of all tables: unit, meaning, level and kind of interval."""

from __future__ import annotations

from importlib import resources
from typing import TYPE_CHECKING

import pandas as pd

from roadrisk.reporting.editions.edition_words import cover_words

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping

    from roadrisk.reporting.editions.edition import EditionKind

COLUMNS_FILE = "columns.csv"
# Which tables belong to which edition: the confidential one has all. A table that is not named
# here is confidential until someone has thought of it.
AGENCY_TABLES = (
    "ranked_stretches.csv", "stretches.csv", "stretch_years.csv", "power.csv", "segments.csv",
    "deaths_pieces.csv", "deaths_roads.csv", "deaths_units.csv", "deaths_carcasses.csv",
    "deaths_12_months.csv", "two_routes.csv", "death_sources.csv", "traffic_readings.csv",
    "kill_chance_assumptions.csv", "survey_effort.csv", "population.csv", "survival.csv",
    "growth.csv", "when.csv", "measures.csv", "measure_quantities.csv", "alternatives.csv",
    "money_curve.csv", "measure_pieces.csv", "signs.csv", "traffic_what_if.csv",
    "measure_effects.csv", "constraints.csv", "structures_seen.csv", "crossing_rates.csv",
    "crossing_times.csv", "crossing_conditions.csv", "network_k.csv", "local_gi.csv",
    "report_choices.csv", "reporters_by_month.csv", "reporters_by_place.csv",
    "road_mismatches.csv",
)  # fmt: skip
# Files that lead to no place of a protected animal; all others lead to some.
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


def tables_of(kind: EditionKind, tables: Mapping[str, pd.DataFrame]) -> dict[str, pd.DataFrame]:
    """Return those of a run's tables that belong to an edition.

    Parameters
    ----------
    kind : {"confidential", "agency", "public"}
    tables : mapping of str to pandas.DataFrame
        By the name of their file.

    Returns
    -------
    dict of str to pandas.DataFrame
        In the same order; none for the public edition, whose tables are of its own.
    """
    if kind == "confidential":
        return dict(tables)
    allowed = AGENCY_TABLES if kind == "agency" else ()
    return {name: table for name, table in tables.items() if name in allowed}


def closing_words(kind: EditionKind, names: Iterable[str]) -> str:
    """Return a run's closing words: what an edition's files may be used for.

    Parameters
    ----------
    kind : {"confidential", "agency", "public"}
    names : iterable of str
        Of the files that were written.

    Returns
    -------
    str
    """
    if kind != "confidential":
        return " ".join(cover_words(kind))
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
