"""Price tables for tests: every pay item at one price, but for those that are named."""

from __future__ import annotations

import numpy as np
import pandas as pd

from roadrisk.mitigation.prices import price_list
from roadrisk.records.pay_items import pay_items


def price_table(likely=0.0, *, spread=0.0, confirmed=True, life=None, **named):
    """Return `Study.prices`; `named` gives likely prices, `life` years by item."""
    rows = []
    for key, item in pay_items().items():
        price = named.get(key, likely)
        rows.append(
            {
                "item": key,
                "unit": item.unit,
                "low": price * (1 - spread),
                "likely": price,
                "high": price * (1 + spread),
                "price_year": 2025.0,
                "source": "made up",
                "confirmed": confirmed,
                "paid_by": "agency",
                "life_years": (life or {}).get(key, np.nan),
            }
        )
    return pd.DataFrame(rows)


def prices_of(measures, **more):
    return price_list(measures, price_table(**more))
