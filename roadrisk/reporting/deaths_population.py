"""The page of deaths: what they are to the population; survival; growth with and without."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from roadrisk.mortality.population import tolerable_percent
from roadrisk.reporting.csv_text import plain_text
from roadrisk.reporting.deaths_cells import chance_cell, interval_cell, rows
from roadrisk.reporting.printed_page import figure, paragraph, table
from roadrisk.reporting.range_chart import Range, range_chart
from roadrisk.reporting.survival_chart import HOW_TO_READ, NO_STEP, survival_chart
from roadrisk.reporting.wording import number

if TYPE_CHECKING:
    from collections.abc import Mapping

    from roadrisk.findings import DeathTables
    from roadrisk.study import Study

KILLED = "adults_killed_percent"
NO_ADULTS = (
    "Share of the adults that roads kill: not identified, since neither tagged animals nor "
    "surveys and the number of adults ([population] in study.toml) say it."
)
NO_GROWTH = (
    "Growth with and without road deaths: not worked out. It needs rates of survival and breeding "
    "by stage ([stages] in study.toml) and a known share of the adults that roads kill; a guess "
    "would say nothing of these roads."
)
_CHANGES = "change a year"


def of_adults(study: Study, deaths: DeathTables) -> list[str]:
    """Return the share of the adults that roads kill, against what a population is said to bear."""
    out = ["<h2>Adults killed, beside what a population bears</h2>"]
    if deaths.population.empty:
        return [*out, paragraph(NO_ADULTS)]
    low, high = tolerable_percent(study.profile, study.settings.kill)
    level = f"{100 * study.settings.hotspots.interval:.0f} % interval"
    bound = f"{number(low)} %" if low == high else f"{number(low)} to {number(high)} %"
    ranges = [_range(plain_text(row["group"]), row, KILLED) for row in rows(deaths.population)]
    whose = "set in the study" if study.settings.kill.tolerable_percent_a_year else "of the species"
    picture = range_chart(
        f"Adults killed on roads a year, % ({level})", ranges, zone=(low, high),
        mark=f"bound {whose}, {bound}",
    )  # fmt: skip
    above = [f"Chance that it is above {number(b)} %" for b in dict.fromkeys((low, high))]
    cells = [
        (
            plain_text(row["group"]),
            interval_cell(row, KILLED, note=plain_text(row["note"]) or "not identified"),
            *(chance_cell(row[f"above_{end}_bound"]) for end in ("lower", "upper")[: len(above)]),
        )
        for row in rows(deaths.population)
    ]
    said = (
        "The bound is what is said of such animals, no limit that is safe: sources differ, and a "
        "population that is shrinking already bears less. They stand in the notes below."
    )
    heads = ("Group, and by which route", "Adults killed a year, %", *above)
    return [*out, figure([picture], said, "one"), table(f"Adults killed ({level})", heads, cells)]


def of_survival(study: Study, deaths: DeathTables, *, no_curve: str = NO_STEP) -> list[str]:
    """Return survival of the tagged animals, as a curve and over a year."""
    level = study.settings.hotspots.interval
    out = ["<h2>Survival of the tagged animals</h2>"]
    if deaths.survival.empty or deaths.survival["chance"].isna().all():
        return [*out, paragraph("Not identified: no tagged animal was watched, so nobody knows "
                                "which lived and which died.")]  # fmt: skip
    curves = [survival_chart(deaths.survival_curve, who) for who in ("all", "female", "male")]
    drawn = figure(curves, HOW_TO_READ.format(level=100 * level))
    out.append(drawn or paragraph(no_curve))
    name = "chance_percent"
    cells = [
        (
            plain_text(row["group"]), plain_text(row["quantity"]),
            interval_cell(
                {f"{name}{end}": 100 * float(row[f"chance{end}"]) for end in ("", "_low", "_high")},
                name, note="not identified"),
            f"{row['deaths']:.0f}",
        )
        for row in rows(deaths.survival)
    ]  # fmt: skip
    heads = (
        "Animals",
        "Within a year",
        f"Chance, % ({100 * level:.0f} % interval)",
        "Deaths behind it",
    )
    caption = "Survival, and death by cause, over a year"
    return [*out, table(caption, heads, cells, texts=[1])]


def of_growth(study: Study, deaths: DeathTables) -> list[str]:
    """Return the population's growth with and without road deaths."""
    out = ["<h2>The population with and without road deaths</h2>"]
    if deaths.growth.empty:
        return [*out, paragraph(NO_GROWTH)]
    level = f"{100 * study.settings.hotspots.interval:.0f} % interval"
    growth = rows(deaths.growth)
    ranges = [
        _range(name.removeprefix(f"{_CHANGES} ").removesuffix(", %"), row, "value")
        for row in growth
        if (name := plain_text(row["quantity"])).startswith(_CHANGES)
    ]
    picture = range_chart(
        f"Change of the population a year, % ({level})", ranges, zone=(0.0, 0.0),
        mark="neither grows nor shrinks",
    )  # fmt: skip
    cells = [(plain_text(row["quantity"]), _value(row)) for row in growth]
    said = (
        "A projection of the rates that the study states, not a forecast: it holds if they and the "
        "share of adults that roads kill stay as they are, with no room for more animals or fewer."
    )
    return [*out, figure([picture], said, "one"),
            table(f"From rates by stage ({level})", ("Quantity", "Value"), cells)]  # fmt: skip


def _range(label: str, row: Mapping[str, Any], name: str) -> Range:
    value, low, high = (float(row[f"{name}{end}"]) for end in ("", "_low", "_high"))
    return Range(label, value, low, high)


def _value(row: dict[str, float]) -> str:
    ends = [float(row[f"value{end}"]) for end in ("", "_low", "_high")]
    if not np.isfinite(ends[0]):
        return "not identified"
    return interval_cell(row, "value")
