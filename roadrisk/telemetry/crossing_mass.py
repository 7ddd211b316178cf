"""Crossing-days of drawn paths laid on the road: who, in which draw, on which lixel, how much."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np

from roadrisk.telemetry.movement_counts import by_day, shared_days

if TYPE_CHECKING:
    from collections.abc import Sequence

    from numpy.typing import NDArray

    from roadrisk.roads.network import Floats, Ints, Lixels
    from roadrisk.telemetry.movement_draws import Drawn


@dataclass(frozen=True, eq=False)
class CrossingMass:
    """Crossing-days on lixels, one row an animal, draw and lixel, sorted in that order.

    A day on which an animal crosses one edge of the network several times counts once: it is
    shared out evenly over these crossings. So the shares of all lixels of a road add up to the
    days on which it was crossed, and neighbouring pieces of road can be added up.

    There may be tens of millions of rows: numbers are kept short.

    Attributes
    ----------
    animal : ndarray of int32, shape (n,)
        Row of `animals`.
    draw : ndarray of int32, shape (n,)
    lixel : ndarray of int32, shape (n,)
        The leading carriageway's where a road has two.
    days : ndarray of float32, shape (n,)
        Crossing-days.
    along_m : ndarray of float32, shape (n,)
        Mean place of these crossings from the lixel's beginning [m].
    animals : tuple of str
        organismID of every animal that paths were drawn for, crossing or not.
    draws : int
        Paths drawn an animal.
    """

    animal: NDArray[np.int32]
    draw: NDArray[np.int32]
    lixel: NDArray[np.int32]
    days: NDArray[np.float32]
    along_m: NDArray[np.float32]
    animals: tuple[str, ...]
    draws: int

    def by_lixel(self) -> tuple[Ints, Ints, Floats, Floats]:
        """Return animal, lixel, expected crossing-days there, and mean place [m], by animal.

        Returns
        -------
        animal, lixel : ndarray of int64, shape (pairs,)
        days, along_m : ndarray, shape (pairs,)
        """
        size = int(self.lixel.max(initial=0)) + 1
        pairs, row = np.unique(
            self.animal.astype(np.int64) * size + self.lixel, return_inverse=True
        )
        total = np.bincount(row, self.days, len(pairs))
        along = np.bincount(row, self.days * self.along_m, len(pairs)) / total
        return pairs // size, pairs % size, total / max(self.draws, 1), along


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
    parts: list[tuple[Any, ...]] = []
    length_m = lixels.length_m
    edges = int(lixels.edge.max(initial=0)) + 1
    for k, one in enumerate(drawn):
        d = by_day(one)
        own = lixels.at(d.edge, d.offset_m)
        lixel = own if partner is None else partner[own]
        along = np.where(lixel == own, d.offset_m - lixels.start_m[own], length_m[lixel] / 2)
        of_draw, place, total, mean = shared_days(
            d, lixel, len(lixels), lixels.edge[lixel], edges, along
        )
        parts.append((
            np.full(len(place), k, np.int32), of_draw.astype(np.int32), place.astype(np.int32),
            total.astype(np.float32), mean.astype(np.float32),
        ))  # fmt: skip
    kinds = (np.int32, np.int32, np.int32, np.float32, np.float32)
    animal, draw, lixel_of, days, mean_m = (
        np.concatenate([np.empty(0, kind), *(p[c] for p in parts)]) for c, kind in enumerate(kinds)
    )
    return CrossingMass(animal, draw, lixel_of, days, mean_m, tuple(animals), draws)
