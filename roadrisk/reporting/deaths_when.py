"""The page of deaths: when in the year and the day, on which roads, of which sex."""

from __future__ import annotations

from typing import TYPE_CHECKING

from roadrisk.reporting.count_charts import MOST_ROADS, count_charts
from roadrisk.reporting.deaths_places import roads_by_deaths
from roadrisk.reporting.printed_page import figure, paragraph

if TYPE_CHECKING:
    from roadrisk.findings import DeathTables

_HEADS = {
    "month": "By month",
    "hour": "By hour of the day",
    "road": "By road",
    "sex": "By sex",
}
HOW_TO_READ = (
    "Four different counts, each with a scale of its own; they can't be added. Carcasses follow "
    "the dates of the surveys, reports follow where and when people pass and look, crossings are "
    "expected ones of the tagged animals while they were watched. A month without carcasses may "
    "be a month without surveys. These are counts, not estimates, so they carry no interval; the "
    "numbers stand in when.csv."
)
FOUND_LATER = "A dead animal counts for the hour at which it was found, not at which it died."


def by_time_and_place(deaths: DeathTables) -> list[str]:
    """Return charts of what was counted by month, hour, road and sex."""
    out = ["<h2>When, on which roads, of which sex</h2>", paragraph(HOW_TO_READ)]
    roads = roads_by_deaths(deaths)[1:]
    for kind, head in _HEADS.items():
        charts = count_charts(deaths.when, kind, roads)
        if not charts:
            out.append(paragraph(f"{head}: nothing was counted."))
            continue
        notes = {"hour": FOUND_LATER, "road": _others(deaths)}
        out += [f"<h3>{head}</h3>", figure(charts, notes.get(kind, ""))]
    return out


def _others(deaths: DeathTables) -> str:
    more = int((deaths.when["counted_by"] == "road").sum()) - MOST_ROADS
    shown = "The roads in the order of the table of deaths."
    return f"{shown} {more} more roads: see when.csv." if more > 0 else shown
