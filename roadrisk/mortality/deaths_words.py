"""How many die in one sentence, and which sources stand behind it."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from roadrisk.base.plain_numbers import number, span
from roadrisk.base.units import road_km
from roadrisk.mortality.crossing_source import NAME as CROSSINGS
from roadrisk.mortality.death_table import add_draws
from roadrisk.mortality.draw_sums import weighted
from roadrisk.mortality.report_sources import ALIVE

if TYPE_CHECKING:
    from collections.abc import Sequence

    from roadrisk.base.units import Units
    from roadrisk.mortality.death_field import DeathField
    from roadrisk.mortality.sources import Source
    from roadrisk.roads.pieces import Pieces

SOURCE_COLUMNS = ["source", "counted", "watched_km", "how_many"]
# Sources whose chances had to be moved by more than this to fit together: a choice.
_FAR_APART = 3.0


def total_words(
    field: DeathField,
    sources: Sequence[Source],
    *,
    units: Units = "metric",
    days_only: bool = False,
) -> str:
    """Say how many die a year on all roads, or why that isn't known.

    Parameters
    ----------
    field : DeathField
    sources : sequence of Source
    units : {"metric", "us"}
    days_only : bool
        Whether crossings are days with one, and no fates say how many of these kill.

    Returns
    -------
    str
    """
    result = field.result
    known = [s.name for s in sources if s.known]
    total = result.per_year
    if result.rate is None or total is None:
        return _not_known(field, sources)
    summed = pd.DataFrame(index=range(2))
    seen, km = result.watched, result.length_km
    both = np.stack([total, weighted(km, result.rate, seen)])
    # As in the tables of roads.
    add_draws(summed, "deaths", both, times=result.to_best, bound_only=result.bound_only)
    best, low, high = (float(v) for v in summed.iloc[0])
    of_watched = [float(v) for v in summed.iloc[1]]
    there = span(of_watched[0], of_watched[1], of_watched[2], 2)
    watched, whole = (
        _road(float(km), units) for km in (result.length_km[result.watched].sum(),
                                           result.length_km.sum())
    )  # fmt: skip
    on = f"on these {whole} of road"
    if result.bound_only:
        return (
            f"No death was counted by {' or '.join(known)}: {on} at most "
            f"{number(high, 2)} animals die a year (one-sided 95 % bound), which is not "
            "zero."
        )
    text = (
        f"About {number(best, 2)} animals die a year {on} (90 % interval {number(low, 2)} to "
        f"{number(high, 2)}), as {' and '.join(known)} say."
    )
    if result.length_km[result.watched].sum() < 0.95 * result.length_km.sum():
        text += (
            f" On the {watched} that these watched it is {there}; the rest is judged from roads "
            "like them."
        )
    if any(not 1 / _FAR_APART < times < _FAR_APART for times in result.chance_moved.values()):
        text += (
            " But these sources contradict each other: see both routes side by side before using "
            "this number."
        )
    if days_only and CROSSINGS in known:
        text += (
            " Of crossings only days with one or more are known, and each counts as one: deaths "
            "may be more."
        )
    return text


def _not_known(field: DeathField, sources: Sequence[Source]) -> str:
    """Say why the number isn't known, and what places are ranked by."""
    if not field.ordered:
        return (
            "How many animals die on these roads, and where, isn't known: no carcass, crossing or "
            "report that lies on them counts."
        )
    told = [s.name for s in sources if s.counted > 0]
    text = (
        "How many animals die on these roads isn't known: there are no surveys in the active "
        "season whose trials say how many carcasses are missed, and no crossings of tagged animals "
        "of a population of known size. "
    )
    if set(told) <= {ALIVE, CROSSINGS}:
        return (
            f"{text}No dead animal was counted either: places are ranked by "
            f"{' and '.join(told)}, more where a crossing kills more often."
        )
    return f"{text}Places are ranked by where more die than elsewhere, as {' and '.join(told)} say."


def _road(km: float, units: Units) -> str:
    length, unit = road_km(1000 * km, units)
    return f"{number(length)} {unit}"


def source_table(sources: Sequence[Source], pieces: Pieces) -> pd.DataFrame:
    """Return the sources as a table.

    Parameters
    ----------
    sources : sequence of Source
    pieces : Pieces

    Returns
    -------
    pandas.DataFrame
        Columns `SOURCE_COLUMNS`: what was counted, on how many km, and whether the chance that a
        death is counted is known, so that the source says how many.
    """
    km = pieces.length_km
    rows = [
        (s.name, s.counted, float(km[np.asarray(s.exposure) > 0].sum()), s.known) for s in sources
    ]
    return pd.DataFrame(rows, columns=SOURCE_COLUMNS)
