"""The page of measures: all sites together, and who pays how much."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from roadrisk.reporting.csv_text import plain_text
from roadrisk.reporting.measure_words import money
from roadrisk.reporting.printed_page import paragraph, table

if TYPE_CHECKING:
    from roadrisk.measure_findings import MeasureTables

_SUMS = ("length_m", "fence_m", "passages_new", "passages_existing", "openings", "moved_per_year",
         "cost_build", "cost_build_low", "cost_build_high", "upkeep_per_year",
         "present_cost")  # fmt: skip
_AVERTED = "averted_per_year"


def all_sites(measures: MeasureTables) -> dict[str, Any]:
    """Return all sites together, as one row.

    Parameters
    ----------
    measures : MeasureTables

    Returns
    -------
    dict
        Sums over all sites; NaN where one of them isn't known. Deaths averted with their interval
        are those of the choice as a whole, since intervals can't be added up; deaths that are
        there now are not known together and NaN.
    """
    chosen = measures.chosen
    row: dict[str, Any] = {
        name: float(chosen[name].astype(float).sum(skipna=False)) for name in _SUMS
    }
    row["deaths_per_year"] = np.nan
    own = measures.curve[measures.curve["chosen"].astype(bool)] if len(measures.curve) else None
    for name in (_AVERTED, f"{_AVERTED}_low", f"{_AVERTED}_high"):
        row[name] = float(own[name].iloc[0]) if own is not None and len(own) else np.nan
    return row


def who_pays(measures: MeasureTables) -> list[str]:
    """Return what each payer pays to build and each year; nothing while prices are placeholders.

    Parameters
    ----------
    measures : MeasureTables

    Returns
    -------
    list of str
        A table, or a sentence where one pays all.
    """
    bill = measures.quantities
    if not measures.priced or bill.empty:
        return []
    payer = bill["paid_by"].map(plain_text).replace("", "not said")
    names = list(dict.fromkeys(payer))
    if len(names) == 1:
        said = "Who pays is not said." if names[0] == "not said" else f"All is paid by: {names[0]}."
        return [paragraph(said, "small")]
    cells = payer_rows(measures)
    currency = plain_text(measures.currency)
    caption = "Who pays, all sites together, at likely prices"
    caption += f"; costs in {currency}" if currency else ""
    return [table(caption, ("Paid by", "To build", "Upkeep a year"), cells)]


def payer_rows(measures: MeasureTables) -> list[tuple[str, str, str]]:
    """Return each payer with what it pays to build and each year, all sites together.

    Parameters
    ----------
    measures : MeasureTables

    Returns
    -------
    list of tuple of str
        Empty while prices are placeholders.
    """
    bill = measures.quantities
    if not measures.priced or bill.empty:
        return []
    payer = bill["paid_by"].map(plain_text).replace("", "not said")
    yearly = bill["unit"].map(plain_text).str.endswith("a year")
    return [
        (
            name,
            money(float(bill["cost"][(payer == name) & ~yearly].sum())),
            money(float(bill["cost"][(payer == name) & yearly].sum())),
        )
        for name in dict.fromkeys(payer)
    ]
