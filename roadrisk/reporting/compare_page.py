"""Did the works help: tables and a page to print."""

from __future__ import annotations

import datetime as dt
from typing import TYPE_CHECKING

import numpy as np

from roadrisk.base.units import M_PER_MILE
from roadrisk.base.whole import write_whole
from roadrisk.reporting.column_words import COLUMNS_FILE, columns_table
from roadrisk.reporting.csv_text import csv_bytes
from roadrisk.reporting.printed_page import escaped, figure, paragraph, printed_page, table
from roadrisk.reporting.range_chart import Range, range_chart
from roadrisk.reporting.wording import (
    CONFIDENTIAL,
    INVENTED_BANNER,
    NO_PROOF,
    SAFETY,
    number,
    study_line,
)

if TYPE_CHECKING:
    from pathlib import Path

    import pandas as pd

    from roadrisk.mitigation.works_compared import WorksCompared
    from roadrisk.study import Study

COMPARE, YEARS, PLAN, EFFORT = (
    "compare.csv", "compare_years.csv", "compare_plan.csv", "compare_effort.csv",
)  # fmt: skip
PAGE = "compare.html"
FILES = (COMPARE, YEARS, PLAN, EFFORT)
_KM = {"km_searched": "miles_searched", "km_each_search": "miles_each_search"}
_EPOCH = dt.datetime(1970, 1, 1, tzinfo=dt.UTC)


def write_comparison(study: Study, found: WorksCompared, out: Path) -> tuple[Path, ...]:
    """Write the tables and the page, all or none.

    Parameters
    ----------
    study : Study
    found : WorksCompared
    out : pathlib.Path
        Folder, made if missing.

    Returns
    -------
    tuple of pathlib.Path
        The page first.

    Raises
    ------
    OutputError
        Nothing was changed: a file is open in another program, the disk is full, or the like.
    """
    tables = comparison_tables(study, found)
    section = study.settings.compare
    level = section.level_percent / 100 if section else 0.95
    tables[COLUMNS_FILE] = columns_table(tables, level)
    files = {PAGE: comparison_html(study, found)}
    files |= {name: csv_bytes(content) for name, content in tables.items()}
    return write_whole(files, out)


def comparison_tables(study: Study, found: WorksCompared) -> dict[str, pd.DataFrame]:
    """Return the tables as they are written, by file.

    Parameters
    ----------
    study : Study
    found : WorksCompared

    Returns
    -------
    dict of str to pandas.DataFrame
    """
    years = found.years.copy()
    first, last = (
        [_date(study, day, back) for day in years[c]]
        for c, back in (("from_day", 0), ("to_day", 1))
    )
    years = years.drop(columns=["from_day", "to_day"])
    years.insert(4, "first_day", first)
    years.insert(5, "last_day", last)
    years["year"] = years["year"].astype(object).where(years["year"] != 0, "")
    plan = found.plan.assign(enough=found.plan["enough"].map({True: "yes", False: "no"}))
    out = {COMPARE: found.table, YEARS: years, PLAN: plan, EFFORT: found.effort}
    return {name: _rounded(_in_units(study, content)) for name, content in out.items()}


def comparison_html(study: Study, found: WorksCompared) -> bytes:
    """Return the page.

    Parameters
    ----------
    study : Study
    found : WorksCompared

    Returns
    -------
    bytes
        UTF-8; no script and no request. All text from data is escaped.
    """
    settings = study.settings
    species, period = study_line(settings)
    banners = [INVENTED_BANNER] if settings.study.invented else []
    head = [
        "<header>",
        *(paragraph(banner, "banner") for banner in banners),
        f"<h1>Before and after works: {escaped(settings.study.name)}</h1>",
        paragraph(f"{species}; {period}", "small"),
        paragraph(found.words, "verdict"),
        "</header>",
    ]
    sections = [
        _compared(found), _counts(study, found), _planned(found), _worth(study, found),
        ["<h2>What stands behind this, and what it can't say</h2>",
         *(paragraph(note, "small") for note in found.notes), paragraph(NO_PROOF, "small")],
    ]  # fmt: skip
    inside = ["\n".join(["<section>", *lines, "</section>"]) for lines in sections if lines]
    foot = ["<footer>", "<h2>Care</h2>",
            *(paragraph(s, "small") for s in (*SAFETY, CONFIDENTIAL)), "</footer>"]  # fmt: skip
    body = "\n".join([*head, "<main>", *inside, "</main>", *foot])
    return printed_page(f"Before and after works: {settings.study.name}", body,
                        ["stretches.css", "deaths.css"])  # fmt: skip


def _compared(found: WorksCompared) -> list[str]:
    out = ["<h2>What changed</h2>"]
    for what in dict.fromkeys(found.table["what"]):
        rows = found.table[found.table["what"] == what]
        charts = [
            Range(f"{row.site}, {row.where}", row.ratio, row.ratio_low, row.ratio_high,
                  str(row.verdict))
            for row in rows.itertuples()
        ]  # fmt: skip
        title = f"{what.capitalize()} after works, times those expected"
        drawn = range_chart(title, charts, zone=(1.0, 1.0), mark="no change")
        out.append(figure([drawn], look="one"))
        out += [paragraph(f"{row.site}, {row.where}. {row.words}") for row in rows.itertuples()]
    return out if len(found.table) else []


def _counts(study: Study, found: WorksCompared) -> list[str]:
    years = comparison_tables(study, found)[YEARS]
    if years.empty:
        return []
    walked = next(c for c in (*_KM, *_KM.values()) if c in years)
    rows = [
        (str(r["site"]), str(r["what"]), _unbroken(r["first_day"]), _unbroken(r["last_day"]),
         str(r["period"]) or "between", number(float(r["counted"])) or "0",
         number(float(r[walked])), number(float(r["visits"])) or "0", str(r["left_out"]))
        for r in years.to_dict("records")
    ]  # fmt: skip
    unit = walked.partition("_")[0]
    heads = ("site", "what", "from", "to", "period", "counted", f"{unit} searched", "visits",
             "left out because")  # fmt: skip
    return ["<h2>What was counted when</h2>",
            table("Counts by site and year", heads, rows, texts=(1, 2, 3, 4, 8))]  # fmt: skip


def _unbroken(day: object) -> str:
    """Return a date that no line break cuts."""
    return str(day).replace("-", "\u2011")


def _planned(found: WorksCompared) -> list[str]:
    if found.plan.empty:
        return []
    rows = [
        (str(r["years_after"]), str(r["control"]), number(r["years_vary"]),
         str(r["years_before"]), number(r["counted_a_year"]),
         f"{100 * float(r['chance_to_see_halving']):.0f} %")
        for r in found.plan.to_dict("records")
    ]  # fmt: skip
    heads = ("years after", "control", "years vary (times chance)", "years before",
             "counted a year before", "chance to see a halving")  # fmt: skip
    caption = "Chance that a halving of deaths would show"
    return ["<h2>How long to go on counting</h2>", table(caption, heads, rows, texts=(1,))]


def _worth(study: Study, found: WorksCompared) -> list[str]:
    content = _in_units(study, found.effort)
    if content.empty:
        return []
    walked = next(c for c in content if c in (*_KM, *_KM.values()))
    rows = [
        (number(r["days_between_searches"]), number(r["trials"]), number(r[walked], 2) or "0",
         number(r["chance_counted"], 2), number(r["expected_carcasses"], 2) or "0",
         number(r["times_wide"], 2))
        for r in content.to_dict("records")
    ]  # fmt: skip
    heads = ("days between searches", "trials", f"{walked.partition('_')[0]} each search",
             "chance that a death is counted", "carcasses to be expected",
             "upper end over lower end")  # fmt: skip
    return ["<h2>What searches and trials are worth</h2>",
            table("For the same hours in the field", heads, rows)]  # fmt: skip


def _date(study: Study, day: float, back: int) -> str:
    """Return the local date of a midnight, or the day before it."""
    when = _EPOCH + dt.timedelta(days=float(day) + 0.01)
    local = when.astimezone(study.settings.study.zone).date()
    return (local - dt.timedelta(days=back)).isoformat()


def _rounded(content: pd.DataFrame) -> pd.DataFrame:
    """Return numbers with six digits."""
    out = content.copy()
    for column in out.select_dtypes("float"):
        out[column] = [float(f"{v:.6g}") for v in out[column]]
    return out


def _in_units(study: Study, content: pd.DataFrame) -> pd.DataFrame:
    if study.settings.study.units != "us":
        return content
    out = content.copy()
    for column in set(_KM) & set(content):
        out[column] = content[column].astype(np.float64) * 1000 / M_PER_MILE
    return out.rename(columns=_KM)
