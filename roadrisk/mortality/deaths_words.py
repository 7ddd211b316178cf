"""How many die in one sentence, and which sources stand behind it."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from roadrisk.mortality.death_ranks import interval

if TYPE_CHECKING:
    from collections.abc import Sequence

    from roadrisk.mortality.death_field import DeathField
    from roadrisk.mortality.sources import Source
    from roadrisk.roads.pieces import Pieces

SOURCE_COLUMNS = ["source", "counted", "watched_km", "how_many"]


def total_words(field: DeathField, sources: Sequence[Source]) -> str:
    """Say how many die a year on all roads, or why that isn't known.

    Parameters
    ----------
    field : DeathField
    sources : sequence of Source

    Returns
    -------
    str
    """
    result = field.result
    known = [s.name for s in sources if s.known]
    total = result.per_year
    if result.rate is None or total is None:
        if not field.ordered:
            return "How many animals die on these roads, and where, isn't known: none was counted."
        return (
            "How many animals die on these roads isn't known: there are no surveys whose trials "
            "say how many carcasses are missed, and no tagged animals of a population of known "
            "size. Places are ranked by where more die than elsewhere."
        )
    summed = interval(total, bound_only=result.bound_only)
    watched = float(result.length_km[result.watched].sum())
    km = float(result.length_km.sum())
    on = f"on these {km:.3g} km of road"
    if result.bound_only:
        return (
            f"No death was counted by {' or '.join(known)}: {on} at most {summed.high[0]:.2g} "
            "animals die a year (one-sided 95 % bound), which is not zero."
        )
    text = (
        f"About {summed.median[0]:.2g} animals die a year {on} (90 % interval "
        f"{summed.low[0]:.2g} to {summed.high[0]:.2g}), as {' and '.join(known)} say."
    )
    if watched < 0.95 * km:
        seen = interval(result.length_km[result.watched] @ result.rate[result.watched])
        text += (
            f" On the {watched:.3g} km that these watched it is {seen.median[0]:.2g} "
            f"({seen.low[0]:.2g} to {seen.high[0]:.2g}); the rest is judged from roads like them."
        )
    return text


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
