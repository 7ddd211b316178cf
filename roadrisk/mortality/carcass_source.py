"""Carcass surveys as a source of evidence for the model of all sources."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from roadrisk.mortality.sources import Source

if TYPE_CHECKING:
    from roadrisk.mortality.carcass_deaths import CarcassDeaths
    from roadrisk.roads.pieces import Pieces

NAME = "carcass surveys"
# Where trials leave a chance open to zero its log stays a number.
_LEAST = -50.0


def carcass_source(deaths: CarcassDeaths, pieces: Pieces) -> Source:
    """Return what surveys found on pieces of road, with the chance that a death was counted.

    Parameters
    ----------
    deaths : CarcassDeaths
    pieces : Pieces
        Of the same lixels.

    Returns
    -------
    Source
        Its chance is that of all sizes together; on a piece whose lixels were searched on
        different days the mean of theirs, by road and time watched. Free (None) where deaths
        aren't identified: the surveys then say where and not how many.
    """
    exposure = deaths.exposure_km_years
    on_pieces = pieces.sums(exposure)
    counted = pieces.sums(deaths.counted.sum(axis=0))
    if not deaths.identified:
        return Source(NAME, counted, on_pieces, None)
    chance = np.exp(deaths.log_chance)
    summed = np.zeros((len(pieces), chance.shape[1]))
    watched = np.flatnonzero(exposure > 0)
    np.add.at(
        summed,
        pieces.of_lixel[watched],
        exposure[watched, None] * chance[deaths.schedule[watched]],
    )
    some = on_pieces > 0
    log_q = np.zeros_like(summed)
    with np.errstate(divide="ignore"):
        log_q[some] = np.maximum(np.log(summed[some] / on_pieces[some, None]), _LEAST)
    return Source(NAME, counted, on_pieces, log_q)
