"""One table as a sheet of a workbook: heads, number formats, widths, print set-up."""

from __future__ import annotations

import textwrap
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
import pandas as pd
from pandas.api import types

from roadrisk.reporting.csv_text import plain_text

if TYPE_CHECKING:
    from collections.abc import Mapping

    from xlsxwriter.format import Format
    from xlsxwriter.workbook import Workbook
    from xlsxwriter.worksheet import Worksheet

    from roadrisk.base.units import Units

HEAD = {"bold": True, "text_wrap": True, "valign": "top", "bottom": 1, "bg_color": "#E8E8E8"}
_RIGHT = {"align": "right"}
_LEFT = {"align": "left", "indent": 1}
# What is outside the range that a sheet prints has a paler head.
HEAD_MORE = HEAD | {"bg_color": "#F6F6F6", "font_color": "#404040"}
_WHOLE, _MONEY = "#,##0", "#,##0"
# Three digits, as rates have them: 103, 24.0, 3.42, 0.562.
_THREE = "[>=99.95]#,##0;[>=9.995]0.0;0.00#"
_RATES = ("per_year", "km_year", "mile_year", "animal_year")
# By the end of a column's name; the first that fits counts.
_FORMATS = (
    (("latitude", "longitude"), "0.000000"), (("measure",), "0.00"),
    (("unit_cost", "unit_cost_low", "unit_cost_high"), "#,##0.00"),
    (("cost", "cost_low", "cost_high", "cost_build", "cost_build_low", "cost_build_high",
      "upkeep_per_year", "present_cost", "cost_per_death"), _MONEY),
    (("chance_among_worst", "crossings_kept"), "0%"),
    (("_share", "_share_low", "_share_high"), "0.0%"),
    (("reports_alive", "reports_dead", "reports_other", "crossing_days", "crossing_days_low",
      "crossing_days_high"), "0.0"),
    ((*_RATES, *(f"{rate}_{end}" for rate in _RATES for end in ("low", "high")), "relative_rate",
      "relative_rate_low", "relative_rate_high"), _THREE),
    (("year",), "0"), (("_m", "_ft", "_in_stretch", "aadt", "kmh", "mph"), _WHOLE),
)  # fmt: skip
# Widths in characters, a line's height in points.
_LEAST, _MOST, _LONG = 8.0, 36.0, 64.0
_LINE, _MOST_LINES = 15.0, 26
_PAPER = {"us": 1, "metric": 9}  # Letter, A4


@dataclass(frozen=True)
class Sheet:
    """A table to write.

    Attributes
    ----------
    name : str
        On the tab.
    table : pandas.DataFrame
        In the order of the sheet.
    heads : mapping of str to str
        By column.
    printed : int
        So many of the first columns are printed; the others are there on the screen.
    held : int
        So many of the first columns stay when the sheet is moved sideways.
    empty : str
        The words that stand in place of rows where there are none.
    """

    name: str
    table: pd.DataFrame
    heads: Mapping[str, str]
    printed: int
    held: int = 0
    empty: str = ""


def write_sheet(
    book: Workbook, sheet: Sheet, *, units: Units, header: str, footer: str
) -> Worksheet:
    """Write a table as a sheet: held and filtered head, widths, formats, print set-up.

    Parameters
    ----------
    book : xlsxwriter.Workbook
    sheet : Sheet
    units : {"metric", "us"}
        Prints on A4 or on Letter, landscape, one page wide, the head on each page.
    header, footer : str
        Any text, on top and at the bottom of printed pages; page numbers stand beside the footer.

    Returns
    -------
    xlsxwriter.worksheet.Worksheet
    """
    out = book.add_worksheet(sheet.name)
    formats: dict[str, Format] = {}
    heads = {
        (k, numeric): book.add_format(style | (_RIGHT if numeric else _LEFT))
        for k, style in enumerate((HEAD, HEAD_MORE))
        for numeric in (False, True)
    }
    table = sheet.table
    lines = np.ones(len(table) + 1, dtype=np.int64)
    for k, name in enumerate(map(str, table)):
        numeric = types.is_numeric_dtype(table[name].dtype)
        look = number_format(name, table[name])
        more = k >= sheet.printed
        width = _width(sheet.heads[name], table[name], look, more=more)
        out.set_column(k, k, width)
        style = _style(look, numeric=numeric, more=more)
        kind = repr(style)
        formats[kind] = formats.get(kind) or book.add_format(style)
        out.write_string(0, k, sheet.heads[name], heads[more, numeric])
        lines[0] = max(lines[0], lines_of(sheet.heads[name], width))
        for row, value in enumerate(table[name].tolist(), start=1):
            _write(out, row, k, value, formats[kind])
            if not (numeric or more):
                lines[row] = max(lines[row], lines_of(value, width))
    for row, many in enumerate(lines.tolist()):
        out.set_row(row, _LINE * min(many, _MOST_LINES))
    rows, columns = max(len(table), 1), len(table.columns)
    if len(table):
        out.autofilter(0, 0, rows, columns - 1)
    elif sheet.empty:
        out.write_string(1, 0, plain_text(sheet.empty))
    out.freeze_panes(1, sheet.held)
    out.repeat_rows(0)
    out.print_area(0, 0, rows, min(sheet.printed, columns) - 1)
    set_print(out, units=units, header=header, footer=footer)
    return out


def set_print(out: Worksheet, *, units: Units, header: str, footer: str) -> None:
    """Set paper, margins, header and footer with page numbers."""
    out.set_landscape()
    out.set_paper(_PAPER[units])
    out.fit_to_pages(1, 0)
    out.set_margins(left=0.4, right=0.4, top=0.7, bottom=0.7)
    out.set_header(f"&L&9{_escaped(header)}")
    out.set_footer(f"&L&8{_escaped(footer)}&R&8&A, page &P of &N")


def number_format(name: str, values: pd.Series[Any]) -> str:
    """Return how numbers of a column are shown; "" for texts and where digits are as told.

    Parameters
    ----------
    name : str
        Of the column, as in the CSV file.
    values : pandas.Series

    Returns
    -------
    str
        In the words of spreadsheets.
    """
    if not types.is_numeric_dtype(values.dtype):
        return ""
    if types.is_integer_dtype(values.dtype) and not name.endswith("year"):
        return _WHOLE
    for ends, look in _FORMATS:
        if name.endswith(ends):
            return look
    return ""


def lines_of(value: object, width: float) -> int:
    """Return on how many lines a text stands in a column; programs that only show don't ask."""
    return max(1, len(textwrap.wrap(plain_text(value), max(4, int(0.92 * width) - 1))))


def _style(look: str, *, numeric: bool, more: bool) -> dict[str, Any]:
    style: dict[str, Any] = {"valign": "top"}
    if look:
        style["num_format"] = look
    if numeric:
        return style
    # Long texts beyond what is printed are cut off, or rows would be as high as a page.
    return style | _LEFT | {"text_wrap": not more}


def _write(out: Worksheet, row: int, column: int, value: object, style: Format) -> None:
    if isinstance(value, (int, float, np.number)) and not isinstance(value, bool):
        if np.isfinite(value):
            out.write_number(row, column, float(value), style)
        elif not np.isnan(value):
            out.write_string(row, column, "no upper end" if value > 0 else "no lower end", style)
        return
    text = plain_text(value)
    if text:
        out.write_string(row, column, text, style)


def _width(head: str, values: pd.Series[Any], look: str, *, more: bool) -> float:
    """Return a column's width in characters: as wide as its longest word or number needs."""
    word = 1.1 * max(len(part) for part in head.split()) + 1.5
    if more:
        word = max(word, len(head) / 3)
    if types.is_numeric_dtype(values.dtype):
        decimals = len(look.rpartition(".")[2]) if "." in look else 0
        number = pd.to_numeric(values).astype("float64").abs().replace(np.inf, np.nan).max()
        whole = len(f"{number:,.0f}") if number == number else 1  # noqa: PLR0124
        return max(_LEAST, word, whole + decimals + 2.5)
    longest = max((len(plain_text(value)) for value in values), default=0)
    most = _MOST if more or longest <= 4 * _MOST else _LONG
    return max(_LEAST, word, min(1.1 * longest + 3, most))


def _escaped(text: str) -> str:
    """Return text for a header or footer, where & begins a code and 255 characters are all."""
    return plain_text(text)[:90].replace("&", "&&")
