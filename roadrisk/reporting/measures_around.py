"""The page of measures: traffic, constraints, structures, signs, and what effects rest on."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from roadrisk.mitigation.measure_types import GRADES
from roadrisk.reporting.csv_text import plain_text
from roadrisk.reporting.deaths_cells import rows
from roadrisk.reporting.measure_words import deaths_said, length, on_road
from roadrisk.reporting.printed_page import escaped, paragraph, table
from roadrisk.reporting.sheets import road, speed
from roadrisk.reporting.wording import number

if TYPE_CHECKING:
    from roadrisk.measure_findings import MeasureTables
    from roadrisk.reporting.place_sheets import Scale

# What to do with an existing structure, by its verdict.
TO_DO = {
    "usable": "survey it before a fence is led to it",
    "not usable": "survey this first: mending or replacing it may be cheaper than a new passage",
    "not known": "survey this first",
}
_ORDER = {"not usable": 0, "not known": 1, "usable": 2}
WHAT_IF_LIMITS = (
    "These are all roads, also those that nobody watched, so there are more deaths than in the "
    "tables above. Traffic acts through the chance that a crossing kills; animals are taken to "
    "cross as often as now, in the hours and months of the species profile unless tagged animals "
    "tell the months. Traffic that is kept off a road goes elsewhere, and what it kills there is "
    "not counted. Whether a road may be closed or slowed is the road owner's to say."
)
SIGN_CAUTION = (
    "Table distance is a starting point: the engineer sets the location and the legal sign face."
)
SIGNS_APART = (
    "Signs are no part of what is proposed above and not in its costs. If they are put up as well, "
    "these are places to start from."
)
SIGN_LIMIT = (
    "The distance is for the highest speed limit on the way to the site, which may not be that at "
    'the sign. "Condition B to 0 mph": a driver may have to stop.'
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
        "<h2>What if only traffic or speed changes?</h2>",
        table(f"On all roads; deaths {per} (90 % intervals)", heads, cells, texts=[3]),
        paragraph(WHAT_IF_LIMITS, "small"),
    ]


def constraints(measures: MeasureTables, season: str = "") -> list[str]:
    """Return what stands in the way at the sites, and when building is cheap.

    Parameters
    ----------
    measures : MeasureTables
    season : str
        What is said of the time of year.
    """
    out = ["<h2>What must be settled first, and cheap moments</h2>"]
    out += [paragraph(season)] if season else []
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
        (" ".join(x for x in (plain_text(row["type"]), plain_text(row["id"])) if x),
         plain_text(row["place"]) or road(row["road"]), plain_text(row["verdict"]),
         plain_text(row["why"]), _to_do(row))
        for row in rows(table_)
    ]  # fmt: skip
    heads = ("Structure", "Where", "Can the animal use it", "Why", "What to do")
    caption = "As given, and bridges of the road map; those to survey first at the head"
    return [*out, table(caption, heads, cells, texts=[1, 2, 3, 4])]


def signs(measures: MeasureTables, scale: Scale) -> list[str]:
    """Return where signs stand on each approach."""
    if measures.signs.empty:
        return []
    units = scale.units
    common = _common([_parts(name) for name in measures.signs["table"]])
    months = list(
        dict.fromkeys(plain_text(name) or "all year" for name in measures.signs["months"])
    )
    cells = [
        (
            f"{row['sign']:.0f}", f"{row['site']:.0f}",
            ", ".join(x for x in (road(row["road"]), on_road(row)) if x),
            plain_text(row["towards"]) or "–",
            speed(float(row["speed_limit_kmh"]), units) or "not known",
            length(row["distance_m"], scale),
            ", ".join(_parts(row["table"])[len(common):]) or "–",
            *((plain_text(row["months"]) or "all year",) if len(months) > 1 else ()),
            "; ".join(x for x in (_combined(row["combined_with"]), _own_note(row["note"])) if x),
        )
        for row in rows(measures.signs.drop(columns="geometry"))
    ]  # fmt: skip
    more = ("Months", "Note") if len(months) > 1 else ("Note",)
    heads = ("Sign", "For site", "Where", "Towards", "Limit", "Ahead by", "By the table", *more)
    said = [f"Distances from {', '.join(common)}"] if common else []
    said += [f"open {months[0]}"] if len(months) == 1 else []
    caption = "; ".join(said) or "One sign an approach"
    proposed = measures.chosen["measure"].astype(str).str.startswith("sign").any()
    return [
        "<h2>Where warning signs would stand</h2>",
        *([] if proposed else [paragraph(SIGNS_APART)]),
        table(caption, heads, cells, texts=[2, 3, *range(6, len(heads))]),
        paragraph(f"{SIGN_CAUTION} {SIGN_LIMIT} {NO_PROVEN_EFFECT}", "small"),
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
        )
        for row in rows(measures.effects)
    ]  # fmt: skip
    heads = ("Measure", "Deaths averted on its road (low to high)", "Of these moved to its ends",
             "Grade of evidence")  # fmt: skip
    return [
        "<h2>What the effects rest on</h2>",
        table("Effects as they are used", heads, cells, texts=[3]),
        paragraph("Every draw takes an effect out of its range; a study can set its own ranges. "
                  "Below 0 %: more die than before. Over 100 % moved: more die at the ends than "
                  "are averted near them."
                  f"{_grades(measures)}", "small"),
        *(line for row in rows(measures.effects) for line in _evidence(row)),
    ]  # fmt: skip


def _evidence(row: dict[str, Any]) -> list[str]:
    """Return where a measure's effect is from, and where it was built before."""
    source = plain_text(row["source"]) or "not given"
    built = [part.strip() for part in plain_text(row["precedents"]).split("|")]
    items = "".join(f"<li>{escaped(part)}</li>" for part in built if part)
    return [
        f"<h3>{escaped(plain_text(row['name']))}</h3>",
        paragraph(f"Effect from: {source}", "small"),
        *(
            [paragraph("Built before:", "small"), f'<ul class="small">{items}</ul>']
            if items
            else []
        ),
    ]


def _parts(name: object) -> list[str]:
    return [part for part in plain_text(name).split(", ") if part]


def _common(names: list[list[str]]) -> list[str]:
    """Return the parts with which all names begin."""
    shared = []
    for parts in zip(*names, strict=False):
        if len(set(parts)) > 1:
            break
        shared.append(parts[0])
    return shared


def _to_do(row: dict[str, Any]) -> str:
    todo, look = TO_DO.get(plain_text(row["verdict"]), ""), plain_text(row["look_at"])
    return f"{todo}: {look}" if look else todo


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
