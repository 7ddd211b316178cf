"""The page of deaths: both routes to the number, then deaths by road, unit, spell and place."""

from __future__ import annotations

from typing import TYPE_CHECKING

import pandas as pd

from roadrisk.reporting.csv_text import plain_text
from roadrisk.reporting.death_words import RATE, YEAR
from roadrisk.reporting.deaths_cells import (
    BOUND_NOTE,
    chance_cell,
    interval_cell,
    length_cell,
    rows,
    year_cell,
)
from roadrisk.reporting.place_sheets import row_words
from roadrisk.reporting.printed_page import paragraph, table
from roadrisk.reporting.sheets import road
from roadrisk.reporting.wording import count, day, length_unit, per_length_unit, short_length

if TYPE_CHECKING:
    from roadrisk.findings import DeathTables, Findings
    from roadrisk.reporting.place_sheets import Scale

# As many roads as one sheet of paper takes.
MOST_ROADS = 26
NESTS_HEAD = "<h2>Nests and gravid females near roads</h2>"
_WORST_HEADS = ("Rank", "Where", "Deaths, and how sure the rank is", "Chance of being among them")


def both_routes(deaths: DeathTables, scale: Scale) -> list[str]:
    """Return deaths by crossings beside deaths by carcasses, before anything is joined."""
    out = [
        "<h2>Two ways to the number, before they are joined</h2>",
        paragraph(
            "By crossings: crossings of tagged animals, times the animals there are, times the "
            "chance that a crossing kills. By carcasses: carcasses found by surveys, over the "
            "chance that a death is counted. They rest on different records, so each is a check of "
            "the other; where they disagree, one of them leaves something out."
        ),
    ]
    if deaths.routes.empty:
        return [*out, paragraph("Neither is identified: see what isn't known, below.")]
    cells = [
        (
            road(row["place"]),
            interval_cell(row, "deaths_by_crossings", note="not identified"),
            interval_cell(row, "deaths_by_carcasses", note="not identified"),
            interval_cell(row, "ratio", note="–"),
            plain_text(row["verdict"]),
        )
        for row in rows(deaths.routes)
    ]
    level = f"{100 * scale.level:.0f} % interval"
    heads = ("Place", "By crossings", "By carcasses", "Crossings over carcasses", "So they")
    return [*out, table(f"Deaths a year ({level}), each way by itself", heads, cells, texts=[4])]


def by_road(deaths: DeathTables, scale: Scale) -> list[str]:
    """Return the joined number by road."""
    ordered = roads_by_deaths(deaths)
    out = ["<h2>Deaths a year, all sources joined</h2>"]
    caption = "Deaths by road (90 % intervals), most first"
    out.append(_groups(caption, "Road", deaths.roads.set_index("road").loc[ordered],
                       deaths, scale))  # fmt: skip
    if len(deaths.roads) > MOST_ROADS:
        left = len(deaths.roads) - MOST_ROADS
        out.append(paragraph(f"{left} more roads: see deaths_roads.csv.", "small"))
    out.append(
        paragraph(
            '"Of it watched": road on which a source whose chance of counting a death is known '
            "looked; the rest is judged from roads like it. The coming year brings whole deaths, "
            "some more or fewer by chance alone, so its range is wider than the interval of the "
            f"mean. {BOUND_NOTE if deaths.bound_only else ''}".strip(),
            "small",
        )
    )
    return out


def worst_places(findings: Findings, scale: Scale) -> list[str]:
    """Return the head of the ranked list."""
    head = findings.ranked.iloc[: scale.worst]
    if head.empty or scale.by == "evidence":
        return []
    cells = [
        (
            f"{row['rank']:.0f}",
            f"{road(row['road'])}, {plain_text(row['place'])}",
            "; ".join(row_words(row, scale)),
            chance_cell(row["chance_among_worst"]),
        )
        for row in rows(pd.DataFrame(head.drop(columns="geometry")))
    ]
    caption = (
        f"The {len(cells)} worst places of about {_window(head, scale)} (whole list: map.html)"
    )
    return ["<h2>Where most die</h2>", table(caption, _WORST_HEADS, cells, texts=[1, 2])]


def by_unit(deaths: DeathTables, scale: Scale) -> list[str]:
    """Return deaths by who keeps the road, and by unit and 12 months."""
    units = deaths.units.set_index("unit")
    out = ["<h2>By who keeps the road, and by 12 months</h2>"]
    out.append(
        _groups("Deaths by who keeps the road (90 % intervals)", "Keeper", units, deaths, scale)
    )
    if deaths.twelve_months.empty:
        return [*out, paragraph("By 12 months: not identified, since there are no surveys.")]
    cells = [
        (
            " to ".join(day(pd.Timestamp(row[end])) for end in ("first_day", "last_day")),
            plain_text(row["group"]),
            length_cell(row["searched_km"], scale.units),
            count(row["carcasses"]),
            chance_cell(row["chance_counted"]),
            interval_cell(row, YEAR, note="not identified"),
        )
        for row in rows(deaths.twelve_months)
    ]
    unit = length_unit(scale.units)
    heads = ("Spell", "Roads of", f"Searched, {unit}", "Carcasses",
             "Chance that a death is counted", "Deaths a year")  # fmt: skip
    caption = "From carcasses alone, on searched road, by spell of 12 months (90 % intervals)"
    return [*out, table(caption, heads, cells, texts=[1])]


def by_nests(deaths: DeathTables, scale: Scale) -> list[str]:
    """Return nests near, gravid females on, and nesting walks across each road."""
    out = [NESTS_HEAD]
    if deaths.nests.empty:
        return [*out, paragraph("No nest and no gravid female was recorded: that there are none "
                                "is not known.")]  # fmt: skip
    near, wide = ("100 ft", "330 ft") if scale.units == "us" else ("30 m", "100 m")
    cells = [
        (
            road(row["road"]), count(row["nests_within_30_m"]), count(row["nests_within_100_m"]),
            short_length(row["nearest_nest_m"], scale.units)
            if pd.notna(row["nearest_nest_m"]) else "–",
            count(row["gravid_alive"]), count(row["gravid_dead"]),
            count(row["nesting_lines_across"]), plain_text(row["months"]),
        )
        for row in rows(deaths.nests)
    ]  # fmt: skip
    heads = ("Road", f"Nests within {near}", f"Within {wide}", "Nearest nest", "Gravid, alive",
             "Gravid, dead", "Lines from nest to home across it", "Months")  # fmt: skip
    return [*out, table("Counts of what was recorded; no estimates", heads, cells, texts=[7])]


def roads_by_deaths(deaths: DeathTables) -> list[str]:
    """Return "all roads", then the roads with most deaths a year, as many as are shown.

    Where how many die isn't known the upper bound orders them, else they keep their order.
    """
    table_ = deaths.roads
    by = table_[YEAR].fillna(table_[f"{YEAR}_high"]).fillna(0.0).iloc[1:]
    order = by.sort_values(ascending=False, kind="stable").index
    return [table_["road"].iloc[0], *table_["road"].loc[order][: MOST_ROADS - 1]]


def _groups(
    caption: str, name: str, table_: pd.DataFrame, deaths: DeathTables, scale: Scale
) -> str:
    surveyed = not deaths.effort.empty
    unit = length_unit(scale.units)
    heads = (name, f"Length, {unit}", f"Of it watched, {unit}", "Carcasses", "Deaths a year",
             f"Per {unit} and year", "One coming year may bring")  # fmt: skip
    per = per_length_unit(1.0, scale.units)
    cells = [
        (
            road(label),
            length_cell(row["length_km"], scale.units),
            length_cell(row["watched_km"], scale.units),
            count(row["carcasses"]) if surveyed else "–",
            interval_cell(row, YEAR),
            interval_cell(row, RATE, per),
            year_cell(row),
        )
        for label, row in zip(table_.index, rows(table_), strict=True)
    ]
    return table(caption, heads, cells)


def _window(head: pd.DataFrame, scale: Scale) -> str:
    return short_length(float(head["length_m"].median()), scale.units)
