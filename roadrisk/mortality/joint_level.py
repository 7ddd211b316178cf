"""How many deaths: the level that sources with a known chance of counting give."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Protocol

import numpy as np

from roadrisk.mortality.draw_sums import blocks, weighted
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
    rate: Floats,
    watched: np.ndarray,
    length_km: Floats,
    told: Told | None,
    rng: np.random.Generator,
) -> Floats:
    """Draw the deaths a year on all watched pieces together.

    Parameters
    ----------
    known : sequence of Source
        All with a known chance.
    chances : KnownChances
    rate : ndarray, shape (pieces, draws)
        Draws of the rate; its level doesn't matter.
    watched : ndarray of bool, shape (pieces,)
        Pieces that any of the sources watched.
    length_km : ndarray, shape (pieces,)
    told : Told or None
        Of the fit to these sources, whose draws of the chances go with those of `rate`; None
        where they counted nothing: chances are then as the trials say.
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
    draws = rate.shape[1]
    counted = sum(source.counted for source in known)
    per_level = np.zeros(draws)
    factors = _drawn("common", chances.loading.shape[1], told, draws, rng)
    alone = all(source.overdispersed for source in known)
    for number, source in enumerate(known):
        chance = chances.of[number]
        count = chance.shapes.shape[1]
        shapes = _drawn(f"shape of {number}", count, told, draws, rng)
        for part in blocks(len(chance.rows)):
            at = chance.rows[part]
            q = np.exp(chance.log_chance(chances.loading[number] @ factors, shapes, part))
            clumps = 1.0 if alone or told is None else told.clumps_of(number, part)
            per_level += source.exposure[at] @ (q * rate[at] * clumps)
    level = rng.gamma(counted + 0.5 if counted > 0 else 1.0, size=draws) / per_level
    return np.asarray(level * weighted(length_km, rate, watched))


def chances_moved(
    known: Sequence[Source], chances: KnownChances, told: Told | None
) -> dict[str, float]:
    """Say how far sources that share a world moved each other's chances.

    Parameters
    ----------
    known : sequence of Source
    chances : KnownChances
    told : Told or None
        As in `deaths_on_watched`.

    Returns
    -------
    dict of str to float
        Factor on the chance of being counted, by name; 1 where nothing moved it. Clumps that
        for sure lie all on one side count too: where one source found next to nothing, another
        that counts much is fitted as one great clump.
    """
    if told is None or len(known) < 2:
        return {source.name: 1.0 for source in known}
    count = chances.loading.shape[1]
    factors = told.border_of([f"common {k}" for k in range(count)])
    moved = chances.loading @ factors.mean(axis=1)
    alone = all(source.overdispersed for source in known)
    return {
        source.name: float(np.exp(moved[k] * chances.of[k].spread))
        * (1.0 if alone else _one_sided(k, source, chances.of[k], told))
        for k, source in enumerate(known)
    }


def _one_sided(number: int, source: Source, chance: KnownChance, told: Told) -> float:
    """Mean clump of a source, by what it was to count; 1 where it may be as well above as below."""
    weight = source.exposure[chance.rows] * np.exp(chance.middle - chance.middle.max())
    weight = weight / weight.sum()
    mean: Floats | float = 0.0
    for part in blocks(len(chance.rows)):
        clumps = told.clumps_of(number, part)
        if isinstance(clumps, float):
            return 1.0
        mean += weight[part] @ clumps
    low, middle, high = np.quantile(mean, [0.05, 0.5, 0.95])
    return float(middle) if low > 1 or high < 1 else 1.0


def _drawn(
    name: str, count: int, told: Told | None, draws: int, rng: np.random.Generator
) -> Floats:
    """Draws of the standardised unknowns of the chances: as fitted, or as the trials say."""
    if told is None:
        return rng.standard_normal((count, draws))
    first, _, rest = name.partition(" ")
    return told.border_of([f"{first} {k} {rest}".rstrip() for k in range(count)])


class Told(Protocol):
    """What a fit to known sources tells of their chances, draw by draw."""

    def border_of(self, names: Sequence[str]) -> Floats:
        """Draws of the named columns of the border, shape (names, draws)."""

    def clumps_of(self, number: int, part: slice) -> Floats | float:
        """Draws of some of the clumps of one source, shape (rows, draws); 1 without clumps."""


@dataclass(frozen=True, eq=False)
class LaidDraws:
    """`Told` by a fit of the undivided roads.

    Attributes
    ----------
    layout : Layout
    drawn : Draws
    """

    layout: Layout
    drawn: Draws

    def border_of(self, names: Sequence[str]) -> Floats:
        """Draws of the named columns of the border, as `Told`."""
        return self.drawn.border[[self.layout.border_name.index(name) for name in names]]

    def clumps_of(self, number: int, part: slice) -> Floats | float:
        """Draws of some of the clumps of one source, as `Told`."""
        layout, drawn = self.layout, self.drawn
        rows = layout.source == number
        if not layout.clumped[rows].any():
            return 1.0
        sd = drawn.scales[layout.scales.index(KNOWN_CLUMPS)]
        inner = drawn.inner
        nodes = layout.nodes[rows][part]
        return np.asarray(np.exp(inner[nodes[:, 2]] + inner[nodes[:, 3]] - sd**2 / 2))
