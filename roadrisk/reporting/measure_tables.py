"""Tables of proposed measures: what, where, quantities, costs, deaths averted, signs, what if."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd
import shapely
from pandas.api import types

from roadrisk.base.crs import WGS84
from roadrisk.base.units import M_PER_FOOT
from roadrisk.reporting.csv_text import plain_text
from roadrisk.reporting.engineer_places import engineer_places
from roadrisk.reporting.measure_words import NOT_CONFIRMED
from roadrisk.reporting.other_tables import longitude_latitude
from roadrisk.reporting.ranked_list import measure_units, rounded, significant, speed_column

if TYPE_CHECKING:
    import geopandas as gpd

    from roadrisk.base.units import Units
    from roadrisk.measure_findings import MeasureTables
    from roadrisk.study import Study

_LENGTHS_M = ("length_m", "fence_m", "distance_m")
_WHOLE = ("sites", "openings", "passages_new", "passages_existing", "price_year", "included_of_100")
_UPKEEP = "upkeep_per_year"
_MOVED = {f"displaced_{end}": f"moved_of_averted_{end}" for end in ("low", "high")}
_MONEY = ("cost", "cost_low", "cost_high", "cost_build", "cost_build_low", "cost_build_high",
          _UPKEEP, "present_cost", "cost_per_death")  # fmt: skip
_DECIMALS = dict.fromkeys(_MONEY, 0) | {
    "unit_cost_low": 2, "unit_cost": 2, "unit_cost_high": 2, "begin_measure": 3, "end_measure": 3,
    "route_measure": 3, "quantity": 1,
}  # fmt: skip


def measure_tables(study: Study, measures: MeasureTables) -> dict[str, pd.DataFrame]:
    """Return the tables of proposed measures by the name of their file.

    Parameters
    ----------
    study : Study
        In US customary units lengths are in feet and speeds in miles per hour; route measures and
        the price list's own quantities stay as they are.
    measures : MeasureTables
        Where how many die isn't known, numbers of deaths are shares of all and their columns are
        named so (averted_share for averted_per_year). While prices aren't confirmed costs are
        empty, ``prices`` says so, and money_curve.csv goes by metres of fence.

    Returns
    -------
    dict of str to pandas.DataFrame
        ``measures.csv`` (one row a site), ``measure_quantities.csv`` (the bill of quantities),
        ``alternatives.csv``, ``money_curve.csv``, ``measure_pieces.csv`` (how often each piece of
        road is part of the best choice), ``signs.csv``, ``traffic_what_if.csv``,
        ``measure_effects.csv`` (what is taken to be averted, and from where),
        ``constraints.csv`` and ``structures_seen.csv``. Those of what a study lacks have heads
        only.
    """
    units = study.settings.study.units
    curve = measures.curve
    if not measures.priced:
        curve = curve.rename(columns={"cost": "fence_m"})
    tables = {
        "measures.csv": _priced(_sites(study, measures), measures),
        "measure_quantities.csv": _priced(measures.quantities, measures),
        "alternatives.csv": _priced(measures.alternatives, measures),
        "money_curve.csv": _priced(curve, measures),
        "measure_pieces.csv": _with_ends(measures.pieces, "road"),
        "signs.csv": _signs(study, measures),
        "traffic_what_if.csv": measures.what_if,
        "measure_effects.csv": measures.effects.rename(columns=_MOVED),
        "constraints.csv": measures.constraints,
        "structures_seen.csv": _structures(measures),
    }
    return {name: _shown(table, units, known=measures.known) for name, table in tables.items()}


def _sites(study: Study, measures: MeasureTables) -> pd.DataFrame:
    table = _with_ends(measures.chosen, "place").drop(columns=["begin_place", "end_place"])
    unit = measure_units(table, _measure_unit(study))
    table.insert(list(table).index("end_measure") + 1, "measure_unit", unit)
    said = engineer_places(study, measures.chosen)
    at = list(table).index("place") + 1
    for k, name in enumerate(("where", "begin_where", "end_where", "side")):
        table.insert(at + k, name, said[name])
    return table


def _signs(study: Study, measures: MeasureTables) -> pd.DataFrame:
    table = _points(measures.signs)
    known = pd.to_numeric(table["route_measure"]).notna()
    unit = np.where(known, _measure_unit(study), "")
    table.insert(list(table).index("route_measure") + 1, "measure_unit", unit)
    where = engineer_places(study, measures.signs)["where"]
    table.insert(list(table).index("place") + 1, "where", where)
    return table


def _structures(measures: MeasureTables) -> pd.DataFrame:
    table = measures.structures.drop(columns=["x_m", "y_m"])
    xy = measures.structures[["x_m", "y_m"]].to_numpy(np.float64)
    longitude, latitude = longitude_latitude(xy, measures.chosen.crs)
    at = list(table).index("place") + 1
    table.insert(at, "longitude", longitude)
    table.insert(at + 1, "latitude", latitude)
    return table


def _measure_unit(study: Study) -> str:
    agency = study.settings.roads.agency
    return agency.measure_unit if agency else ""


def _priced(table: pd.DataFrame, measures: MeasureTables) -> pd.DataFrame:
    """Say what costs are in, or that they are missing because prices aren't confirmed."""
    said = "confirmed" if measures.priced else NOT_CONFIRMED
    return pd.DataFrame(table).assign(currency=plain_text(measures.currency), prices=said)


def _with_ends(table: gpd.GeoDataFrame, after: str) -> pd.DataFrame:
    """Put the ends of each line in place of its course."""
    shapes = table.geometry.to_crs(WGS84).to_numpy()
    xy, of = shapely.get_coordinates(shapes, return_index=True)
    first = np.searchsorted(of, np.arange(len(shapes)))
    last = np.searchsorted(of, np.arange(len(shapes)), side="right") - 1
    ends = np.round(np.column_stack([xy[first], xy[last]]), 6)
    plain = pd.DataFrame(table.drop(columns="geometry"))
    at = list(plain).index(after) + 1
    names = ("begin_longitude", "begin_latitude", "end_longitude", "end_latitude")
    for k, name in enumerate(names):
        plain.insert(at + k, name, ends[:, k])
    return plain


def _points(table: gpd.GeoDataFrame) -> pd.DataFrame:
    shapes = table.geometry.to_crs(WGS84)
    plain = pd.DataFrame(table.drop(columns="geometry"))
    at = list(plain).index("place") + 1
    plain.insert(at, "longitude", shapes.x.round(6).to_numpy(np.float64))
    plain.insert(at + 1, "latitude", shapes.y.round(6).to_numpy(np.float64))
    return plain


def _shown(table: pd.DataFrame, units: Units, *, known: bool) -> pd.DataFrame:
    """Return a table in the study's units, rounded to what a reader can use."""
    columns: dict[str, Any] = {}
    for name in map(str, table):
        new = name if known else _of_share(name)
        columns |= _column(new, table[name], units)
    return pd.DataFrame(columns, index=table.index).reset_index(drop=True)


def _of_share(name: str) -> str:
    """Return the name of a column of deaths where these are shares of all."""
    if name == "lowest_tenth":
        return "lowest_tenth_share"
    return name if name == _UPKEEP else name.replace("_per_year", "_share")


def _column(name: str, values: pd.Series[Any], units: Units) -> dict[str, Any]:
    if name in _LENGTHS_M:
        metres = pd.to_numeric(values).astype("float64")
        if units == "us":
            return {f"{name.removesuffix('_m')}_ft": rounded(metres / M_PER_FOOT, 0)}
        return {name: rounded(metres, 1)}
    if name == "speed_limit_kmh":
        return dict(speed_column(values, units))
    return {name: _rounded(name, values)}


def _rounded(name: str, values: pd.Series[Any]) -> Any:
    if name in _WHOLE:
        return rounded(values, 0).astype("Int64")
    if name in _DECIMALS:
        return rounded(values, _DECIMALS[name])
    if types.is_bool_dtype(values.dtype):
        return ["yes" if value else "no" for value in values]
    if types.is_float_dtype(values.dtype):
        # Degrees have their decimals already.
        return values if name.endswith("itude") else significant(values)
    return values if types.is_numeric_dtype(values.dtype) else _texts(values)


def _texts(values: pd.Series[Any]) -> list[str]:
    return [plain_text(value) for value in values]
