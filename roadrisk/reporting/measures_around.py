"""The page of measures: traffic, constraints, structures, signs, and what effects rest on."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from roadrisk.mitigation.measure_types import GRADES
from roadrisk.reporting.csv_text import plain_text
from roadrisk.reporting.deaths_cells import rows
from roadrisk.reporting.measure_words import deaths_said, length
from roadrisk.reporting.printed_page import paragraph, table
from roadrisk.reporting.sheets import road, speed
from roadrisk.reporting.wording import number

if TYPE_CHECKING:
    from roadrisk.findings import MeasureTables
    from roadrisk.reporting.place_sheets import Scale

# What to do with an existing structure, by its verdict.
TO_DO = {
    "usable": "survey it before a fence is led to it",
    "not usable": "survey this first: mending it may be cheaper than a new passage",
    "not known": "survey this first",
}
_ORDER = {"not usable": 0, "not known": 1, "usable": 2}
SIGN_CAUTION = (
    "Table distance is a starting point: the engineer sets the location and the legal sign face."
)
NO_PROVEN_EFFECT = (
    "A sign alone has no proven effect on deaths of small, slow animals, so its effect is taken "
    "as 0 with a wide interval."
)


def what_if(measures: MeasureTables) -> list[str]:
    """Return what speed, traffic, closures or signs alone would change."""
    if measures.what_if.empty:
        return []
    cells = [
        (
            plain_text(row["what"]), deaths_said(row, "deaths_per_year", measures),
            deaths_said(row, "averted_per_year", measures), plain_text(row["words"]),
        )
        for row in rows(measures.what_if)
    ]  # fmt: skip
    per = "a year" if measures.known else "as a share of all road deaths"
    heads = ("What if", "Deaths left", "Deaths averted", "In words")
    return [
        "<h2>What if only signs, speed or traffic change?</h2>",
        table(f"Deaths {per} (90 % intervals)", heads, cells, texts=[3]),
        paragraph(
            "Speed and traffic act through the chance that a crossing kills, which follows traffic "
            "and how fast the animal walks; animals are taken to cross as often as now.", "small"
        ),
    ]  # fmt: skip


def constraints(measures: MeasureTables) -> list[str]:
    """Return what stands in the way at the sites, and when building is cheap."""
    out = ["<h2>What must be settled first, and cheap moments</h2>"]
    if measures.constraints.empty:
        return [*out, paragraph(
            "Nothing is recorded at these places: that nothing stands in the way is not known. "
            "Structures, driveways, parcels, wetlands and planned works can be given as layers of "
            "the study."
        )]  # fmt: skip
    cells = [
        (f"{row['site']:.0f}", plain_text(row["kind"]), plain_text(row["what"]),
         plain_text(row["effect"]))
        for row in rows(measures.constraints)
    ]  # fmt: skip
    return [*out, table("By site", ("Site", "Kind", "What", "So"), cells, texts=[1, 2, 3])]


def structures(measures: MeasureTables) -> list[str]:
    """Return the structures that are there, those to survey first at the head."""
    out = ["<h2>Structures that are there</h2>"]
    if measures.structures.empty:
        return [*out, paragraph(
            "No structure was given: culverts and bridges that an animal could use may be there. "
            "Look for them before anything is built, since a fence led to one costs least."
        )]  # fmt: skip
    order = measures.structures["verdict"].map(lambda v: _ORDER.get(str(v), 1))
    table_ = measures.structures.loc[order.sort_values(kind="stable").index]
    cells = [
        (plain_text(row["id"]), road(row["road"]), plain_text(row["place"]) or "–",
         plain_text(row["verdict"]), plain_text(row["why"]),
         TO_DO.get(plain_text(row["verdict"]), ""))
        for row in rows(table_)
    ]  # fmt: skip
    heads = ("Structure", "Road", "Where", "Can the animal use it", "Why", "What to do")
    return [*out, table("From the structures table", heads, cells, texts=[1, 2, 3, 4, 5])]


def signs(measures: MeasureTables, scale: Scale) -> list[str]:
    """Return where signs stand on each approach."""
    if measures.signs.empty:
        return []
    units = scale.units
    cells = [
        (
            f"{row['sign']:.0f}", f"{row['site']:.0f}",
            ", ".join(x for x in (road(row["road"]), plain_text(row["place"])) if x),
            plain_text(row["towards"]) or "–",
            speed(float(row["speed_limit_kmh"]), units) or "not known",
            length(row["distance_m"], scale),
            plain_text(row["months"]) or "all year",
            "; ".join(x for x in (_combined(row["combined_with"]), _own_note(row["note"])) if x),
        )
        for row in rows(measures.signs.drop(columns="geometry"))
    ]  # fmt: skip
    heads = ("Sign", "For site", "Where", "Towards", "Limit", "Ahead by", "Months", "Note")
    tables = dict.fromkeys(plain_text(name) for name in measures.signs["table"])
    from_table = ", ".join(name for name in tables if name)
    caption = f"Distances from {from_table}" if from_table else "One sign an approach"
    return [
        "<h2>Where signs stand</h2>",
        table(caption, heads, cells, texts=[2, 3, 6, 7]),
        paragraph(f"{SIGN_CAUTION} {NO_PROVEN_EFFECT}", "small"),
    ]


def effects(measures: MeasureTables) -> list[str]:
    """Return what each measure is taken to avert, and from where that is known."""
    if measures.effects.empty:
        return []
    cells = [
        (
            plain_text(row["name"]),
            _percent(row["effect"], row["effect_low"], row["effect_high"]),
            _displaced(row["displaced_low"], row["displaced_high"]),
            plain_text(row["grade"]) or "–",
            plain_text(row["source"]), plain_text(row["precedents"]),
        )
        for row in rows(measures.effects)
    ]  # fmt: skip
    heads = ("Measure", "Deaths averted on its road (low to high)", "Of these moved to its ends",
             "Grade", "Source", "Precedents")  # fmt: skip
    return [
        "<h2>What the effects rest on</h2>",
        table("Effects as they are used", heads, cells, texts=[3, 4, 5]),
        paragraph("Every draw takes an effect out of its range; a study can set its own ranges."
                  f"{_grades(measures)}", "small"),
    ]  # fmt: skip


def _percent(value: float, low: float, high: float) -> str:
    parts = [number(100 * float(x), 2).replace("-", "\N{MINUS SIGN}") for x in (value, low, high)]
    if not all(parts):
        return "not known"
    return f"{parts[0]} % ({parts[1]} to {parts[2]} %)".replace(" ", "\N{NO-BREAK SPACE}")


def _displaced(low: float, high: float) -> str:
    if not np.isfinite([float(low), float(high)]).all():
        return "–"
    said = f"{number(100 * low, 2)} to {number(100 * high, 2)} %"
    return said.replace(" ", "\N{NO-BREAK SPACE}")


def _combined(sites: object) -> str:
    """Return which other sites a sign is for."""
    text = plain_text(sites)
    return f"also for site {text}" if text else ""


def _own_note(note: object) -> str:
    """Return a sign's note without what stands below the table for all of them."""
    return plain_text(note).replace(SIGN_CAUTION, "").strip()


def _grades(measures: MeasureTables) -> str:
    """Return what the grades that are named mean, best first."""
    named = {plain_text(grade) for grade in measures.effects["grade"]}
    said = "; ".join(f"{grade}: {words}" for grade, words in GRADES.items() if grade in named)
    return f" Grades: {said}." if said else ""
