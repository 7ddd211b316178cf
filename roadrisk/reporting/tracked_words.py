"""What the tagged animals show, in plain sentences for the map."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from roadrisk.reporting.wording import count, number

if TYPE_CHECKING:
    from collections.abc import Mapping

    from roadrisk.findings import Findings

_RATE = "crossing_days_per_animal_year"
_POPULATION = "population_crossing_days_per_year"


def tracked_words(findings: Findings) -> list[str]:
    """Return the sentences on the tagged animals, the numbers first.

    Parameters
    ----------
    findings : Findings

    Returns
    -------
    list of str
        Empty without tagged animals.
    """
    tracked = findings.tracked
    if not len(tracked.animals):
        return []
    rows = [{str(k): v for k, v in row.items()} for row in tracked.groups.to_dict("records")]
    out = [tracked.words, _totals(rows[0])]
    out += [f"{str(row['group']).capitalize()}: {_rate(row)}." for row in rows[1:]]
    scaled = [row for row in rows if np.isfinite(row[_POPULATION])]
    for row in scaled:
        low, high = (number(row[f"{_POPULATION}{end}"], 2) for end in ("_low", "_high"))
        out.append(
            f"Scaled to the population that the study states, by the rate of {row['group']}: "
            f"{number(row[_POPULATION], 2)} crossing-days a year ({low} to {high}), if tagged "
            "animals are like the others: see below how they were caught."
        )
    if not scaled:
        out.append(
            "All this is per tagged animal: nothing is scaled to the population, since the study "
            "states no abundance or the rate has no interval."
        )
    return [*out, *tracked.notes]


def _totals(row: Mapping[str, object]) -> str:
    low, high = (_count(row[f"total_crossings{end}"]) for end in ("_low", "_high"))
    note = str(row["totals_note"])
    if note.startswith("not identified"):
        return (
            f"Total crossings, those there and back included, are {note}: between {low} and "
            f"{high}, depending on how winding paths are and on the road's width (each halved "
            "and doubled)."
        )
    return f"Total crossings: about {_count(row['total_crossings'])} ({low} to {high}), {note}."


def _rate(row: Mapping[str, object]) -> str:
    low, high = _number(row[f"{_RATE}_low"]), _number(row[f"{_RATE}_high"])
    rate = number(_number(row[_RATE]))
    if not np.isfinite(low):
        return (
            f"{rate} crossing-days per animal and year (no interval: {row['crossing_days_note']})"
        )
    return (
        f"{rate} crossing-days per animal and year ({number(low)} to {number(high)} for animals "
        f"like these; {row['crossing_days_note']})"
    )


def _number(value: object) -> float:
    return float(str(value))


def _count(value: object) -> str:
    return count(round(_number(value)))
