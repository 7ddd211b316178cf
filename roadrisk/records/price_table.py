"""Unit costs of pay items, as those who will pay them have confirmed them."""

from __future__ import annotations

import difflib
import re
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from roadrisk.records import schemas, survey_schemas
from roadrisk.records.columns import Columns, find_columns, numbers, of_a_value
from roadrisk.records.pay_items import PayItem, pay_items
from roadrisk.records.raw_table import About, Bools, Floats, Notes, RawTable
from roadrisk.records.road_pieces import row_errors
from roadrisk.records.table_files import read_raw

if TYPE_CHECKING:
    from roadrisk.records.folder_in_reading import FolderInReading
    from roadrisk.table_settings import PricesSection

_NEEDED = ("item", "unit", "likely", "price_year", "source")
_CONFIRMED = {
    "": False, **dict.fromkeys(("yes", "y", "true", "1", "confirmed"), True),
    **dict.fromkeys(("no", "n", "false", "0", "placeholder"), False),
}  # fmt: skip
_UNITS = {
    **dict.fromkeys(("metre", "meter", "metres", "meters", "lm"), "m"),
    **dict.fromkeys(("ea", "pc", "pcs", "piece", "number", "no"), "each"),
    **dict.fromkeys(("hour", "hours", "hr"), "h"),
    **dict.fromkeys(("percent", "pct", "% of the works", "% of works"), "%"),
    **dict.fromkeys(("lump", "lump sum", "ls", "per site"), "site"),
    **dict.fromkeys(("inspection",), "visit"),
}


def read_prices(raw: RawTable, section: PricesSection, notes: Notes) -> pd.DataFrame | None:
    """Read unit costs.

    Parameters
    ----------
    raw : RawTable
    section : PricesSection
    notes : Notes
        Takes errors: a price that can't be read would change what is proposed; doubts about
        prices without a range.

    Returns
    -------
    pandas.DataFrame or None
        Columns of `survey_schemas.PRICES`; a row without any price is one that nobody confirmed.
    """
    columns = find_columns("prices", raw.frame.columns, section.columns, notes, needed=_NEEDED)
    if notes.failed:
        return None
    item = _items(raw, columns, notes)
    about = About(raw.rows, item.tolist())
    unit = _units(raw, columns, item, about, notes)
    low, likely, high = _prices(raw, columns, about, notes)
    priced = ~np.isnan(likely)
    confirmed = _confirmed(raw, columns, priced, about, notes)
    source = columns.text(raw, "source")
    row_errors(priced & (source == "").to_numpy(), about, "the price has no source.",
               "write who offered, paid or estimated it", columns.name("source"),
               notes)  # fmt: skip
    year = _year(raw, columns, priced, about, notes)
    life = _life(raw, columns, about, notes)
    if notes.failed:
        return None
    table = pd.DataFrame(
        {
            "source_file": raw.file,
            "source_row": raw.rows,
            "item": item,
            "unit": unit,
            "low": low,
            "likely": likely,
            "high": high,
            "price_year": year,
            "source": source,
            "confirmed": confirmed,
            "paid_by": columns.text(raw, "paid_by"),
            "life_years": life,
        }
    )
    return schemas.conform(table, survey_schemas.PRICES)


def study_prices(work: FolderInReading) -> pd.DataFrame | None:
    """Read the study's price tables; what is wrong goes to the folder's remarks.

    Parameters
    ----------
    work : FolderInReading

    Returns
    -------
    pandas.DataFrame or None
        Columns of `survey_schemas.PRICES`, an item once; None if the study has none, or after
        an error.
    """
    section = work.settings.prices
    tables: list[pd.DataFrame] = []
    for name in () if section is None else section.file:
        path = work.find(name, "prices.file")
        if path is None or section is None:
            continue
        notes = Notes(name)
        raw = read_raw(path, name, section, notes)
        table = None if raw is None else read_prices(raw, section, notes)
        if table is not None:
            known = {item for t in tables for item in t["item"]}
            again = table["item"].isin(known).to_numpy()
            about = About(table["source_row"].to_numpy(), table["item"].tolist())
            row_errors(again, about, "the item has a price in another file already.",
                       "keep one row an item", "item", notes)  # fmt: skip
            tables.append(table)
        work.remarks += notes.remarks
        work.describe(path, None if raw is None else len(raw))
    return (
        schemas.conform(pd.concat(tables), survey_schemas.PRICES)
        if tables and not work.failed
        else None
    )


def price_form() -> str:
    """Return a price table to be filled in, as CSV: every pay item with its unit, no price.

    Returns
    -------
    str
    """
    head = ("item", "unit", "low", "likely", "high", "price_year", "source", "confirmed",
            "paid_by", "life_years")  # fmt: skip
    rows = [",".join((item.key, item.unit, *[""] * 5, "no", "", "")) for item in _all()]
    return "\n".join((",".join(head), *rows, ""))


def _all() -> list[PayItem]:
    return list(pay_items().values())


def _items(raw: RawTable, columns: Columns, notes: Notes) -> pd.Series[str]:
    """Keys of pay items; an item may be written as its key or as its name."""
    known = {_folded(k): k for item in _all() for k in (item.key,)}
    known |= {_folded(item.name): item.key for item in _all()}
    text = columns.text(raw, "item")
    key = text.map(lambda t: known.get(_folded(t), ""))
    about = About(raw.rows, text.tolist())
    for i in np.flatnonzero((key == "").to_numpy()).tolist():
        said = text.iloc[i]
        near = difflib.get_close_matches(_folded(said), list(known), 1, cutoff=0.5)
        mend = f"did you mean {known[near[0]]!r}?" if near else f"items: {', '.join(pay_items())}"
        notes.error(f"{said!r} is no pay item." if said else "no item is named.", mend,
                    row=int(raw.rows[i]), column=columns.name("item"))  # fmt: skip
    row_errors((key != "").to_numpy() & key.duplicated().to_numpy(), about,
               lambda i: f"{key.iloc[i]!r} has a price already.", "keep one row an item",
               columns.name("item"), notes)  # fmt: skip
    return key


def _units(
    raw: RawTable, columns: Columns, item: pd.Series[str], about: About, notes: Notes
) -> list[str]:
    text = of_a_value(columns.text(raw, "unit"))
    right = [pay_items()[k].unit if k else "" for k in item]
    for i, (said, unit) in enumerate(zip(text, right, strict=True)):
        bare = re.sub(r"\s*(/|per|a)\s*(year|yr|season)$", "", said.casefold()).strip()
        if unit and _UNITS.get(bare, bare) != unit:
            yearly = " a year" * pay_items()[item.iloc[i]].yearly
            notes.error(f"the unit of {item.iloc[i]} is {unit}{yearly}, not {said!r}.",
                        f"give the price for one {unit}{yearly}, and write {unit}",
                        row=int(about.rows[i]), column=columns.name("unit"))  # fmt: skip
    return right


def _prices(
    raw: RawTable, columns: Columns, about: About, notes: Notes
) -> tuple[Floats, Floats, Floats]:
    found = {t: _number(raw, columns, t, about, notes) for t in ("low", "likely", "high")}
    low, likely, high = found.values()
    for term, value in found.items():
        row_errors(value < 0, about, lambda i, v=value: f"a price of {v[i]:g} is below 0.",  # type: ignore[misc]
                   "write what has to be paid, 0 or more", columns.name(term), notes)  # fmt: skip
    ends = np.isnan(likely) & ~(np.isnan(low) & np.isnan(high))
    row_errors(ends, about, "there is a range without a likely price.",
               "fill in likely, or empty low and high", columns.name("likely"),
               notes)  # fmt: skip
    alone = ~np.isnan(likely) & np.isnan(low) & np.isnan(high)
    notes.doubt_rows(alone, about, "the price has no range; it is taken as certain.",
                     "fill in low and high", column=columns.name("low"))  # fmt: skip
    half = ~np.isnan(likely) & (np.isnan(low) != np.isnan(high))
    row_errors(half, about, "the range has one end only.", "fill in both low and high, or neither",
               columns.name("low"), notes)  # fmt: skip
    wrong: Bools = (low > likely) | (likely > high)
    row_errors(wrong, about,
               lambda i: f"low, likely, high are not in order: {low[i]:g}, {likely[i]:g}, "
               f"{high[i]:g}.", "write the smallest as low", columns.name("low"),
               notes)  # fmt: skip
    return np.where(alone, likely, low), likely, np.where(alone, likely, high)


def _confirmed(raw: RawTable, columns: Columns, priced: Bools, about: About, notes: Notes) -> Bools:
    text = columns.text(raw, "confirmed").str.casefold()
    said = text.map(_CONFIRMED)
    row_errors(said.isna().to_numpy(), about,
               lambda i: f"{text.iloc[i]!r} is neither yes nor no.", "write yes or no",
               columns.name("confirmed"), notes)  # fmt: skip
    yes = said.eq(True).to_numpy()
    row_errors(yes & ~priced, about, "a price is confirmed that isn't there.",
               "fill in likely, or write no", columns.name("confirmed"), notes)  # fmt: skip
    return yes & priced


def _year(raw: RawTable, columns: Columns, priced: Bools, about: About, notes: Notes) -> Floats:
    year = _number(raw, columns, "price_year", about, notes)
    name = columns.name("price_year")
    row_errors(priced & np.isnan(year), about, "the price doesn't say of which year it is.",
               "write the year, such as 2025", name, notes)  # fmt: skip
    bad = (year < 1950) | (year > 2150) | (year != np.round(year))
    row_errors(bad & ~np.isnan(year), about, lambda i: f"{year[i]:g} is no year of prices.",
               "write the year, such as 2025", name, notes)  # fmt: skip
    return year


def _life(raw: RawTable, columns: Columns, about: About, notes: Notes) -> Floats:
    life = _number(raw, columns, "life_years", about, notes)
    row_errors((life < 1) | (life > 500), about, lambda i: f"{life[i]:g} years is no life.",
               "write how many years it lasts, 1 or more, or nothing if nobody knows",
               columns.name("life_years"), notes)  # fmt: skip
    return life


def _number(raw: RawTable, columns: Columns, term: str, about: About, notes: Notes) -> Floats:
    text = columns.text(raw, term)
    value = numbers(text, decimal_comma=raw.decimal_comma)
    row_errors((text != "").to_numpy() & np.isnan(value), about,
               lambda i: f"{text.iloc[i]!r} is no number.",
               "write a plain number, without a currency sign", columns.name(term),
               notes)  # fmt: skip
    return value


def _folded(text: str) -> str:
    return re.sub(r"[\s_\-]+", " ", text.casefold()).strip()
