"""Tables of deaths: by place, by both routes, of the population, by month, hour, road and sex."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import pandas as pd
from pandas.api import types

from roadrisk.base.units import M_PER_FOOT, M_PER_MILE
from roadrisk.reporting.csv_text import plain_text
from roadrisk.reporting.ranked_list import (
    ends_wgs84,
    per_length,
    rate_name,
    rounded,
    significant,
)

if TYPE_CHECKING:
    from roadrisk.base.units import Units
    from roadrisk.findings import DeathTables

_LENGTHS_M = ("length_m", "nearest_nest_m")
_COUNTS = (
    "carcasses", "reports_dead", "reports_alive", "reports_other", "crossings", "counted",
    "gravid_alive", "gravid_dead", "day",
)  # fmt: skip
_WHOLE = ("coming_year_low", "coming_year_high", "rank", "rank_low", "rank_high", "worst")


def death_tables(deaths: DeathTables, units: Units) -> dict[str, pd.DataFrame]:
    """Return the tables of deaths by the name of their file.

    Parameters
    ----------
    deaths : DeathTables
    units : {"metric", "us"}
        In US customary units lengths are in feet and miles and rates per mile.

    Returns
    -------
    dict of str to pandas.DataFrame
        ``deaths_pieces.csv`` (by piece of road, with its ends), ``deaths_roads.csv``,
        ``deaths_units.csv`` (by an agency's unit), ``deaths_carcasses.csv`` and
        ``deaths_12_months.csv`` (from carcasses alone), ``two_routes.csv`` (from crossings beside
        from carcasses), ``death_sources.csv``, ``traffic_readings.csv``,
        ``kill_chance_assumptions.csv``, ``survey_effort.csv``, ``population.csv``,
        ``survival.csv``, ``survival_curve.csv``, ``growth.csv``, ``when.csv`` (by month, hour,
        road and sex) and ``nests_by_road.csv``. Those of what a study lacks have heads only.
    """
    tables = {
        "deaths_pieces.csv": _pieces(deaths),
        "deaths_roads.csv": deaths.roads,
        "deaths_units.csv": deaths.units,
        "deaths_carcasses.csv": deaths.carcasses,
        "deaths_12_months.csv": deaths.twelve_months,
        "two_routes.csv": deaths.routes,
        "death_sources.csv": deaths.sources,
        "traffic_readings.csv": deaths.readings,
        "kill_chance_assumptions.csv": deaths.kill_compared,
        "survey_effort.csv": deaths.effort,
        "population.csv": deaths.population,
        "survival.csv": deaths.survival,
        "survival_curve.csv": deaths.survival_curve,
        "growth.csv": deaths.growth,
        "when.csv": deaths.when,
        "nests_by_road.csv": deaths.nests,
    }
    return {name: _shown(table, units) for name, table in tables.items()}


def _pieces(deaths: DeathTables) -> pd.DataFrame:
    """Put the ends of each piece after its segment, in place of its course."""
    table = pd.DataFrame(deaths.pieces.drop(columns="geometry"))
    names = ["begin_longitude", "begin_latitude", "end_longitude", "end_latitude"]
    order = list(table)
    at = order.index("segment_id") + 1
    table[names] = ends_wgs84(deaths.pieces)
    return table[[*order[:at], *names, *order[at:]]]


def _shown(table: pd.DataFrame, units: Units) -> pd.DataFrame:
    """Return a table in the study's units, rounded to what a reader can use."""
    columns: dict[str, Any] = {}
    for name in map(str, table):
        new, values = _in_units(name, table[name], units)
        columns[new] = values
    return pd.DataFrame(columns, index=table.index).reset_index(drop=True)


def _in_units(name: str, values: pd.Series[Any], units: Units) -> tuple[str, Any]:
    """Return a column's name and values in the study's units."""
    us = units == "us"
    if name in _LENGTHS_M:
        new = f"{name.removesuffix('_m')}_ft" if us else name
        metres = pd.to_numeric(values).astype("float64")
        return new, rounded(metres / M_PER_FOOT, 0) if us else rounded(metres, 1)
    if "_per_km_year" in name:
        return rate_name(name, units), significant(per_length(values, units))
    if name.endswith("_km") or name.startswith("km_"):
        km = pd.to_numeric(values).astype("float64")
        new = name.replace("km", "miles") if us else name
        return new, significant(km * 1000 / M_PER_MILE if us else km, 4)
    return name, _rounded(name, values)


def _rounded(name: str, values: pd.Series[Any]) -> Any:
    if name in _WHOLE:
        return pd.to_numeric(values).astype("Int64")
    if name in _COUNTS:
        return rounded(values, 1)
    if types.is_bool_dtype(values.dtype):
        return ["yes" if value else "no" for value in values]
    if types.is_float_dtype(values.dtype):
        # Degrees have their decimals already.
        return values if name.endswith("itude") else significant(values)
    return values if types.is_numeric_dtype(values.dtype) else _texts(values)


def _texts(values: pd.Series[Any]) -> list[str]:
    return [plain_text(value) for value in values]
