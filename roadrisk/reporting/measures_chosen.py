"""The page of measures: what is proposed where, its bill of quantities, and other choices."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd

from roadrisk.base.units import M_PER_FOOT
from roadrisk.records.pay_items import pay_items
from roadrisk.reporting.csv_text import plain_text
from roadrisk.reporting.deaths_cells import rows
from roadrisk.reporting.measure_words import (
    NOT_CONFIRMED,
    crossings_kept,
    deaths_said,
    fence_length,
    included,
    length,
    money,
    money_range,
    passages,
    per_death,
    where,
    whole,
)
from roadrisk.reporting.measures_paid import all_sites, who_pays
from roadrisk.reporting.money_chart import HOW_TO_READ, money_chart
from roadrisk.reporting.printed_page import escaped, figure, paragraph, table
from roadrisk.reporting.wording import count, number

if TYPE_CHECKING:
    from roadrisk.measure_findings import MeasureTables
    from roadrisk.reporting.place_sheets import Scale

# Sites that are shown one by one; the file has all.
MOST_SITES = 40
YEAR, AVERTED, MOVED = "deaths_per_year", "averted_per_year", "moved_per_year"


def sites(measures: MeasureTables, scale: Scale, years: int) -> list[str]:
    """Return what to build where, and what that averts and costs, best first.

    Parameters
    ----------
    measures : MeasureTables
    scale : Scale
    years : int
        Over which costs are counted, `horizon_years`.
    """
    if measures.chosen.empty:
        return []
    head = rows(_head(measures))
    left = len(measures.chosen) - len(head)
    out = ["<h2>What is proposed, best first</h2>", _build(head, measures, scale)]
    out += [_gains(head, measures), *_costs(head, measures, years)]
    if left:
        out.append(paragraph(f"{left} more sites: see measures.csv.", "small"))
    out.append(paragraph(_explained(measures), "small"))
    return out


def bills(measures: MeasureTables, scale: Scale) -> list[str]:
    """Return each site's bill of quantities with what is known of it."""
    if measures.chosen.empty:
        return []
    out = ["<h2>Bill of quantities, site by site</h2>"]
    out += [] if measures.priced else [paragraph(f"{NOT_CONFIRMED}: quantities only.")]
    if scale.units == "us":
        out.append(paragraph("Pay items are in the price list's units: 1 m is 3.28 ft.", "small"))
    for row in rows(_head(measures)):
        out += ['<div class="bill">', *_bill(row, measures, scale), "</div>"]
    return out


def alternatives(measures: MeasureTables, scale: Scale, covers: str) -> list[str]:
    """Return other choices beside the proposed one, doing nothing first, and the curve.

    Parameters
    ----------
    measures : MeasureTables
    scale : Scale
    covers : str
        What money is counted for, as in ``[mitigation] budget_covers``.
    """
    out = ["<h2>Other choices, and what more or less money would do</h2>"]
    if measures.alternatives.empty:
        return []
    cost = ("Cost",) if measures.priced else ()
    cells = []
    for row in rows(measures.alternatives):
        left = deaths_said(row, "deaths_left_per_year", measures)
        spent = (money(row["cost"]) or "not counted",) if cost else ()
        cells.append((
            plain_text(row["alternative"]), count(float(row["sites"])) or "–",
            length(row["length_m"], scale), *spent,
            deaths_said(row, AVERTED, measures), deaths_said(row, "lowest_tenth", measures),
            left, plain_text(row["words"]),
        ))  # fmt: skip
    heads = ("Choice", "Sites", "Road", *cost, "Deaths averted",
             "In 9 of 10 draws at least", "Deaths left", "In words")  # fmt: skip
    caption = f"On the roads that were watched; deaths {_per(measures)}{_in(measures)}"
    out.append(table(caption, heads, cells, texts=[len(heads) - 1]))
    across, curve = curve_axis(measures, scale, covers)
    times, up = (1.0, "a year") if measures.known else (100.0, ", % of all road deaths")
    drawn = money_chart(curve, across=across, times=times,
                        up=f"Deaths averted {up}".replace(" ,", ","))  # fmt: skip
    return [*out, figure([drawn], HOW_TO_READ, "one")]


def curve_axis(measures: MeasureTables, scale: Scale, covers: str) -> tuple[str, pd.DataFrame]:
    """Return what the curve goes by, in words, and the curve in the study's units.

    Parameters
    ----------
    measures : MeasureTables
    scale : Scale
    covers : str
        What money is counted for, as in ``[mitigation] budget_covers``.

    Returns
    -------
    tuple of str and pandas.DataFrame
        Money at present value, or metres or feet of fence where nothing is priced.
    """
    if measures.priced:
        words, unit = covers[:1].upper() + covers[1:], plain_text(measures.currency)
        words += ", at present value" if "upkeep" in covers else ""
        return f"{words}{f', {unit}' if unit else ''}", measures.curve
    if scale.units == "us":
        return "Fence, ft", measures.curve.assign(cost=measures.curve["cost"] / M_PER_FOOT)
    return "Fence, m", measures.curve


def _build(head: list[dict[str, Any]], measures: MeasureTables, scale: Scale) -> str:
    cells = [
        (
            f"{row['site']:.0f}", where(row, scale), plain_text(row["measure_name"]),
            length(row["length_m"], scale), fence_length(row["fence_m"], scale), passages(row),
            whole(row["openings"]), crossings_kept(row),
        )
        for row in head
    ]  # fmt: skip
    if len(measures.chosen) > 1:
        total = all_sites(measures)
        cells.append((
            "all", "", "", length(total["length_m"], scale),
            fence_length(total["fence_m"], scale), passages(total), whole(total["openings"]), "",
        ))  # fmt: skip
    heads = ("Site", "Where", "Measure", "Length of road", "Fence, both sides", "Passages",
             "Openings in the fence", "Tracked crossings with a passage in reach")  # fmt: skip
    return table("What to build, and where", heads, cells, texts=[1, 2])


def _gains(head: list[dict[str, Any]], measures: MeasureTables) -> str:
    cells = []
    for row in _and_all(head, measures):
        one = "site" in row
        cells.append((
            _number(row), deaths_said(row, YEAR, measures, ""),
            deaths_said(row, AVERTED, measures), deaths_said(row, MOVED, measures, "–"),
            included(row) if one else "",
        ))  # fmt: skip
    heads = ("Site", "Road deaths there now", "Averted", "Moved to the ends",
             "Chosen in, of 100 draws")  # fmt: skip
    caption = f"What that averts; deaths {_per(measures)} (90 % intervals)"
    return table(caption, heads, cells)


def _costs(head: list[dict[str, Any]], measures: MeasureTables, years: int) -> list[str]:
    if not measures.priced:
        return []
    cells = [
        (
            _number(row), money_range(row, "cost_build"), money(row["upkeep_per_year"]) or "–",
            money(row["present_cost"]) or "–", per_death(row, years) if measures.known else "–",
        )
        for row in _and_all(head, measures)
    ]  # fmt: skip
    heads = ("Site", "To build (low to high)", "Upkeep a year",
             f"Both over {years} years, at present value", "Per death averted")  # fmt: skip
    return [table(f"What that costs{_in(measures, 'in')}", heads, cells), *who_pays(measures)]


def _and_all(head: list[dict[str, Any]], measures: MeasureTables) -> list[dict[str, Any]]:
    """Add all sites together where there are several."""
    return [*head, all_sites(measures)] if len(measures.chosen) > 1 else head


def _number(row: dict[str, Any]) -> str:
    return f"{row['site']:.0f}" if "site" in row else "all"


def _bill(row: dict[str, Any], measures: MeasureTables, scale: Scale) -> list[str]:
    name, title = plain_text(row["measure_name"]), f"Site {row['site']:.0f}: {where(row, scale)}"
    out = [f"<h3>{escaped(title)}</h3>", paragraph(_facts(row, name, measures, scale))]
    bill = measures.quantities[measures.quantities["site"] == row["site"]]
    if bill.empty:
        return [*out, paragraph("No quantities.", "small")]
    out.append(_items(bill, f"Site {row['site']:.0f}, {name}{_in(measures)}", measures))
    if measures.priced:
        present = money(row["present_cost"], measures.currency)
        total = f"To build {money_range(row, 'cost_build', currency=measures.currency)}"
        upkeep = money(row["upkeep_per_year"], measures.currency)
        out.append(paragraph(
            f"{total}; upkeep {upkeep or 'not known'} a year; both together over the horizon, at "
            f"present value: {present or 'not known'}."
        ))  # fmt: skip
    return out


def _items(bill: pd.DataFrame, caption: str, measures: MeasureTables) -> str:
    """Return the table of one site's pay items; what is alike in all stands in the caption."""
    costs, names = measures.priced, pay_items()
    origins = [_origin(item) for item in rows(bill)]
    alike = len(set(origins)) == 1
    cells = []
    for item, origin in zip(rows(bill), origins, strict=True):
        key = plain_text(item["item"])
        priced = (unit_cost(item), money_range(item, "cost", "–"))
        cells.append((
            names[key].name if key in names else key, plain_text(item["unit"]),
            amount(item), *(priced if costs else ()),
            plain_text(item["paid_by"]) or "–", *((origin,) if costs and not alike else ()),
        ))  # fmt: skip
    heads: tuple[str, ...] = ("Pay item", "Unit", "Quantity")
    heads += ("Unit cost (low to high)", "Cost (low to high)") if costs else ()
    heads += ("Paid by", "Price from")[: 2 if costs and not alike else 1]
    if costs and alike:
        caption += f"; prices from: {origins[0]}"
    return table(caption, heads, cells, texts=range(5 if costs else 3, len(heads)))


def _origin(item: dict[str, Any]) -> str:
    """Return where a price is from, and of which year."""
    parts = (plain_text(item["source"]), whole(float(item["price_year"])))
    return ", ".join(x for x in parts if x and x != "–") or "–"


def _facts(row: dict[str, Any], name: str, measures: MeasureTables, scale: Scale) -> str:
    """Return in one line what a site is, its owner, its cheap moment and what it averts."""
    fence = float(row["fence_m"])
    facts = [
        f"{name} on {length(row['length_m'], scale)} of road",
        f"{fence_length(fence, scale)} of fence on both sides, turned-back ends counted "
        "(an item of their own below)"
        if fence > 0 else "",
        f"owner: {plain_text(row['owner'])}" if plain_text(row["owner"]) else "",
        plain_text(row["cheap_moment"]),
        f"evidence: {plain_text(row['grade'])}" if plain_text(row["grade"]) else "",
    ]  # fmt: skip
    said = "; ".join(fact for fact in facts if fact)
    averted = deaths_said(row, AVERTED, measures)
    share = " of all road deaths" if not measures.known else " deaths a year"
    return f"{said}. Averts {averted}{share}." if averted != "not known" else f"{said}."


def _explained(measures: MeasureTables) -> str:
    per = "money" if measures.priced else "metre of fence"
    words = (
        f'"Best first": most deaths averted for the {per}. "Averted" is net: deaths that move to '
        "the ends of a fence are taken off, and what isn't known of them is in its interval. "
        '"Chosen in, of 100 draws": deaths and effects are '
        "drawn anew within what is known of them, the choice is made again, and so often the "
        'site\'s road is part of it. "Passage in reach": a passage is near enough; whether '
        "animals will use it isn't known. "
    )
    if measures.priced:
        words += (
            '"Low to high": every price low at once, or every price high. "Per death averted": '
            "cost at present value over the deaths averted in that time, with the interval of the "
            "deaths alone. "
        )
    return words + "No place gets two measures."


def _head(measures: MeasureTables) -> pd.DataFrame:
    return pd.DataFrame(measures.chosen.drop(columns="geometry")).iloc[:MOST_SITES]


def _per(measures: MeasureTables) -> str:
    return "a year" if measures.known else "as a share of all road deaths"


def _in(measures: MeasureTables, words: str = "costs in") -> str:
    currency = plain_text(measures.currency)
    return f"; {words} {currency}" if measures.priced and currency else ""


def amount(item: dict[str, Any]) -> str:
    """Return a quantity; fences are bought by the whole metre, shares of the works have none."""
    value = float(item["quantity"])
    if plain_text(item["unit"]).startswith("m") and value >= 10:
        return f"{value:,.0f}"
    return "–" if is_share(item) else number(value, 4) or "–"


def unit_cost(item: dict[str, Any]) -> str:
    """Return an item's unit cost with its range."""
    said = money_range(item, "unit_cost", "–")
    return f"{said}\N{NO-BREAK SPACE}%" if is_share(item) else said


def is_share(item: dict[str, Any]) -> bool:
    """Whether an item is a percentage of the works, told by its unit cost."""
    return plain_text(item["unit"]).startswith("%") and bool(np.isfinite(item["unit_cost"]))
