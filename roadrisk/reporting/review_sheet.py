"""The workbook in which a volunteer elsewhere decides on reports."""

from __future__ import annotations

from datetime import UTC, datetime
from io import BytesIO
from typing import TYPE_CHECKING, Any

from roadrisk.decisions import VERDICTS
from roadrisk.errors import RoadriskError
from roadrisk.records.review_columns import (
    ABOUT,
    ABOUT_SHEET,
    FILLED_IN,
    FORMAT,
    HIDDEN,
    HOW_TO_SHEET,
    NEW_LATITUDE,
    NEW_LONGITUDE,
    NOT_SAME_AS,
    REPORT,
    REPORTS_SHEET,
    SAME_AS,
    VERDICT,
    VERSION,
    shown,
)
from roadrisk.reporting.review_rows import WIDTHS, review_rows
from roadrisk.reporting.wording import CONFIDENTIAL

if TYPE_CHECKING:
    from roadrisk.reporting.review_rows import Row
    from roadrisk.settings import StudySection
    from roadrisk.sightings.reviewed import Reviewed

HEADER_ROW = 2  # the third row; above it what the file is, and which cells are whose
_LINE_POINTS = 13.0
_TALLEST_POINTS = 170.0
_PAPER_A4 = 9
_PRINT_PERCENT = 55
# A workbook says when it was made; a fixed day keeps equal workbooks equal.
_MADE = datetime(2000, 1, 1, tzinfo=UTC).replace(tzinfo=None)

HOW_TO = (
    ("What this is", (
        "Reports from the public about {animal}. People saw them beside or on a road, and each "
        "needs somebody who reads it with care before it counts.",
        "This copy was made for {reviewer}. Decide on as many as you like; a row that is left "
        "empty is not decided.",
    )),
    ("It is confidential", (
        "The file shows where protected animals live. Don't pass it on, don't put it on the "
        "internet, and delete it when you have sent it back.",
        "Names of senders are left out, and phone numbers and addresses in remarks are struck "
        "out where they were found. If you come across one, tell nobody and don't use it.",
    )),
    ("What to do", (
        "Go through the sheet “Reports” from the top: what matters most for the result comes "
        "first. Only the yellow cells can be written in.",
        "Your verdict: choose from the list.",
        "  accept – as far as one can tell it happened as written (after your correction of the "
        "place, if you give one).",
        "  ask back – the sender could settle it; write the question under Reason.",
        "  not sure – you looked, and can't tell.",
        "  reject – it can't be right, or is no report of this animal; say why under Reason.",
        "Reason: a few words, for whoever asks in some years.",
        "New latitude, New longitude: only if the place is wrong and you know the right one, in "
        "degrees with decimals (as 52.19960 and 19.41020). A proposal, where there is one, stands "
        "beside; copy it if you agree. A report without a usable place counts only with a new one.",
        "Same animal as: if two reports are of one animal, write the other's name (column "
        "Report) or its number as #7. Several: one a line, or with ; between them.",
        "Not the same animal as: likewise, if the sheet thinks they are one and you don't.",
        "Grey rows are there to compare with; they are decided already or are exact repeats.",
        "If you don't know, “not sure” is a good answer. Decide by what stands here, not by "
        "what you would like the result to be.",
    )),
    ("Take care", (
        "Nobody needs to go anywhere for this. Don't visit the places, and never stop or search "
        "on a road where it is unsafe: your own safety comes first.",
        "Handling protected animals and working beside a road need permits and trained people; "
        "local law decides.",
        "Don't follow web addresses or open files that stand in a report: strangers wrote them.",
    )),
    ("Sending it back", (
        "Save it as .xlsx under the same name and send it to the person you had it from. Filter "
        "as you like, but delete no row and no column: hidden ones tell which report is which.",
    )),
)  # fmt: skip


def review_sheet(
    reviewed: Reviewed,
    study: StudySection,
    *,
    reviewer: str,
    base: int,
    share: tuple[int, int] = (1, 1),
) -> bytes:
    """Return the workbook for one reviewer.

    The sheet "Reports" has the queue in its order, each with the other reports of its group
    behind it for comparison; "How to" says what to do in plain words. Neither holds tag matches,
    hot stretches, other reports or senders' names. Every text is written as text.

    Parameters
    ----------
    reviewed : Reviewed
    study : StudySection
    reviewer : str
        For whom it is; the decisions will be under this name.
    base : int
        Number of the last entry in the history of decisions.
    share : (int, int)
        (2, 3): the second of three parts of the queue; reports of a group stay together.

    Returns
    -------
    bytes
        An .xlsx file; the same input gives the same bytes.

    Raises
    ------
    RoadriskError
        If nothing is left to decide, or the reviewer has no name.
    """
    import xlsxwriter

    name = shown(reviewer, 200)
    if not name:
        raise RoadriskError("give the reviewer's name: --reviewer NAME")
    rows = review_rows(reviewed, study, share)
    if not rows:
        raise RoadriskError("no report waits for a decision: no sheet was written")
    stream = BytesIO()
    options = {"in_memory": True, "strings_to_formulas": False, "strings_to_urls": False,
               "strings_to_numbers": False}  # fmt: skip
    with xlsxwriter.Workbook(stream, options) as book:
        title = f"{shown(study.name, 100)}: reports to review"
        book.set_properties({"title": title, "comments": CONFIDENTIAL, "created": _MADE})
        page = book.add_worksheet(REPORTS_SHEET)
        _write_reports(book, page, rows, title)
        _write_how_to(book, study, name)
        _write_about(book, study, name, base)
        page.activate()
    return stream.getvalue()


def _write_reports(book: Any, page: Any, rows: list[Row], title: str) -> None:
    headings = list(WIDTHS)
    formats = _formats(book)
    page.write_string(0, 0, f"{title}. {CONFIDENTIAL}", formats["title"])
    page.write_string(1, 0, "What was reported", formats["part"])
    page.write_string(1, headings.index(VERDICT), "What you decide", formats["part"])
    for column, (heading, width) in enumerate(WIDTHS.items()):
        filled_in = heading in FILLED_IN
        page.set_column(column, column, width, None, {"hidden": heading in HIDDEN})
        page.write_string(
            HEADER_ROW, column, heading, formats["head of yours" if filled_in else "head"]
        )
    for number, row in enumerate(rows, HEADER_ROW + 1):
        page.set_row(number, _height(row))
        for column, heading in enumerate(headings):
            _write_cell(page, number, column, row, heading, formats)
    last = HEADER_ROW + len(rows)
    _validate(page, headings, last)
    page.freeze_panes(HEADER_ROW + 1, headings.index(REPORT) + 1)
    page.autofilter(HEADER_ROW, 0, last, len(headings) - len(HIDDEN) - 1)
    page.protect("", {"format_columns": True, "format_rows": True, "autofilter": True,
                      "sort": True})  # fmt: skip
    _for_print(page, title, headings)


def _formats(book: Any) -> dict[str, Any]:
    cell = {"text_wrap": True, "valign": "top", "border": 1, "border_color": "#bbbbbb"}
    # As text even after somebody edits the cell, and with the mark that says so.
    text = {**cell, "num_format": "@", "quote_prefix": True}
    yours = {**cell, "locked": False, "bg_color": "#fff8d6"}
    grey = {"font_color": "#666666", "bg_color": "#eeeeee"}
    head = {**cell, "bold": True, "valign": "bottom"}
    return {
        "title": book.add_format({"bold": True, "font_size": 12}),
        "part": book.add_format({"italic": True}),
        "head": book.add_format({**head, "bg_color": "#e3e7ea"}),
        "head of yours": book.add_format({**head, "bg_color": "#f2dc8a"}),
        "text": book.add_format(text),
        "number": book.add_format({**cell, "num_format": "0"}),
        "degrees": book.add_format({**cell, "num_format": "0.00000"}),
        "grey text": book.add_format({**text, **grey}),
        "grey number": book.add_format({**cell, **grey, "num_format": "0"}),
        "grey degrees": book.add_format({**cell, **grey, "num_format": "0.00000"}),
        "your text": book.add_format({**yours, "num_format": "@"}),
        "your degrees": book.add_format({**yours, "num_format": "0.00000####"}),
    }


def _write_cell(
    page: Any, number: int, column: int, row: Row, heading: str, formats: dict[str, Any]
) -> None:
    grey = "" if row.asked else "grey "
    if heading in FILLED_IN and row.asked:
        degrees = heading in (NEW_LATITUDE, NEW_LONGITUDE)
        page.write_blank(number, column, None, formats["your degrees" if degrees else "your text"])
        return
    value = row.cells.get(heading, "")
    if isinstance(value, float):
        page.write_number(number, column, value, formats[f"{grey}degrees"])
    elif isinstance(value, int):
        page.write_number(number, column, value, formats[f"{grey}number"])
    elif value:
        page.write_string(number, column, value, formats[f"{grey}text"])
    else:
        page.write_blank(number, column, None, formats[f"{grey}text"])


def _height(row: Row) -> float:
    """Return a height that shows most texts whole, since spreadsheets don't always fit it."""
    lines = 1
    for heading, value in row.cells.items():
        if isinstance(value, str) and heading not in HIDDEN:
            width = WIDTHS[heading]
            lines = max(lines, sum(1 + int(len(part) / width) for part in value.split("\n")))
    return min(_LINE_POINTS * lines + 4, _TALLEST_POINTS)


def _validate(page: Any, headings: list[str], last: int) -> None:
    from xlsxwriter.utility import xl_range_abs

    first = HEADER_ROW + 1
    column = headings.index(VERDICT)
    page.data_validation(
        first, column, last, column,
        {"validate": "list", "source": list(VERDICTS), "error_title": "Your verdict",
         "error_message": f"Choose one of: {', '.join(VERDICTS)}; or leave it empty."},
    )  # fmt: skip
    for heading, most in ((NEW_LATITUDE, 90), (NEW_LONGITUDE, 180)):
        column = headings.index(heading)
        page.data_validation(
            first, column, last, column,
            {"validate": "decimal", "criteria": "between", "minimum": -most, "maximum": most,
             "error_title": heading,
             "error_message": f"Degrees with decimals between -{most} and {most}, both columns or "
             "none."},
        )  # fmt: skip
    names = headings.index(REPORT)
    there = xl_range_abs(first, names, last, names)
    for heading in (SAME_AS, NOT_SAME_AS):
        column = headings.index(heading)
        # Several names in one cell are none of the list, so this only offers and tells.
        page.data_validation(
            first, column, last, column,
            {"validate": "list", "source": f"={there}", "error_type": "information",
             "error_title": "Which report",
             "error_message": "Names as in column Report, or numbers as #7, with ; between them."},
        )  # fmt: skip


def _for_print(page: Any, title: str, headings: list[str]) -> None:
    """Print what was reported on one page's width, and what is to be decided on the next."""
    page.set_landscape()
    page.set_paper(_PAPER_A4)
    page.set_print_scale(_PRINT_PERCENT)
    page.set_v_pagebreaks([headings.index(VERDICT)])
    page.repeat_rows(HEADER_ROW)
    page.repeat_columns(0, headings.index(REPORT))
    page.set_margins(left=0.4, right=0.4, top=0.5, bottom=0.6)
    safe = title.replace("&", "&&")
    page.set_footer(f"&L{safe}&CConfidential: places of protected animals&R&P / &N")


def _write_how_to(book: Any, study: StudySection, reviewer: str) -> None:
    page = book.add_worksheet(HOW_TO_SHEET)
    page.set_column(0, 0, 100)
    title = book.add_format({"bold": True, "font_size": 12})
    text = book.add_format({"text_wrap": True, "valign": "top"})
    row = 0
    values = {"animal": shown(study.common_name or study.species, 100), "reviewer": reviewer}
    for heading, sentences in HOW_TO:
        page.write_string(row, 0, heading, title)
        for sentence in sentences:
            row += 1
            said = sentence.format(**values)
            page.set_row(row, _LINE_POINTS * (1 + len(said) // 105) + 3)
            page.write_string(row, 0, said, text)
        row += 2
    page.protect("", {"format_columns": True, "format_rows": True})
    page.set_paper(_PAPER_A4)
    page.fit_to_pages(1, 0)


def _write_about(book: Any, study: StudySection, reviewer: str, base: int) -> None:
    page = book.add_worksheet(ABOUT_SHEET)
    values = (FORMAT, str(VERSION), study.short_name, reviewer, str(base))
    for row, (name, value) in enumerate(zip(ABOUT, values, strict=True)):
        page.write_string(row, 0, name)
        page.write_string(row, 1, value)
    page.protect("")
    page.very_hidden()
