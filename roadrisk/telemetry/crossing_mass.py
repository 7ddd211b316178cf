"""Crossing-days of drawn paths laid on the road: who, in which draw, on which lixel, how much."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from collections.abc import Sequence

    from roadrisk.roads.network import Floats, Ints, Lixels
    from roadrisk.telemetry.movement_draws import Drawn


@dataclass(frozen=True, eq=False)
class CrossingMass:
    """Crossing-days on lixels, one row an animal, draw and lixel, sorted in that order.

    A day on which an animal crosses one edge of the network several times counts once: it is
    shared out evenly over these crossings. So the shares of all lixels of a road add up to the
    days on which it was crossed, and neighbouring pieces of road can be added up.

    Attributes
    ----------
    animal : ndarray of int64, shape (n,)
        Row of `animals`.
    draw : ndarray of int64, shape (n,)
    lixel : ndarray of int64, shape (n,)
        The leading carriageway's where a road has two.
    days : ndarray, shape (n,)
        Crossing-days.
    along_m : ndarray, shape (n,)
        Mean place of these crossings from the lixel's beginning [m].
    animals : tuple of str
        organismID of every animal that paths were drawn for, crossing or not.
    draws : int
        Paths drawn an animal.
    """

    animal: Ints
    draw: Ints
    lixel: Ints
    days: Floats
    along_m: Floats
    animals: tuple[str, ...]
    draws: int

    def by_lixel(self) -> tuple[Ints, Ints, Floats, Floats]:
        """Return animal, lixel, expected crossing-days there, and mean place [m], by animal.

        Returns
        -------
        animal, lixel : ndarray of int64, shape (pairs,)
        days, along_m : ndarray, shape (pairs,)
        """
        pairs, row = np.unique(
            np.column_stack([self.animal, self.lixel]), axis=0, return_inverse=True
        )
        row = row.ravel()
        total = np.bincount(row, self.days, len(pairs))
        along = np.bincount(row, self.days * self.along_m, len(pairs)) / total
        return pairs[:, 0], pairs[:, 1], total / max(self.draws, 1), along


def lay_crossings(
    drawn: Sequence[Drawn],
    animals: Sequence[str],
    lixels: Lixels,
    draws: int,
    partner: Ints | None = None,
) -> CrossingMass:
    """Lay the crossings of drawn paths on lixels.

    Parameters
    ----------
    drawn : sequence of Drawn
        One an animal.
    animals : sequence of str
        Their organismID.
    lixels : Lixels
    draws : int
        Paths drawn an animal.
    partner : ndarray of int64, shape (lixels,), optional
        For every lixel the one on which it is counted (`roads.bands.partner_lixels`): an
        animal that crosses both carriageways of a road on one day makes one crossing-day.

    Returns
    -------
    CrossingMass
    """
    parts = []
    for k, d in enumerate(drawn):
        own = lixels.at(d.edge, d.offset_m)
        lixel = own if partner is None else partner[own]
        along = np.where(lixel == own, d.offset_m - lixels.start_m[own], lixels.length_m[lixel] / 2)
        once = np.column_stack([d.draw, d.day, lixels.edge[lixel]])
        _, day, times = np.unique(once, axis=0, return_inverse=True, return_counts=True)
        share = 1.0 / times[day.ravel()]
        key = d.draw * len(lixels) + lixel
        rows, row = np.unique(key, return_inverse=True)
        total = np.bincount(row, share, len(rows))
        place = np.bincount(row, share * along, len(rows)) / total
        parts.append((np.full(len(rows), k), rows // len(lixels), rows % len(lixels), total, place))
    columns = [np.concatenate([p[c] for p in parts]) if parts else np.empty(0) for c in range(5)]
    animal, draw, lixel = (column.astype(np.int64) for column in columns[:3])
    days, mean = (column.astype(np.float64) for column in columns[3:])
    return CrossingMass(animal, draw, lixel, days, mean, tuple(animals), draws)
