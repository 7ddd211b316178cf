"""On which roads measures are weighed: all, or in a large network those where most die."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from roadrisk.base.plain_numbers import number
from roadrisk.base.units import M_PER_MILE

if TYPE_CHECKING:
    from roadrisk.base.units import Units
    from roadrisk.mitigation.lines import RoadLines
    from roadrisk.roads.network import Floats

Bools = NDArray[np.bool_]
# So many places have a million and more candidates, which are weighed in seconds.
MOST_PLACES = 30_000


def weighed_places(lines: RoadLines, deaths: Floats, most: int = MOST_PLACES) -> Bools:
    """Return the places on which measures are weighed.

    Parameters
    ----------
    lines : RoadLines
    deaths : ndarray, shape (places, draws)
        A year, or shares.
    most : int
        Places. A network with more is weighed on whole lines of road, the one with the most
        deaths per metre at one of its places first, as far as `most` goes.

    Returns
    -------
    ndarray of bool, shape (places,)
    """
    if len(lines.piece) <= most:
        return np.ones(len(lines.piece), dtype=bool)
    worst = np.maximum.reduceat(deaths.mean(axis=1) / lines.length_m, lines.first[:-1])
    order = np.argsort(-worst, kind="stable")
    size = np.diff(lines.first)
    taken = np.zeros(len(lines), dtype=bool)
    taken[order[np.cumsum(size[order]) <= most]] = True
    return np.repeat(taken, size)


def left_out_words(
    lines: RoadLines, deaths: Floats, weighed: Bools, *, known: bool, units: Units
) -> tuple[str, ...]:
    """Say where no measure was weighed, and how bad it is there.

    Parameters
    ----------
    lines : RoadLines
    deaths : ndarray, shape (places, draws)
    weighed : ndarray of bool, shape (places,)
        Of `weighed_places`.
    known : bool
        Whether deaths are deaths, not shares of them.
    units : {"metric", "us"}

    Returns
    -------
    tuple of str
        Empty where all roads were weighed.
    """
    if weighed.all():
        return ()
    mean = deaths.mean(axis=1)
    share = 100 * mean[weighed].sum() / max(mean.sum(), 1e-300)
    words = (
        f"Measures were weighed on the {weighed.sum():,} of {len(weighed):,} places on roads where "
        f"most die ({number(share)} % of all deaths)"
    )
    if not known:
        return (f"{words}.",)
    unit, unit_m = ("km", 1000.0) if units == "metric" else ("mile", M_PER_MILE)
    worst = unit_m * float((mean / lines.length_m)[~weighed].max())
    return (
        f"{words}; no place elsewhere has more than {number(worst)} deaths per {unit} and year.",
    )
