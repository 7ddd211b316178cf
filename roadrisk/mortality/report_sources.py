"""The public's reports as sources of evidence: they say where, and never how many."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from roadrisk.mortality.sources import Source

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from roadrisk.roads.pieces import Pieces
    from roadrisk.sightings.counted import CountedReports

    Bools = NDArray[np.bool_]
    Floats = NDArray[np.float64]

DEAD = "public reports of dead animals"
ALIVE = "public reports of live animals"
# A crossing is never taken to kill so many times more, or less, often than the typical one:
# where hardly any does, a live animal on the road says nothing of deaths.
_FURTHEST = 30.0


def by_surveys(counted: CountedReports, event_ids: frozenset[str]) -> Bools:
    """Tell which placed reports were made by a survey of the study.

    Parameters
    ----------
    counted : CountedReports
    event_ids : frozenset of str
        eventID of all surveys.

    Returns
    -------
    ndarray of bool, shape (placed reports,)
    """
    return counted.placed.table["eventID"].isin(event_ids).to_numpy(bool)


def report_sources(
    counted: CountedReports,
    surveyed: Bools,
    pieces: Pieces,
    typical_chance: Floats,
    years: float,
) -> tuple[Source, ...]:
    """Return public reports of dead and of live animals as two sources.

    Parameters
    ----------
    counted : CountedReports
    surveyed : ndarray of bool, shape (placed reports,)
        `by_surveys`: not the public's.
    pieces : Pieces
    typical_chance : ndarray, shape (pieces,)
        Chance that a crossing there kills, as one number.
    years : float
        Length of the study [years].

    Returns
    -------
    tuple of Source
        Both without a known chance. Everybody may look anywhere, so all roads are watched. A live
        animal on a road stands for as many deaths as the chance that a crossing there kills: that
        is in its exposure, so that quiet roads with many live animals aren't taken for deadly.
    """
    vitality = counted.placed.table["vitality"].to_numpy(object)
    watched = pieces.length_km * years
    kept = typical_chance[typical_chance > 0]
    middle = float(np.exp(np.log(kept).mean())) if len(kept) else 1.0
    fewer = np.clip(middle / np.maximum(typical_chance, 1e-12), 1 / _FURTHEST, _FURTHEST)
    return (
        Source(DEAD, _on_pieces(counted, pieces, (vitality == "dead") & ~surveyed), watched, None,
               True),
        Source(ALIVE, _on_pieces(counted, pieces, (vitality == "alive") & ~surveyed),
               watched * fewer, None, True),
    )  # fmt: skip


def _on_pieces(counted: CountedReports, pieces: Pieces, chosen: Bools) -> Floats:
    placement = counted.placed.placement
    mine = chosen[placement.point]
    piece = pieces.of_lixel[placement.lixel[mine]]
    return np.bincount(piece, placement.weight[mine], len(pieces)).astype(np.float64)
