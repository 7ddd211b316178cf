"""What a run proposes: measures with their places, quantities, costs and effect, as tables."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    import geopandas as gpd
    import pandas as pd

    from roadrisk.errors import Remark


@dataclass(frozen=True, eq=False)
class MeasureTables:
    """What to do where, what it costs and what it averts.

    Deaths are per year; where how many die isn't known (`known` False) they are shares of all
    deaths. Costs are NaN while any price is a placeholder (`priced` False). _low and _high are
    90 % intervals of deaths, and the ends of the price list's ranges for costs.

    Attributes
    ----------
    proposed : bool
        Whether a choice was made; `words` says why not.
    known, priced : bool
    currency : str
        "" if not priced.
    gap : float
        Proven distance of the choice from the best, as a share; NaN without a choice.
    words : str
        One plain sentence.
    notes : tuple of str
    chosen : geopandas.GeoDataFrame
        One row a site, best first. Columns: site (1..), measure, measure_name, road, route,
        begin_measure, end_measure, place, begin_place, end_place (words), length_m,
        fence_m (both sides and returns),
        passages_new, passages_existing, openings, deaths_per_year, averted_per_year (each with
        _low, _high), moved_per_year (to the ends), included_of_100 (mean over its pieces),
        crossings_kept (share of tracked crossings there that stay possible; NaN without),
        cost_build (with _low, _high), upkeep_per_year, present_cost, cost_per_death, grade,
        constraints, cheap_moment, owner, segment_ids, geometry (LineString or MultiLineString).
    pieces : geopandas.GeoDataFrame
        One row a piece of road: piece, road, site (0 for none), included_of_100, geometry.
    quantities : pandas.DataFrame
        Columns: site, item, unit, quantity, unit_cost_low, unit_cost, unit_cost_high,
        price_year, source, paid_by, cost_low, cost, cost_high.
    alternatives : pandas.DataFrame
        First row "do nothing". Columns: alternative, sites, length_m, cost, averted_per_year
        (with _low, _high), lowest_tenth, deaths_left_per_year, words.
    curve : pandas.DataFrame
        Columns: cost (present value, or metres of fence), averted_per_year (with _low, _high),
        sites, knee, chosen.
    signs : geopandas.GeoDataFrame
        Columns: sign (1..), site, road, towards, place, route, route_measure, side (words),
        speed_limit_kmh, distance_m, table, months, combined_with, note, geometry (Point).
    what_if : pandas.DataFrame
        Columns: what, deaths_per_year and averted_per_year (each with _low, _high), words.
    effects : pandas.DataFrame
        Columns: measure, name, effect_low, effect, effect_high, displaced_low, displaced_high,
        grade, source, precedents.
    constraints : pandas.DataFrame
        Columns: site, kind, what, effect.
    structures : pandas.DataFrame
        Columns: id, type, road, place, x_m, y_m (working system; NaN off the network), verdict
        ("usable", "not usable", "not known"), why, look_at (what to look at there).
    remarks : tuple of Remark
        Rows of what is there that lie on no road, kind "left out".
    """

    proposed: bool
    known: bool
    priced: bool
    currency: str
    gap: float
    words: str
    notes: tuple[str, ...]
    chosen: gpd.GeoDataFrame
    pieces: gpd.GeoDataFrame
    quantities: pd.DataFrame
    alternatives: pd.DataFrame
    curve: pd.DataFrame
    signs: gpd.GeoDataFrame
    what_if: pd.DataFrame
    effects: pd.DataFrame
    constraints: pd.DataFrame
    structures: pd.DataFrame
    remarks: tuple[Remark, ...] = ()
