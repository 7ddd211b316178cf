"""The page of deaths: how sure the number is, and what it rests on."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pandas as pd

from roadrisk.reporting.count_charts import MONTHS, bars
from roadrisk.reporting.csv_text import plain_text
from roadrisk.reporting.death_words import YEAR
from roadrisk.reporting.deaths_cells import chance_cell, interval_cell, length_cell, rows
from roadrisk.reporting.printed_page import figure, paragraph, table
from roadrisk.reporting.sheets import road
from roadrisk.reporting.wording import count, length_unit, number

if TYPE_CHECKING:
    from roadrisk.findings import DeathTables
    from roadrisk.reporting.place_sheets import Scale

_WIDE = 360.0
HOW_MANY = "how many die, and where"
WHERE_ONLY = "where more die, not how many"


def how_sure(deaths: DeathTables, scale: Scale) -> list[str]:
    """Return sources, readings of traffic, assumptions, carcasses alone and survey effort."""
    return [
        "<h2>How sure is that</h2>",
        *_sources(deaths, scale),
        *_readings(deaths),
        *_assumptions(deaths),
        *_carcasses(deaths, scale),
        *_effort(deaths, scale),
    ]


def _sources(deaths: DeathTables, scale: Scale) -> list[str]:
    out = ["<h3>Sources</h3>"]
    if deaths.sources.empty:
        return [*out, paragraph("No source counts deaths.")]
    cells = [
        (
            plain_text(row["source"]),
            HOW_MANY if row["how_many"] else WHERE_ONLY,
            number(float(row["counted"])),
            length_cell(row["watched_km"], scale.units),
        )
        for row in rows(deaths.sources)
    ]
    heads = ("Source", "Says", "Counted", f"On road, {length_unit(scale.units)}")
    said = (
        "A source says how many only if its chance of counting a death is known: carcass surveys "
        "from trials, crossings of tagged animals from the chance that one kills. Public reports "
        "follow people, so more reports raise no total: they only say where more die."
    )
    return [*out, table("What each source says", heads, cells, texts=[1]), paragraph(said, "small")]


def _readings(deaths: DeathTables) -> list[str]:
    out = ["<h3>Does traffic explain deaths, or reports?</h3>"]
    if deaths.readings.empty:
        return [*out, paragraph("Traffic was not used to explain where more die, so there are no "
                                "two readings to compare: the notes say why.")]  # fmt: skip
    cells = [
        (
            plain_text(row["reading"]),
            interval_cell(row, YEAR),
            f"{row['worst_shared']:.0f} of {row['worst']:.0f}",
        )
        for row in rows(deaths.readings)
    ]
    heads = ("Reading", "Deaths a year (90 % interval)", "Worst places in both")
    said = "Busy roads may kill more or only have more people to report. Both readings are fitted."
    return [*out, paragraph(said), table("The two readings of traffic", heads, cells)]


def _assumptions(deaths: DeathTables) -> list[str]:
    out = ["<h3>What the chance that a crossing kills rests on</h3>"]
    if deaths.kill_compared.empty:
        return [*out, paragraph("The chance that a crossing kills was not worked out.")]
    cells = [
        (
            plain_text(row["assumption"]),
            number(float(row["kill_chance"]), 2) or "–",
            number(float(row["times"]), 2) or "–",
        )
        for row in rows(deaths.kill_compared)
    ]
    heads = ("If", "Mean chance that a crossing kills", "Times that used")
    said = "A comparison of assumptions, so without intervals; those of a road stand on the map."
    return [*out, table("Other assumptions", heads, cells), paragraph(said, "small")]


def _carcasses(deaths: DeathTables, scale: Scale) -> list[str]:
    out = ["<h3>From carcasses alone</h3>"]
    if deaths.carcasses.empty:
        return [*out, paragraph("Not identified: there are no surveys. Reports of dead animals "
                                "can't stand in for them, since nobody knows how much people "
                                "looked.")]  # fmt: skip
    cells = [
        (
            road(row["group"]),
            length_cell(row["searched_km"], scale.units),
            count(row["carcasses"]),
            chance_cell(row["chance_counted"]),
            interval_cell(row, YEAR, note="not identified"),
            number(float(row[f"{YEAR}_shoenfeld"])) or "–",
            number(float(row[f"{YEAR}_huso"])) or "–",
            plain_text(row["interval"]),
        )
        for row in rows(deaths.carcasses)
    ]
    heads = ("Road", f"Searched, {length_unit(scale.units)}", "Carcasses",
             "Chance that a death is counted", "Deaths a year", "If missed ones can be found later",
             "If they never are", "Interval")  # fmt: skip
    said = (
        "On searched road alone. The last two numbers are the ends of one assumption (Shoenfeld; "
        "Huso): whether a carcass that was missed once can be found as well later."
    )
    return [*out, table("Deaths on searched road, from carcasses alone", heads, cells, texts=[7]),
            paragraph(said, "small")]  # fmt: skip


def _effort(deaths: DeathTables, scale: Scale) -> list[str]:
    out = ["<h3>Survey effort</h3>"]
    if deaths.effort.empty:
        return [*out, paragraph("No surveys, so no effort of surveys is known.")]
    unit = length_unit(scale.units)
    effort = deaths.effort.assign(month=deaths.effort["month"].astype(str))
    months = [
        str(m) for m in pd.period_range(effort["month"].min(), effort["month"].max(), freq="M")
    ]
    km = effort.groupby("month")["km_searched"].sum().reindex(months, fill_value=0.0)
    shown = [float(length_cell(value, scale.units).replace(",", "")) for value in km]
    title = f"Road searched, all passes, {unit}"
    spoken = ", ".join(f"{_month(m)} {number(v)}" for m, v in zip(months, shown, strict=True))
    picture = bars(title, _labels(months), shown, f"{title}, by month: {spoken}.",
                   width=_WIDE)  # fmt: skip
    by_road = effort.groupby("group", sort=False).agg(
        km=("km_searched", "sum"), months=("month", "nunique"), first=("month", "min"),
        last=("month", "max"),
    )  # fmt: skip
    cells = [
        (road(name), length_cell(row["km"], scale.units), f"{row['months']}", _month(row["first"]),
         _month(row["last"]))
        for name, row in zip(by_road.index, rows(by_road), strict=True)
    ]  # fmt: skip
    heads = ("Road", f"Searched, all passes, {unit}", "Months with a search", "First", "Last")
    caption = "Survey effort by road (months: survey_effort.csv)"
    return [*out, figure([picture], "Months without a bar had no survey.", "one"),
            table(caption, heads, cells, texts=[3, 4])]  # fmt: skip


def _labels(months: list[str]) -> list[str]:
    """Label each January with its year; few months by their first letter."""
    if len(months) <= 12:
        return [MONTHS[int(month[5:7]) - 1][0] for month in months]
    first = months[0][:4] if months[0][5:7] in {"01", "02", "03", "04", "05", "06"} else ""
    return [first, *(month[:4] if month.endswith("-01") else "" for month in months[1:])]


def _month(month: str) -> str:
    return f"{MONTHS[int(month[5:7]) - 1]} {month[:4]}"
