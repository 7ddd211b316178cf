"""Pieces of road that the comparison with chance is made on: longer ones in very large studies."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np
from scipy import sparse

from roadrisk.hotspots.near_stretches import MOST_STRETCHES
from roadrisk.roads.bands import partner_lixels
from roadrisk.roads.lixels import lay_lixels

if TYPE_CHECKING:
    from roadrisk.hotspot_settings import HotspotsSection
    from roadrisk.hotspots.chance import Chance
    from roadrisk.hotspots.events import Events
    from roadrisk.hotspots.points import Points
    from roadrisk.hotspots.watching import Watching
    from roadrisk.roads.network import Floats, Ints, Lixels, Network
    from roadrisk.telemetry.crossing_mass import CrossingMass

# With more lixels, or more pieces of events in all draws together, than this a study is large.
MOST_LIXELS = 1_000_000
MOST_PIECES = 20_000_000
# Lixels of the comparison are then this part of the kernel's half-width.
PART_OF_HALF_WIDTH = 1 / 4
# Parts of one group (what moves together, of one animal or observer) that lie within this part of
# it are moved as one, at their mean; the kernel laid on them is four times as wide.
JOINED_OF_HALF_WIDTH = 1 / 2


@dataclass(frozen=True, eq=False)
class Level:
    """The lixels that groups are moved on, and how those that are shown lie in them.

    Attributes
    ----------
    shown, lixels : Lixels
        The same ones but in a large study.
    partner : ndarray of int64, shape (lixels,)
        The lixel on which events are counted.
    of_shown : ndarray of int64, shape (lixels shown,), or None
        The lixel that each one lies in, by its middle; None where they are the same.
    large : bool
        Whether the study is worked out in tiles.
    note : str
        What a reader must know of it, or "".
    """

    shown: Lixels
    lixels: Lixels
    partner: Ints
    of_shown: Ints | None = None
    large: bool = False
    note: str = ""

    def points(self, points: Points) -> Points:
        """Return points on these lixels; `Points.shown` keeps where they are shown."""
        if self.of_shown is None:
            return points
        lixel = self.partner[self.of_shown[points.lixel]]
        along = self.shown.start_m[points.lixel] + points.along_m - self.lixels.start_m[lixel]
        length = self.lixels.end_m[lixel] - self.lixels.start_m[lixel]
        same = self.lixels.edge[lixel] == self.shown.edge[points.lixel]
        along = np.where(same, np.clip(along, 0.0, length), length / 2)
        return replace(points, lixel=lixel, along_m=along, shown=points.lixel)

    def mass(self, mass: CrossingMass) -> CrossingMass:
        """Return crossing-days on these lixels."""
        if self.of_shown is None:
            return mass
        lixel = self.partner[self.of_shown[mass.lixel]].astype(np.int32)
        return replace(mass, lixel=lixel)

    def watching(self, watching: Watching) -> Watching:
        """Return survey effort and other reports on these lixels."""
        if self.of_shown is None:
            return watching
        effort, background = watching.effort, watching.background
        if effort is not None:
            to = self.partner[self.of_shown]
            fold = sparse.csr_array(
                (np.ones(len(to)), (np.arange(len(to)), to)), shape=(len(to), len(self.lixels))
            )
            effort = replace(effort, amount=sparse.csr_array(effort.amount @ fold))
        if background is not None:
            placed = background.placement
            placed = replace(placed, lixel=self.of_shown[placed.lixel])
            background = replace(background, placement=placed)
        return replace(watching, effort=effort, background=background)

    def events_shown(self, events: Events) -> Events:
        """Return events on the lixels that are shown."""
        return events if events.shown is None else replace(events, lixel=events.shown)

    def on_shown(self, values: Floats | Ints) -> Floats | Ints:
        """Return values of these lixels on those that are shown."""
        return values if self.of_shown is None else values[self.of_shown]

    def chance_shown(self, chance: Chance) -> Chance:
        """Return the comparison on the lixels that are shown."""
        if self.of_shown is None:
            return chance
        return replace(
            chance, statistic=chance.statistic[self.of_shown], p_value=chance.p_value[self.of_shown]
        )

    def spans_shown(self, spans: list[Ints]) -> list[Ints]:
        """Return runs of lixels as runs of those that are shown, from the same end on."""
        if self.of_shown is None:
            return spans
        out = []
        for span in spans:
            place = {int(lixel): n for n, lixel in enumerate(span)}
            edges = np.unique(self.lixels.edge[span])
            inside = np.concatenate([
                np.arange(self.shown.first[e], self.shown.first[e + 1]) for e in edges
            ])  # fmt: skip
            at = np.array([place.get(int(k), -1) for k in self.of_shown[inside]])
            inside, at = inside[at >= 0], at[at >= 0]
            # Along an edge that the run passes backwards, backwards.
            ahead = np.ones(len(span))
            turned = np.diff(span) == -1
            ahead[:-1][turned] = ahead[1:][turned] = -1.0
            out.append(inside[np.lexsort((ahead[at] * inside, at))].astype(np.int64))
        return out


def level_of(
    network: Network, lixels: Lixels, partner: Ints, pieces: int, *, settings: HotspotsSection
) -> Level:
    """Choose the lixels that the comparison with chance is made on.

    Parameters
    ----------
    network : Network
    lixels : Lixels
        Those that are shown.
    partner : ndarray of int64, shape (lixels,)
        The lixel on which events are counted.
    pieces : int
        Of crossings and reports on lixels.
    settings : HotspotsSection

    Returns
    -------
    Level
        In small studies, and with kernels and choices that are made at once only, `lixels`
        themselves.
    """
    tiled = settings.kernel in ("continuous", "discontinuous") and not settings.edge_correction
    tiled &= settings.bandwidth_from == "setting"
    if not tiled or (len(lixels) <= MOST_LIXELS and pieces * settings.draws <= MOST_PIECES):
        return Level(lixels, lixels, partner)
    length = settings.bandwidth_m * PART_OF_HALF_WIDTH
    if length < 1.5 * settings.lixel_m:
        return Level(lixels, lixels, partner, large=True)
    longer = lay_lixels(network, length)
    middle = (lixels.start_m + lixels.end_m) / 2
    note = (
        f"So large a study is compared with chance on pieces of road of about {length:g} m, a "
        "quarter of the kernel's half-width, and what one animal or observer has within "
        f"{2 * length:g} m there counts as at one place; maps and lists are of pieces of about "
        f"{settings.lixel_m:g} m. Stretches begin and end where such a longer piece does; ends are "
        f"looked for at the {MOST_STRETCHES} longest."
    )
    return Level(
        lixels, longer, partner_lixels(network, longer), longer.at(lixels.edge, middle), True, note
    )
