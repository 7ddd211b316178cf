"""The chosen sites' bill of quantities, and what each costs."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from roadrisk.mitigation.candidate_table import SIGNS_A_SITE
from roadrisk.mitigation.costs import QUANTITIES, costed, quantities_of, site_costs

if TYPE_CHECKING:
    from collections.abc import Sequence

    import geopandas as gpd

    from roadrisk.mitigation.candidate_table import Laid
    from roadrisk.mitigation.ground import Ground
    from roadrisk.mitigation.measures import Measure
    from roadrisk.mitigation.prices import PriceList
    from roadrisk.mitigation_settings import MitigationSection
    from roadrisk.roads.network import Ints

SIGNS = ("sign_standing", "sign_seasonal")
_COSTS = (
    "cost_build", "cost_build_low", "cost_build_high", "upkeep_per_year", "present_cost",
    "cost_per_death",
)  # fmt: skip


def estimate_of(
    ground: Ground,
    laid: Laid,
    rows: Ints,
    measures: Sequence[Measure],
    signs: gpd.GeoDataFrame,
    prices: PriceList,
    section: MitigationSection,
) -> pd.DataFrame:
    """Return the bill of quantities of sites.

    Parameters
    ----------
    ground : Ground
    laid : Laid
    rows : ndarray of int64, shape (sites,)
        Of the candidates, in order of sites.
    measures : sequence of Measure
    signs : geopandas.GeoDataFrame
        Of `signs.sign_places`: counted where warning signs are the measure. Speed limit signs are
        counted as the choice counted them.
    prices : PriceList
    section : MitigationSection

    Returns
    -------
    pandas.DataFrame
        `costs.COSTED`.
    """
    found, length = laid.candidates, ground.lines.length_m
    parts = []
    for k, row in enumerate(rows.tolist()):
        measure = measures[found.measure[row]]
        placed = 0 if measure.barrier else SIGNS_A_SITE
        if measure.key in SIGNS:
            placed = int((signs["site"] == k + 1).sum())
        parts.append(
            quantities_of(
                measure, length_m=float(length[found.first[row] : found.last[row]].sum()),
                passages=int(laid.passages_new[row]), culverts=int(laid.passages_existing[row]),
                openings=int(laid.openings[row]), signs=placed,
                hours=section.patrol_hours_per_year or 0.0,
            ).assign(site=k + 1)
        )  # fmt: skip
    if not parts:
        parts = [pd.DataFrame(columns=[*QUANTITIES, "site"])]
    return costed(pd.concat(parts, ignore_index=True), prices)


def with_costs(
    table: gpd.GeoDataFrame,
    estimate: pd.DataFrame,
    prices: PriceList,
    section: MitigationSection,
    *,
    priced: bool,
    known: bool,
) -> gpd.GeoDataFrame:
    """Put costs beside sites.

    Parameters
    ----------
    table : geopandas.GeoDataFrame
        Of `chosen_sites.site_table`.
    estimate : pandas.DataFrame
        Of `estimate_of`.
    prices : PriceList
    section : MitigationSection
    priced : bool
        If not, all costs are NaN.
    known : bool
        Whether it is known how many die; if not, there is no cost for each death.

    Returns
    -------
    geopandas.GeoDataFrame
        With cost_build (with _low, _high), upkeep_per_year, present_cost, cost_per_death (present
        cost over the deaths averted within the horizon).
    """
    out = table.copy()
    at = out.columns.get_loc("grade")
    costs = site_costs(estimate, prices, settings=section).set_index("site") if priced else None
    for name in _COSTS[:-1]:
        values = np.nan if costs is None else costs[name].reindex(out["site"]).to_numpy(np.float64)
        out.insert(at, name, values)
        at += 1
    deaths = out["averted_per_year"] * section.horizon_years
    out.insert(
        at,
        _COSTS[-1],
        (out["present_cost"] / deaths.where(known & (deaths > 0))).astype(np.float64),
    )
    return out


def money_of(
    estimate: pd.DataFrame, prices: PriceList, section: MitigationSection
) -> tuple[float, float, float]:
    """Return the present cost of all sites together.

    Parameters
    ----------
    estimate : pandas.DataFrame
    prices : PriceList
    section : MitigationSection

    Returns
    -------
    low, likely, high : float
        NaN while prices aren't confirmed.
    """
    if not prices.confirmed or not len(estimate):
        return np.nan, np.nan, np.nan
    costs = site_costs(estimate, prices, settings=section)
    low, likely, high = (float(costs[f"present_cost{end}"].sum()) for end in ("_low", "", "_high"))
    return low, likely, high
