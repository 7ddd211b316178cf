"""What a measure costs: quantities by pay item, works, upkeep, and present value.

As an engineer's estimate goes: quantity times unit cost; design, traffic control and contingency
as percent of the sum of all other works, each of that sum and not of each other; upkeep by the
year. Present value is works now, upkeep at the end of each year of the horizon, and whatever is
worn out before its end bought again at the end of its life with the same percents, discounted at
one rate without inflation. What lasts beyond the horizon is given no rest value there.
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from roadrisk.records.pay_items import pay_items

if TYPE_CHECKING:
    from roadrisk.mitigation.measures import Measure
    from roadrisk.mitigation.prices import PriceList
    from roadrisk.mitigation_settings import MitigationSection

Floats = NDArray[np.float64]
Counts = NDArray[np.int64] | NDArray[np.float64] | float

ENDS = 4  # two ends on two sides
QUANTITIES = ("item", "unit", "quantity")
COSTED = (
    "site", "item", "unit", "quantity", "unit_cost_low", "unit_cost", "unit_cost_high",
    "price_year", "source", "paid_by", "cost_low", "cost", "cost_high",
)  # fmt: skip
_POINTS = ("_low", "", "_high")
_SITE_COSTS = ("cost_build", "upkeep_per_year", "present_cost")


def present_value_factor(years: float, rate: float) -> float:
    """Return what 1 at the end of each year is worth now: (1 - (1 + r)^-n) / r.

    Parameters
    ----------
    years : float
        n.
    rate : float
        Discount rate r as a share a year; at 0 the factor is n.

    Returns
    -------
    float
    """
    if rate == 0:
        return float(years)
    return -math.expm1(-years * math.log1p(rate)) / rate


def replacement_factor(life_years: float, years: float, rate: float) -> float:
    """Return what it is worth now to buy something again, each time for 1, until the horizon.

    Parameters
    ----------
    life_years : float
        Bought again at once, twice ... this time, as long as that is before the horizon; NaN:
        never.
    years : float
        Horizon.
    rate : float
        Discount rate as a share a year.

    Returns
    -------
    float
        The first purchase isn't counted.
    """
    if math.isnan(life_years):
        return 0.0
    times = math.ceil(years / life_years) - 1
    return sum((1 + rate) ** (-k * life_years) for k in range(1, times + 1))


def fence_metres(measure: Measure, length_m: Floats | float, *, ends: int = ENDS) -> Floats:
    """Return metres of fence along runs of road: both sides and the turned-back ends.

    Parameters
    ----------
    measure : Measure
    length_m : ndarray or float
        Of road [m].
    ends : int
        Ends of fence, both sides counted.

    Returns
    -------
    ndarray
        Of the shape of `length_m`; 0 where that is 0, and for measures that are no barrier.
    """
    length = np.asarray(length_m, dtype=np.float64)
    built = measure.barrier & (length > 0)
    return np.where(built, 2 * length + ends * measure.return_m, 0.0)


def quantities_of(
    measure: Measure,
    *,
    length_m: float,
    passages: int = 0,
    culverts: int = 0,
    openings: int = 0,
    signs: int = 0,
    hours: float = 0.0,
    ends: int = ENDS,
) -> pd.DataFrame:
    """Return the quantities of a measure at one site.

    Parameters
    ----------
    measure : Measure
    length_m : float
        Of road [m].
    passages, culverts : int
        New ones, and existing ones that are used.
    openings : int
        Driveways and side roads, each side counted.
    signs : int
    hours : float
        Of patrol, a year [h].
    ends : int
        Ends of fence, both sides counted.

    Returns
    -------
    pandas.DataFrame
        Columns of `QUANTITIES`, in the order of an estimate: works, their percents (quantity 1),
        what is paid each year. Items of which there are none are left out.
    """
    counts = _counts(
        measure, length_m, passages=passages, culverts=culverts, openings=openings, signs=signs,
        hours=hours, ends=ends,
    )  # fmt: skip
    amount: dict[str, float] = {}
    for key, per, factor in measure.items:
        n = 1.0 if per == "works" else factor * float(np.asarray(counts[per]))
        amount[key] = amount.get(key, 0.0) + n
    order = sorted(amount, key=_place)
    rows = [(key, pay_items()[key].unit_words, amount[key]) for key in order if amount[key] > 0]
    return pd.DataFrame(rows, columns=list(QUANTITIES))


def run_costs(
    measure: Measure,
    prices: PriceList,
    length_m: Floats,
    *,
    settings: MitigationSection,
    passages: Counts = 0.0,
    culverts: Counts = 0.0,
    openings: Counts = 0.0,
    signs: Counts = 0.0,
    hours: Counts = 0.0,
    ends: int = ENDS,
) -> Floats:
    """Return the likely cost of a measure on very many runs of road.

    Parameters
    ----------
    measure : Measure
    prices : PriceList
    length_m : ndarray, shape (n,)
        Of road [m].
    settings : MitigationSection
        Horizon, discount rate, and whether the budget covers upkeep.
    passages, culverts, openings, signs, hours : ndarray, shape (n,), or float
        As in `quantities_of`.
    ends : int

    Returns
    -------
    ndarray, shape (n,)
        What counts against the budget: the present value, or the works alone; the same as
        `site_costs` says of the same site. NaN if a price that the measure takes isn't confirmed.
    """
    counts = _counts(
        measure, length_m, passages=passages, culverts=culverts, openings=openings, signs=signs,
        hours=hours, ends=ends,
    )  # fmt: skip
    found = np.zeros(np.shape(length_m))
    percents = 1.0 + sum(
        prices.unit(key).likely / 100 for key, per, _ in measure.items if per == "works"
    )
    for key, per, factor in measure.items:
        price = prices.unit(key)
        if not price.confirmed:
            return np.full(np.shape(length_m), np.nan)
        if per == "works":
            continue
        whole = percents if not price.item.yearly else 1.0
        each = price.likely * factor * whole * _weight(key, price.life_years, settings)
        if each:
            found += each * counts[per]
    return found


def costed(quantities: pd.DataFrame, prices: PriceList) -> pd.DataFrame:
    """Return an estimate: quantities with unit costs and costs.

    Parameters
    ----------
    quantities : pandas.DataFrame
        Columns of `QUANTITIES`, and site where there are several.
    prices : PriceList

    Returns
    -------
    pandas.DataFrame
        Columns of `COSTED`, rows as given. Of a percent item the unit cost is the percent, and the
        cost that share of the site's other works (low of low, high of high). Yearly items cost
        that much a year. Costs are NaN while any price that is needed isn't confirmed.
    """
    table = quantities.reset_index(drop=True).copy()
    if "site" not in table:
        table.insert(0, "site", 1)
    priced = [prices.unit(key) for key in table["item"]]
    for k, end in enumerate(_POINTS):
        unit = np.array([p.points[k] for p in priced], dtype=np.float64)
        percent = np.array([p.item.percent for p in priced], dtype=bool)
        yearly = np.array([p.item.yearly for p in priced], dtype=bool)
        cost = unit * table["quantity"].to_numpy(dtype=np.float64)
        works = pd.Series(np.where(percent | yearly, 0.0, cost)).groupby(table["site"])
        cost = np.where(percent, unit / 100 * works.transform("sum").to_numpy(), cost)
        table[f"unit_cost{end}"] = unit
        table[f"cost{end}"] = cost if prices.confirmed else np.nan
    table["price_year"] = [p.price_year for p in priced]
    table["source"] = np.array([p.source for p in priced], dtype=object)
    table["paid_by"] = np.array([p.paid_by for p in priced], dtype=object)
    return table[list(COSTED)]


def site_costs(
    estimate: pd.DataFrame, prices: PriceList, *, settings: MitigationSection
) -> pd.DataFrame:
    """Return what each site costs.

    Parameters
    ----------
    estimate : pandas.DataFrame
        As `costed` returns it.
    prices : PriceList
    settings : MitigationSection
        Horizon and discount rate.

    Returns
    -------
    pandas.DataFrame
        One row a site. Columns site; cost_build, upkeep_per_year, present_cost, each with _low
        and _high: ends of the price list's ranges added up.
    """
    priced = [prices.unit(key) for key in estimate["item"]]
    yearly = np.array([p.item.yearly for p in priced], dtype=bool)
    percent = np.array([p.item.percent for p in priced], dtype=bool)
    both = settings.model_copy(update={"budget_covers": "building and upkeep"})
    weight = np.array([_weight(p.item.key, p.life_years, both) for p in priced])
    rows = []
    for site in pd.unique(estimate["site"]):
        here = estimate["site"].to_numpy() == site
        row: dict[str, object] = {"site": site}
        for k, end in enumerate(_POINTS):
            cost = estimate[f"cost{end}"].to_numpy(dtype=np.float64)
            percents = np.array([p.points[k] / 100 for p in priced])[here & percent].sum()
            works, upkeep = here & ~yearly & ~percent, here & yearly
            row[f"cost_build{end}"] = cost[here & ~yearly].sum()
            row[f"upkeep_per_year{end}"] = cost[upkeep].sum()
            row[f"present_cost{end}"] = (1 + percents) * (cost * weight)[works].sum() + (
                cost * weight
            )[upkeep].sum()
        rows.append(row)
    names = [f"{what}{end}" for what in _SITE_COSTS for end in _POINTS]
    return pd.DataFrame(rows, columns=["site", *names])


def _counts(
    measure: Measure,
    length_m: Floats | float,
    *,
    passages: Counts,
    culverts: Counts,
    openings: Counts,
    signs: Counts,
    hours: Counts,
    ends: int,
) -> dict[str, Counts]:
    """How many there are of what pay items are counted by."""
    return {
        "fence_m": 2.0 * np.asarray(length_m, dtype=np.float64),
        "end": float(ends),
        "passage": passages,
        "culvert": culverts,
        "structure": np.asarray(passages) + np.asarray(culverts),
        "opening": openings,
        "sign": signs,
        "site": 1.0,
        "inspection": measure.inspections_per_year,
        "hour": hours,
    }


def _weight(key: str, life_years: float, settings: MitigationSection) -> float:
    """Return what 1 spent on an item at first, or each year, counts against the budget."""
    yearly = pay_items()[key].yearly
    if settings.budget_covers == "building":
        return 0.0 if yearly else 1.0
    years, rate = float(settings.horizon_years), settings.discount_percent / 100
    if yearly:
        return present_value_factor(years, rate)
    return 1.0 + replacement_factor(life_years, years, rate)


def _place(key: str) -> tuple[bool, bool, int]:
    item = pay_items()[key]
    return item.yearly, item.percent, list(pay_items()).index(key)
