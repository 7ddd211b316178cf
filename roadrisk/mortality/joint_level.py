"""How many deaths: the level that sources with a known chance of counting give."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from roadrisk.mortality.joint_layout import KNOWN_CLUMPS

if TYPE_CHECKING:
    from collections.abc import Sequence

    from roadrisk.mortality.joint_layout import Layout
    from roadrisk.mortality.joint_scales import Draws
    from roadrisk.mortality.known_chances import KnownChance, KnownChances
    from roadrisk.mortality.sources import Source
    from roadrisk.roads.network import Floats


def deaths_on_watched(
    known: Sequence[Source],
    chances: KnownChances,
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
    chances : KnownChances
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
    Clumps of a known source are drawn with the rest. Where all known sources have clumps, nothing
    tells their clumps from deaths: they then change where and not how many, and that a few
    animals stand for all must be in the draws of the chance.
    """
    draws = log_rate.shape[1]
    counted = sum(source.counted for source in known)
    centred = np.exp(log_rate - log_rate.max(axis=0))
    per_level = np.zeros(draws)
    factors = _drawn("common", chances.loading.shape[1], layout, drawn, draws, rng)
    alone = all(source.overdispersed for source in known)
    for number, source in enumerate(known):
        chance = chances.of[number]
        count = chance.shapes.shape[1]
        shapes = _drawn(f"shape of {number}", count, layout, drawn, draws, rng)
        at = chance.rows
        q = np.exp(chance.log_chance(chances.loading[number] @ factors, shapes))
        clumps = 1.0 if alone else _clumps(number, layout, drawn)
        per_level += source.exposure[at] @ (q * centred[at] * clumps)
    level = rng.gamma(counted + 0.5 if counted > 0 else 1.0, size=draws) / per_level
    return np.asarray(level * (length_km[watched] @ centred[watched]))


def chances_moved(
    known: Sequence[Source], chances: KnownChances, layout: Layout | None, drawn: Draws | None
) -> dict[str, float]:
    """Say how far sources that share a world moved each other's chances.

    Parameters
    ----------
    known : sequence of Source
    chances : KnownChances
    layout, drawn : Layout and Draws, or None
        As in `deaths_on_watched`.

    Returns
    -------
    dict of str to float
        Factor on the chance of being counted, by name; 1 where nothing moved it. Clumps that
        for sure lie all on one side count too: where one source found next to nothing, another
        that counts much is fitted as one great clump.
    """
    if layout is None or drawn is None or len(known) < 2:
        return {source.name: 1.0 for source in known}
    count = chances.loading.shape[1]
    factors = drawn.border[[layout.border_name.index(f"common {k}") for k in range(count)]]
    moved = chances.loading @ factors.mean(axis=1)
    alone = all(source.overdispersed for source in known)
    return {
        source.name: float(np.exp(moved[k] * chances.of[k].spread))
        * (1.0 if alone else _one_sided(k, source, chances.of[k], layout, drawn))
        for k, source in enumerate(known)
    }


def _one_sided(
    number: int, source: Source, chance: KnownChance, layout: Layout, drawn: Draws
) -> float:
    """Mean clump of a source, by what it was to count; 1 where it may be as well above as below."""
    weight = source.exposure[chance.rows] * np.exp(chance.middle - chance.middle.max())
    clumps = _clumps(number, layout, drawn)
    if isinstance(clumps, float):
        return 1.0
    low, middle, high = np.quantile((weight / weight.sum()) @ clumps, [0.05, 0.5, 0.95])
    return float(middle) if low > 1 or high < 1 else 1.0


def _drawn(
    name: str,
    count: int,
    layout: Layout | None,
    drawn: Draws | None,
    draws: int,
    rng: np.random.Generator,
) -> Floats:
    """Draws of the standardised unknowns of the chances: as fitted, or as the trials say."""
    if layout is None or drawn is None:
        return rng.standard_normal((count, draws))
    first, _, rest = name.partition(" ")
    rows = [layout.border_name.index(f"{first} {k} {rest}".rstrip()) for k in range(count)]
    return drawn.border[rows]


def _clumps(number: int, layout: Layout | None, drawn: Draws | None) -> Floats | float:
    """Draws of the clumps of one source."""
    if layout is None or drawn is None:
        return 1.0
    rows = layout.source == number
    if not layout.clumped[rows].any():
        return 1.0
    sd = drawn.scales[layout.scales.index(KNOWN_CLUMPS)]
    inner = drawn.inner
    nodes = layout.nodes[rows]
    return np.asarray(np.exp(inner[nodes[:, 2]] + inner[nodes[:, 3]] - sd**2 / 2))
