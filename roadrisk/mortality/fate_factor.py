"""Chances that a crossing kills, brought into line with the tagged animals' own fates."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from roadrisk.base.seeds import generator

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]


def chances_by_fates(
    kill: Floats, among_tagged: Floats, road_deaths_seen: int, seed: int
) -> Floats:
    """Return chances that keep the differences between roads and agree with fates in all.

    Traffic, walking speed and strip say how much more one road kills than another, but animals
    may avoid traffic or wait for gaps, which drawn paths can't tell. Tagged animals that crossed
    many times and lived say how much of the chance is left.

    Parameters
    ----------
    kill : ndarray, shape (segments, draws)
        `KillChance.draws`.
    among_tagged : ndarray, shape (draws,)
        `CrossingDeaths.among_tagged`: road deaths to expect by `kill` while animals were
        watched, above 0.
    road_deaths_seen : int
        Those that there were. Only where fates are known: an animal whose signal was lost may
        be one more.
    seed : int
        The study's.

    Returns
    -------
    ndarray, shape (segments, draws)
        `kill` times one factor a draw; 1 at most. In the precision of `kill`.

    Notes
    -----
    Deaths are a Poisson count around factor · `among_tagged` (the counts of a process with
    that compensator), with Jeffreys' prior: the factor is gamma distributed with shape deaths
    + 1/2 and rate `among_tagged`. One factor for all roads is an assumption: animals may shun
    busy roads more.
    """
    rng = generator(seed, "mortality.fate_factor")
    factor = rng.gamma(road_deaths_seen + 0.5, 1.0, len(among_tagged)) / among_tagged
    return np.asarray(np.minimum(kill * factor, 1.0), dtype=kill.dtype)
