"""How many deaths: the level that sources with a known chance of counting give."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Sequence

    from roadrisk.mortality.joint_layout import KnownChance, Layout
    from roadrisk.mortality.joint_scales import Draws
    from roadrisk.mortality.sources import Source
    from roadrisk.roads.network import Floats


def deaths_on_watched(
    known: Sequence[Source],
    chances: dict[int, KnownChance],
    log_rate: Floats,
    watched: np.ndarray,
    length_km: Floats,
    layout: Layout | None,
    drawn: Draws | None,
    rng: np.random.Generator,
) -> Floats:
    """Draw the deaths a year on all watched pieces together.

    Parameters
    ----------
    known : sequence of Source
        All with a known chance.
    chances : dict of int to KnownChance
        Of each of them, by number.
    log_rate : ndarray, shape (pieces, draws)
        Draws of the log rate; its level doesn't matter.
    watched : ndarray of bool, shape (pieces,)
        Pieces that any of the sources watched.
    length_km : ndarray, shape (pieces,)
    layout, drawn : Layout and Draws, or None
        Of the fit to these sources, whose draws of the chances go with those of `log_rate`;
        None where they counted nothing: chances are then as the trials say.
    rng : numpy.random.Generator

    Returns
    -------
    ndarray, shape (draws,)

    Notes
    -----
    Given where and the chances, the sum of all counts is Poisson with the level times a known
    number, so the level is gamma: shape counted + 1/2 (Jeffreys' prior), or 1 where nothing was
    counted (a flat prior), whose 95 % point is then 3.0 over the effort, the usual bound.
    Clumps of a known source are mean 1 in this sum.
    """
    draws = log_rate.shape[1]
    counted = sum(source.counted for source in known)
    centred = np.exp(log_rate - log_rate.max(axis=0))
    per_level = np.zeros(draws)
    for number, source in enumerate(known):
        common, shapes = _chance_draws(number, chances[number], layout, drawn, draws, rng)
        at = chances[number].rows
        q = np.exp(chances[number].log_chance(common, shapes))
        per_level += source.exposure[at] @ (q * centred[at])
    level = rng.gamma(counted + 0.5 if counted > 0 else 1.0, size=draws) / per_level
    return np.asarray(level * (length_km[watched] @ centred[watched]))


def _chance_draws(
    number: int,
    chance: KnownChance,
    layout: Layout | None,
    drawn: Draws | None,
    draws: int,
    rng: np.random.Generator,
) -> tuple[Floats, Floats]:
    """Draws of the standardised unknowns of one chance: as fitted, or as the trials say."""
    count = chance.shapes.shape[1]
    if layout is None or drawn is None:
        return rng.standard_normal(draws), rng.standard_normal((count, draws))
    names = layout.border_name
    common = np.zeros(draws)
    if f"common of {number}" in names:
        common = drawn.border[names.index(f"common of {number}")]
    rows = [names.index(f"shape {k} of {number}") for k in range(count)]
    return common, drawn.border[rows]
