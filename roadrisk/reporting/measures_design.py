"""The page of measures: dimensions to start a design from, what to mind, and the time of year."""

from __future__ import annotations

from typing import TYPE_CHECKING

from roadrisk.mitigation.measures import load_measures
from roadrisk.mitigation.signs import month_words
from roadrisk.mitigation.structures import dimension_words
from roadrisk.reporting.csv_text import plain_text
from roadrisk.reporting.printed_page import escaped, paragraph, table
from roadrisk.reporting.wording import number

if TYPE_CHECKING:
    from collections.abc import Sequence

    from roadrisk.base.units import Units
    from roadrisk.measure_findings import MeasureTables
    from roadrisk.mitigation.measure_types import Measure, Range
    from roadrisk.settings import Settings

_DIMENSIONS = {
    "height_m": "height above ground",
    "burial_m": "depth in the ground",
    "lip_m": "lip at the top, on the animals' side",
    "mesh_mm": "width of the mesh",
    "return_m": "turned-back end, on each side",
    "passage_spacing_m": "from passage to passage, at most",
    "passage_width_m": "width of a passage",
    "life_years": "life",
    "inspections_per_year": "inspections",
}


def designs(measures: MeasureTables, settings: Settings) -> list[str]:
    """Return how each chosen kind of measure is built, with sources, and what to mind.

    Parameters
    ----------
    measures : MeasureTables
    settings : Settings
        Of the study: its ranges, and its units.

    Returns
    -------
    list of str
        Nothing where nothing is chosen.
    """
    if measures.chosen.empty:
        return []
    keys = {plain_text(key) for key in measures.chosen["measure"]}
    known = [m for m in load_measures(settings.mitigation) if m.key in keys]
    out = [line for m in known for line in _design(m, settings.study.units)]
    return ["<h2>How it is built, and what to mind</h2>", *out] if out else []


def season_words(months: Sequence[int]) -> str:
    """Return what the time of year means for works; "" where animals are active all year.

    Parameters
    ----------
    months : sequence of int
        Months in which the species is active, 1 to 12.
    """
    active = month_words(months)
    if active == "all year":
        return ""
    return (
        f"Animals are active in {active} by the species profile: a fence that is closed before a "
        "season starts helps from that season on. Animals and nests may lie in ground that is dug "
        "up, out of season too: have it looked at first. When in the year animals die stands in "
        "deaths.html."
    )


def design_rows(measure: Measure, units: Units) -> list[tuple[str, str, str]]:
    """Return the dimensions that a source gives, as what, its range in words, and its source.

    Parameters
    ----------
    measure : Measure
    units : {"metric", "us"}
    """
    given = ((name, words, getattr(measure.design, name)) for name, words in _DIMENSIONS.items())
    return [
        (words, _range_words(found, name, units), found.source)
        for name, words, found in given if found is not None
    ]  # fmt: skip


def _design(measure: Measure, units: Units) -> list[str]:
    cells = design_rows(measure, units)
    silent = [w for name, w in _DIMENSIONS.items() if getattr(measure.design, name) is None]
    out = []
    if cells:
        heads = ("What", "Middle (low to high)", "From")
        caption = f"{measure.name}: values to start a design from; the engineer sets them"
        out.append(table(caption, heads, cells, texts=[2]))
    if cells and silent:
        out.append(paragraph(f"No source gave: {', '.join(silent)}.", "small"))
    if measure.cautions:
        items = "".join(f"<li>{escaped(caution)}</li>" for caution in measure.cautions)
        out += [paragraph(f"To mind, {measure.name}:", "small"), f'<ul class="small">{items}</ul>']
    return out


def _range_words(found: Range, name: str, units: Units) -> str:
    def said(value: float) -> str:
        if name.endswith("_m"):
            return dimension_words(value, units)
        return number(value)

    unit = {"mesh_mm": " mm", "life_years": " years", "inspections_per_year": " a year"}
    low, likely, high = (said(x) for x in (found.low, found.likely, found.high))
    # The unit of a length stands once in its range.
    ends = "" if low == high else f" ({low.partition(' ')[0]} to {high})"
    return f"{likely}{unit.get(name, '')}{ends}".replace(" ", "\N{NO-BREAK SPACE}")
