"""The roads around the stretches that stand out, as a small study of their own.

Where a stretch begins and ends is a matter of the roads around it: in a very large study these
alone are scanned.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from roadrisk.hotspots.drawn_masses import unit_weights
from roadrisk.hotspots.moves import lay_out, rules_on
from roadrisk.hotspots.strands import Strands
from roadrisk.hotspots.window_chance import windows_of_lixels
from roadrisk.roads.tiles import Part, Surroundings, part_of_network

if TYPE_CHECKING:
    from roadrisk.hotspots.events import Events
    from roadrisk.hotspots.scan import Run
    from roadrisk.roads.network import Ints, Lixels, Network

# Stretches whose ends are looked for, from the longest down, in a study that is made in tiles.
MOST_STRETCHES = 10


@dataclass(frozen=True, eq=False)
class Near:
    """Some windows of road with all groups that move within them.

    Attributes
    ----------
    part : Part
        Its roads.
    events : Events
        On the part's lixels, and on `strands`; no unit weighs more than one event in the whole
        study (`drawn_masses.unit_weights`).
    strands : Strands
        The windows, one after the other.
    rows : ndarray of int64
        Which pieces of the whole study these are.
    """

    part: Part
    events: Events
    strands: Strands
    rows: Ints

    def runs_in_whole(self, runs: tuple[Run, ...]) -> tuple[Run, ...]:
        """Return runs with the lixels' numbers in the whole study."""
        return tuple(replace(run, lixel=self.part.lixel[run.lixel]) for run in runs)


def near_stretches(
    network: Network,
    lixels: Lixels,
    tested: Events,
    strands: Strands,
    stretch: Ints,
    *,
    longest_m: float,
    most: int = MOST_STRETCHES,
) -> Near:
    """Take the roads that runs through the longest stretches can reach.

    Parameters
    ----------
    network : Network
    lixels : Lixels
    tested : Events
    strands : Strands
    stretch : ndarray of int64, shape (lixels,)
        Of `stretches.join_stretches`.
    longest_m : float
        Length that a run may have [m].
    most : int
        So many stretches, from the longest down.

    Returns
    -------
    Near
        Groups that may go anywhere on the network move within these roads.
    """
    hot = np.unique(lixels.edge[(stretch > 0) & (stretch <= most)])
    edge = Surroundings(network).around(hot, longest_m)
    window = windows_of_lixels(strands)
    on = np.zeros(network.edges, np.bool_)
    on[edge] = True
    chosen = np.unique(window[on[lixels.edge] & (window >= 0)])
    inside = np.isin(window, chosen)
    part = part_of_network(
        network, lixels, np.union1d(edge, np.unique(lixels.edge[inside])).astype(np.int64)
    )
    small = _strands_of(strands, window, chosen, part)
    rows = _pieces_within(tested, strands, chosen, part, small)
    lixel = np.searchsorted(part.lixel, tested.lixel[rows])
    position = small.lixel_start_m[lixel] + (
        tested.position_m[rows] - strands.lixel_start_m[tested.lixel[rows]]
    )
    units, unit = np.unique(tested.unit[rows], return_inverse=True)
    events = replace(
        tested, lixel=lixel, position_m=position, weight=unit_weights(tested)[rows],
        event=tested.event[rows], unit=unit.astype(np.int64), kind=tested.kind[rows],
        block=np.unique(tested.block[rows], return_inverse=True)[1].astype(np.int64),
        unit_is_observer=tested.unit_is_observer[units],
        unit_names=tuple(tested.unit_names[u] for u in units),
        rule=None if tested.rule is None else tested.rule[rows], shown=None,
    )  # fmt: skip
    return Near(part, events, small, rows)


def _strands_of(strands: Strands, window: Ints, chosen: Ints, part: Part) -> Strands:
    """Lay the chosen windows one after the other, as they follow on the long line."""
    of_slot = window[strands.order]
    slots = np.flatnonzero(np.isin(of_slot, chosen))
    order = np.searchsorted(part.lixel, strands.order[slots]).astype(np.int64)
    length = strands.lixel_length_m[part.lixel]
    cut = np.concatenate([[0.0], np.cumsum(length[order])])
    start = np.full(len(part.lixel), np.nan)
    start[order] = cut[:-1]
    last = np.flatnonzero(np.append(np.diff(of_slot[slots]) != 0, True))
    ends = np.concatenate([[0.0], cut[last + 1]]) if len(slots) else np.zeros(2)
    return Strands(
        start, length, strands.forward[part.lixel], order, cut, ends,
        rules_on(strands.rules, part.lixel),
    )  # fmt: skip


def _pieces_within(
    tested: Events, strands: Strands, chosen: Ints, part: Part, small: Strands
) -> Ints:
    """Return the pieces of groups at home in the chosen windows that lie on these roads."""
    middle = lay_out(tested, strands).middle
    home = np.searchsorted(strands.window_m, middle, side="right") - 1
    mine = np.isin(home, chosen)[tested.block] if len(middle) else np.zeros(0, np.bool_)
    at = np.searchsorted(part.lixel, tested.lixel).clip(0, max(len(part.lixel) - 1, 0))
    if not len(part.lixel):
        return np.zeros(0, np.int64)
    there = (part.lixel[at] == tested.lixel) & ~np.isnan(small.lixel_start_m[at])
    return np.flatnonzero(mine & there).astype(np.int64)
