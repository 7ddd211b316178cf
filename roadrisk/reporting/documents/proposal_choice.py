"""The proposal's sections on what is there, what else could be done, and what stands in the way."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from roadrisk.reporting.csv_text import plain_text
from roadrisk.reporting.deaths_cells import rows
from roadrisk.reporting.documents.blocks import Bullets, Facts, Paragraph, Table
from roadrisk.reporting.documents.facts import (
    clipped,
    doing_nothing,
    signs_alone,
    upper,
)
from roadrisk.reporting.documents.figures import choices_chart, money_figure
from roadrisk.reporting.documents.proposal_text import SECTION_NUMBERS, paragraphs
from roadrisk.reporting.measure_words import deaths_said, length, money
from roadrisk.reporting.measures_around import TO_DO, WHAT_IF_LIMITS
from roadrisk.reporting.place_sheets import scale_of
from roadrisk.reporting.sheets import road
from roadrisk.reporting.wording import and_words, count

if TYPE_CHECKING:
    import pandas as pd

    from roadrisk.measure_findings import MeasureTables
    from roadrisk.reporting.documents.blocks import Block
    from roadrisk.reporting.editions.edition import Edition

MOST_STRUCTURES = 14
_VERDICTS = {"not usable": 0, "not known": 1, "usable": 2}
# What an agency's engineer is asked: common practice, no list of any one code.
QUESTIONS = (
    ("Right-of-way", "How wide is it on each side, and do fence and access for its upkeep fit?"),
    ("Drainage", "Where do ditches and culverts run, and would a fence hold back water or debris?"),
    ("Clear zone", "Which clear zone do class, speed and traffic ask for, and do posts stand "
     "outside it or give way?"),
    ("Sight distance", "Do fence, posts and growth leave the view open at junctions, driveways "
     "and bends?"),
    ("Access", "Which driveways, gates, paths and ways for rescue must stay open, and who closes "
     "them?"),
    ("Utilities", "Which lines run in the verge? Have them marked before anything is dug."),
    ("Snow", "Where is snow put, does a fence bear it, and does it stay clear of ploughs?"),
    ("Mowing", "Who mows before and behind the fence, and how is it kept clear of the mower?"),
)  # fmt: skip
_LAYERS = {"Right-of-way": ("parcel",), "Drainage": ("structure", "wetland"),
           "Access": ("opening",)}  # fmt: skip
_NO_LAYER = "not in the study's data"


def existing(edition: Edition) -> tuple[Block, ...]:
    """Return the structures that are there, and what was tried before.

    Parameters
    ----------
    edition : Edition

    Returns
    -------
    tuple of Block
    """
    measures, study = edition.findings.measures, edition.study
    tried = [clipped(x, 300) for x in study.settings.proposal.past_measures]
    past: tuple[Block, ...] = (Facts((("Past measures, and how they went", ""),)),)
    if tried:
        past = (*paragraphs("existing", "past", measures=True), Bullets(tuple(tried)))
    shown = _structures_near(measures)
    said = paragraphs(
        "existing", "structures", empty=measures.structures.empty,
        left=len(measures.structures) - len(shown),
        fences=None if study.fences is None else len(study.fences),
    )  # fmt: skip
    lines = [
        (" ".join(x for x in (plain_text(row["type"]), _given_id(row["id"])) if x) or "structure",
         clipped(row["place"] or road(row["road"])), plain_text(row["verdict"]),
         clipped(row["why"]), _to_do(row))
        for row in rows(shown)
    ]  # fmt: skip
    head = ("Structure", "Where", "Can the animal use it", "Why", "What to do")
    table = Table(head, tuple(lines), widths=(1.0, 1.9, 1.0, 2.0, 2.0),
                  caption="Structures, those to survey first at the head")  # fmt: skip
    return (*said, *((table,) if lines else ()), *past)


def alternatives(edition: Edition) -> tuple[Block, ...]:
    """Return other choices beside the proposed one, doing nothing first, and what traffic does."""
    measures = edition.findings.measures
    nothing = paragraphs("alternatives", "nothing", doing_nothing=doing_nothing(edition))
    signs = paragraphs("alternatives", "signs", words=signs_alone(edition))
    if measures.alternatives.empty:
        why = measures.words or "nothing was proposed."
        none = paragraphs("alternatives", "none", why=why)
        return (*nothing, *none, *signs, *_what_if(measures))
    pictures = (choices_chart(edition), money_figure(edition))
    return (
        *nothing,
        _choices(edition),
        *_compared(measures),
        *(picture for picture in pictures if picture is not None),
        *signs,
        *_what_if(measures),
    )


def constraints(edition: Edition) -> tuple[Block, ...]:
    """Return what the study's layers hold in the way, and what they don't, as questions."""
    measures = edition.findings.measures
    table = measures.constraints
    inside = table[table["kind"] != "works"]
    said = paragraphs("constraints", "recorded", sites=len(measures.chosen), recorded=len(inside))
    lines = [
        (f"S{row['site']:.0f}", clipped(row["what"]), clipped(row["effect"]))
        for row in rows(inside.iloc[:40])
    ]
    recorded = (Table(("Site", "What", "So"), tuple(lines), widths=(0.5, 3.4, 2.6),
                      caption="On record at the sites"),) if lines else ()  # fmt: skip
    moments = [
        f"S{row['site']:.0f} {clipped(row['what'], 80)}"
        for row in rows(table[table["kind"] == "works"])
    ]
    asked = tuple((topic, _on_record(edition, topic), words) for topic, words in QUESTIONS)
    return (
        *said, *recorded, *paragraphs("constraints", "moments", moments=and_words(*moments)),
        Table(("What", "In the study's data", "Question for the agency's engineer"), asked,
              widths=(1.1, 2.2, 3.4),
              caption="To be settled with the agency's engineer",
              note="The questions are common practice, no list of any one code: local codes and "
              "the agency's own standards come first."),
    )  # fmt: skip


def _choices(edition: Edition) -> Table:
    measures, scale = edition.findings.measures, scale_of(edition.study, edition.findings)
    priced = measures.priced
    lines = [
        (
            clipped(row["alternative"], 70), count(float(row["sites"])) or "–",
            length(row["length_m"], scale), *((_spent(row["cost"]),) if priced else ()),
            deaths_said(row, "averted_per_year", measures),
            deaths_said(row, "deaths_left_per_year", measures), clipped(row["words"], 110),
        )
        for row in rows(measures.alternatives)
    ]  # fmt: skip
    per = "a year" if measures.known else "as a share of those on watched roads"
    currency = clipped(measures.currency, 12)
    head = ("Choice", "Sites", "Road", *(("Cost",) if priced else ()),
            "Deaths averted (90 % interval)", "Deaths left", "In words")  # fmt: skip
    widths = (1.7, 0.6, 0.8, *((0.9,) if priced else ()), 1.5, 0.8, 2.4)
    caption = f"Choices, on the roads that were watched; deaths {per}"
    caption += f"; costs in {currency} at present value" if priced and currency else ""
    note = "Deaths left: means over the draws, without an interval of their own."
    return Table(head, tuple(lines), widths=widths, caption=caption, note=note)


def _spent(cost: float) -> str:
    if cost == 0:
        return "0"
    return money(cost) or "not counted"


def _compared(measures: MeasureTables) -> tuple[Block, ...]:
    """Say of each other choice whether it averts less, or no difference is shown."""
    curve = measures.curve
    own = curve[curve["chosen"].astype(bool)] if len(curve) else curve
    if own.empty:
        return ()
    chosen = _ends(rows(own.iloc[:1])[0])
    apart: list[str] = []
    above: list[str] = []
    overlapping: list[str] = []
    untold: list[str] = []
    for row in rows(measures.alternatives):
        name, other = clipped(row["alternative"], 70), _ends(row)
        if np.allclose(other, chosen, rtol=0.02, equal_nan=False):
            continue  # the choice itself, or the same one by another name
        if not np.isfinite([*other, *chosen]).all():
            untold.append(name)
        elif other[2] < chosen[1]:
            apart.append(name)
        elif other[1] > chosen[2]:
            above.append(name)
        else:
            overlapping.append(name)
    return paragraphs(
        "alternatives", "compared", apart=upper(and_words(*apart)), apart_many=len(apart),
        above=upper(and_words(*above)), above_many=len(above),
        overlapping=upper(and_words(*overlapping)), untold=upper(and_words(*untold)),
    )  # fmt: skip


def _ends(row: dict[str, Any]) -> tuple[float, float, float]:
    value, low, high = (float(row[f"averted_per_year{end}"]) for end in ("", "_low", "_high"))
    return value, low, high


def _what_if(measures: MeasureTables) -> tuple[Block, ...]:
    if measures.what_if.empty:
        return ()
    lines = [
        (clipped(row["what"], 80), deaths_said(row, "deaths_per_year", measures),
         deaths_said(row, "averted_per_year", measures))
        for row in rows(measures.what_if)
    ]  # fmt: skip
    per = "a year" if measures.known else "as a share of all road deaths"
    return (
        Table(("What if", "Deaths left", "Deaths averted"), tuple(lines), widths=(3.0, 1.6, 1.6),
              caption=f"If only traffic or speed changed, on all roads; deaths {per} (90 % "
              "intervals)"),
        Paragraph(f"{WHAT_IF_LIMITS} Why a number isn't known stands in measures.html.", "small"),
    )  # fmt: skip


def _structures_near(measures: MeasureTables) -> pd.DataFrame:
    """Return structures on the sites' roads, or all without sites; those to survey first."""
    table = measures.structures
    if len(measures.chosen) and len(table):
        table = table[table["road"].isin(set(measures.chosen["road"]))]
    order = table["verdict"].map(lambda v: _VERDICTS.get(str(v), 1))
    return table.loc[order.sort_values(kind="stable").index].iloc[:MOST_STRUCTURES]


def _given_id(name: object) -> str:
    """Return a structure's name; the road map's own ids tell a reader nothing."""
    said = clipped(name, 40)
    return "of the road map" if said.startswith("map ") else said


def _to_do(row: dict[str, Any]) -> str:
    todo, look = TO_DO.get(plain_text(row["verdict"]), ""), clipped(row["look_at"])
    return f"{todo}: {look}" if look else todo


def _on_record(edition: Edition, topic: str) -> str:
    """Return what is on record of a topic at the sites, site by site; or that nothing is."""
    measures = edition.findings.measures
    if topic in _LAYERS:
        table = measures.constraints
        mine = table[table["kind"].isin(_LAYERS[topic])]
        sites = [f"S{s:.0f}" for s in dict.fromkeys(mine["site"])]
        if sites:
            return f"{and_words(*sites)}: see the table above"
        return "nothing recorded: not known"
    if topic == "Clear zone" and len(measures.chosen):
        return f"limits and traffic: section {SECTION_NUMBERS['location']}; verges: no"
    return _NO_LAYER
