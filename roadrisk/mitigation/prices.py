"""The price list: what each pay item costs, and whether enough is confirmed to add it up."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from roadrisk.records.pay_items import PayItem, pay_items

if TYPE_CHECKING:
    from collections.abc import Iterable, Mapping

    import pandas as pd

    from roadrisk.mitigation.measures import Measure

NOT_CONFIRMED = "Prices not confirmed"


@dataclass(frozen=True)
class Price:
    """The price of one pay item.

    Attributes
    ----------
    item : PayItem
    low, likely, high : float
        For one unit, in the study's currency, or percent; NaN: a placeholder.
    price_year : float
        NaN for a placeholder.
    source, paid_by : str
    confirmed : bool
    life_years : float
        How long what it buys lasts; NaN: nobody says, so it is bought once.
    """

    item: PayItem
    low: float = np.nan
    likely: float = np.nan
    high: float = np.nan
    price_year: float = np.nan
    source: str = ""
    paid_by: str = ""
    confirmed: bool = False
    life_years: float = np.nan

    @property
    def points(self) -> tuple[float, float, float]:
        """Low, likely, high."""
        return self.low, self.likely, self.high


@dataclass(frozen=True, eq=False)
class PriceList:
    """Prices of all pay items.

    Attributes
    ----------
    prices : mapping of str to Price
        Every pay item by key.
    needed : tuple of str
        Pay items that the measures considered take.
    """

    prices: Mapping[str, Price]
    needed: tuple[str, ...]

    def unit(self, item: str) -> Price:
        """Return the price of a pay item; a placeholder if the study gives none."""
        return self.prices[item]

    @property
    def missing(self) -> tuple[str, ...]:
        """Pay items that are needed and have no confirmed price."""
        return tuple(key for key in self.needed if not self.prices[key].confirmed)

    @property
    def confirmed(self) -> bool:
        """Whether every price that is needed is confirmed."""
        return not self.missing

    @property
    def price_years(self) -> tuple[int, ...]:
        """Years of the prices that are needed, in order."""
        years = {self.prices[key].price_year for key in self.needed}
        return tuple(sorted(int(y) for y in years if not np.isnan(y)))

    @property
    def words(self) -> str:
        """Plain sentences on how far the prices carry."""
        if not self.confirmed:
            names = ", ".join(self.missing)
            return f"{NOT_CONFIRMED}: {names}. Quantities are shown, costs are not."
        years = self.price_years
        said = f"All prices are confirmed, of {years[0]}."
        if len(years) > 1:
            said = (
                f"Prices are of {years[0]} to {years[-1]} and were not brought to one year: the "
                "price list says of which year each is."
            )
        bought = [self.prices[key] for key in self.needed if self.prices[key].item.wears]
        endless = [p.item.key for p in bought if np.isnan(p.life_years)]
        if endless:
            said += (
                f" Nobody says how long these last, so they are bought once: {', '.join(endless)}."
            )
        return said


def price_list(measures: Iterable[Measure], table: pd.DataFrame | None) -> PriceList:
    """Return the price list of a study.

    Parameters
    ----------
    measures : iterable of Measure
        Those considered.
    table : pandas.DataFrame or None
        `Study.prices`: columns of `records.survey_schemas.PRICES`.

    Returns
    -------
    PriceList
        No price is built in: what the table doesn't give is a placeholder.
    """
    prices = {key: Price(item) for key, item in pay_items().items()}
    for row in [] if table is None else table.to_dict("records"):
        item = prices[row["item"]].item
        points = (float(row["low"]), float(row["likely"]), float(row["high"]))
        prices[item.key] = Price(
            item,
            *points,
            price_year=float(row["price_year"]),
            source=str(row["source"]),
            paid_by=str(row["paid_by"]),
            confirmed=bool(row["confirmed"]),
            life_years=float(row["life_years"]),
        )
    taken = {item for measure in measures for item, _, _ in measure.items}
    return PriceList(prices, tuple(key for key in prices if key in taken))
