"""The ranked list, measures and signs as a workbook for a planner."""

from __future__ import annotations

import io
import re
from datetime import UTC, datetime
from typing import TYPE_CHECKING

import pandas as pd
import xlsxwriter

from roadrisk.records.pay_items import pay_items
from roadrisk.reporting.column_words import columns_table, metric_name
from roadrisk.reporting.csv_text import plain_text
from roadrisk.reporting.editions.edition_words import banner_words
from roadrisk.reporting.exchange.about import about_rows
from roadrisk.reporting.exchange.cells import Sheet, lines_of, set_print, write_sheet
from roadrisk.reporting.exchange.sheet_heads import sheet_heads
from roadrisk.reporting.measure_tables import measure_tables
from roadrisk.reporting.ranked_list import ranked_table
from roadrisk.reporting.wording import INVENTED_BANNER, ranked_by

if TYPE_CHECKING:
    from collections.abc import Mapping

    from xlsxwriter.workbook import Workbook

    from roadrisk.reporting.editions.edition import Edition

# No clock time goes into a file; this is the day on which zip archives begin.
_CREATED = datetime(1980, 1, 1, tzinfo=UTC).replace(tzinfo=None)
_RANKED, _SITES, _BILL, _SIGNS = (
    "ranked_stretches.csv", "measures.csv", "measure_quantities.csv", "signs.csv",
)  # fmt: skip
_DEATHS = ("deaths_per_km_year", "deaths_per_km_year_low", "deaths_per_km_year_high")
_RELATIVE = ("relative_rate", "relative_rate_low", "relative_rate_high")
_EVIDENCE = ("evidence_per_km_year", "evidence_per_km_year_low", "evidence_per_km_year_high")
_BY = {"deaths": _DEATHS, "relative": _RELATIVE, "bound": _RELATIVE, "evidence": _EVIDENCE}
# Those beside them on the screen, not printed.
_NEXT = ("begin_latitude", "begin_longitude", "end_latitude", "end_longitude", "side")
# What an engineer needs first, by metric names; printed. All other columns follow.
_FIRST = {
    _SITES: (
        "site", "where", "measure_name", "length_m", "fence_m", "passages_new",
        "passages_existing", "openings", "averted_per_year", "averted_per_year_low",
        "averted_per_year_high", "averted_share", "averted_share_low", "averted_share_high",
        "cost_build", "cost_build_low", "cost_build_high", "upkeep_per_year", "present_cost",
        "owner", "constraints",
    ),
    _BILL: ("site", "item", "quantity", "unit", "unit_cost_low", "unit_cost", "unit_cost_high",
            "cost_low", "cost", "cost_high", "price_year", "source", "paid_by"),
    _SIGNS: ("sign", "site", "where", "side", "towards", "distance_m", "speed_limit_kmh", "months",
             "latitude", "longitude", "combined_with", "note"),
}  # fmt: skip
_TABS = {_RANKED: "Ranked list", _SITES: "Measures", _BILL: "Quantities", _SIGNS: "Signs"}
_HELD = {_RANKED: 2, _SITES: 2, _BILL: 2, _SIGNS: 1}
# The name of a column in a sentence; names of one word are words as well.
_NAME = re.compile(r"\b[a-z0-9]+(?:_[a-z0-9]+)+\b")
_WIDE_ABOUT = 110.0


def ranked_workbook(edition: Edition) -> bytes:
    """Return the ranked list as an .xlsx workbook, with measures, quantities and signs.

    Sheets: "Ranked list", "Measures" (chosen sites), "Quantities" (the bill of quantities),
    "Signs", "Columns" (what each column of these is) and "About" (the finding, the edition,
    cautions, where the file comes from). What an engineer needs comes first and is printed; all
    other columns of the CSV tables follow. Numbers are those of the CSV tables; every text stays
    a text, also where it looks like a formula or an address.

    Parameters
    ----------
    edition : Edition
        Confidential or agency.

    Returns
    -------
    bytes
        The same edition gives the same bytes.
    """
    study = edition.study
    units = study.settings.study.units
    sheets = [_sheet(edition, file, table) for file, table in _tables(edition).items()]
    header = f"{study.settings.study.name}: ranked list"
    if study.settings.study.invented:
        header = f"{INVENTED_BANNER}. {header}"
    footer = banner_words(edition.kind).partition(".")[0].partition(":")[0]
    out = io.BytesIO()
    options = {
        "in_memory": True, "strings_to_formulas": False, "strings_to_urls": False,
        "strings_to_numbers": False,
    }  # fmt: skip
    with xlsxwriter.Workbook(out, options) as book:
        book.set_properties({"title": plain_text(header)[:200], "created": _CREATED})
        for sheet in [*sheets, _columns(edition, sheets)]:
            write_sheet(book, sheet, units=units, header=header, footer=footer)
        _write_about(book, edition, header, footer)
    return out.getvalue()


def _tables(edition: Edition) -> dict[str, pd.DataFrame]:
    study, findings = edition.study, edition.findings
    measures = measure_tables(study, findings.measures)
    return {
        _RANKED: ranked_table(study, findings),
        _SITES: measures[_SITES],
        _BILL: measures[_BILL].assign(item=[_item(key) for key in measures[_BILL]["item"]]),
        _SIGNS: measures[_SIGNS],
    }


def _item(key: str) -> str:
    """Return a pay item in words, with its key in the price list."""
    known = pay_items().get(key)
    return f"{known.name} ({key})" if known else key


def _sheet(edition: Edition, file: str, table: pd.DataFrame) -> Sheet:
    findings = edition.findings
    first = _FIRST.get(file) or (
        "rank", "where", "length_m", *_BY[ranked_by(findings.deaths)], "rank_low", "rank_high",
        "rests_on", "measure", "site", "owner", "aadt", "speed_limit_kmh", "what_to_look_at",
    )  # fmt: skip
    by_metric = {metric_name(str(name)): str(name) for name in table}
    front = [by_metric[name] for name in first if name in by_metric]
    next_ = [name for name in _NEXT if name in table and name not in front]
    order = [*front, *next_, *(n for n in map(str, table) if n not in {*front, *next_})]
    heads = sheet_heads(file, order, money=plain_text(findings.measures.currency))
    return Sheet(
        _TABS[file], table[order], heads, printed=len(front), held=_HELD[file],
        empty=_no_rows(edition, file),
    )  # fmt: skip


def _no_rows(edition: Edition, file: str) -> str:
    if file == _RANKED:
        return "No place is ranked: " + edition.findings.deaths.words
    return edition.findings.measures.words or "No measure is proposed."


def _columns(edition: Edition, sheets: list[Sheet]) -> Sheet:
    """Return the sheet that says what the columns of the others are."""
    level = edition.study.settings.hotspots.interval
    files = {tab: file for file, tab in _TABS.items()}
    rows = [
        (sheet.name, sheet.heads[row["column"]],
         *(_by_head(row[name], sheet.heads) for name in ("unit", "what_it_is", "interval")),
         files[sheet.name], row["column"])
        for sheet in sheets
        for row in _described(files[sheet.name], sheet.table, level)
    ]  # fmt: skip
    heads = {
        "sheet": "Sheet", "head": "Column", "unit": "Unit", "meaning": "What it is",
        "interval": "Interval", "file": "The same in the file", "name": "under the name",
    }  # fmt: skip
    table = pd.DataFrame(rows, columns=list(heads))
    return Sheet("Columns", table, heads, printed=5, held=2)


def _described(file: str, table: pd.DataFrame, level: float) -> list[dict[str, str]]:
    told = columns_table({file: table}, level)
    return [
        {str(name): str(value) for name, value in row.items()}
        for row in told[told["file"] == file].to_dict("records")
    ]


def _by_head(words: str, heads: Mapping[str, str]) -> str:
    """Return a description that names other columns by their heads on the sheet."""
    names: dict[str, str] = {}
    for name, head in heads.items():
        metric = metric_name(name)
        names |= dict.fromkeys((name, metric, metric.removesuffix("_m")), head)
    return _NAME.sub(lambda found: f'"{names[found[0]]}"' if found[0] in names else found[0], words)


def _write_about(book: Workbook, edition: Edition, header: str, footer: str) -> None:
    out = book.add_worksheet("About")
    label = book.add_format({"bold": True, "valign": "top"})
    said = book.add_format({"text_wrap": True, "valign": "top"})
    out.set_column(0, 0, 14)
    out.set_column(1, 1, _WIDE_ABOUT)
    before = ""
    for row, (name, text) in enumerate(about_rows(edition)):
        if name != before:
            out.write_string(row, 0, name, label)
        out.write_string(row, 1, text, said)
        out.set_row(row, 15 * lines_of(text, _WIDE_ABOUT))
        before = name
    set_print(out, units=edition.study.settings.study.units, header=header, footer=footer)
