"""Each observer's share of the reports nearby."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

if TYPE_CHECKING:
    from roadrisk.roads.network import Floats, Ints
    from roadrisk.sightings.linking_marks import Marks

_SHARE_CELL_M = 1000.0
_SHARE_PRIOR = 5.0  # reports' worth of the whole study in each neighbourhood


class Neighbourhoods:
    """Squares of 1 km and their neighbours, with who reported there.

    Parameters
    ----------
    m : Marks
        Its places and observers.
    """

    def __init__(self, m: Marks) -> None:
        self._there = bool(len(m.x)) and int(m.observer.max()) >= 0
        self._observer = m.observer
        if not self._there:
            return
        cell = np.column_stack([np.floor(m.x / _SHARE_CELL_M), np.floor(m.y / _SHARE_CELL_M)])
        cell = (cell - cell.min(axis=0)).astype(np.int64) + 1
        high = int(cell[:, 1].max()) + 2
        key = cell[:, 0] * high + cell[:, 1]
        self._people = int(m.observer.max()) + 1
        self._who = np.maximum(m.observer, 0)
        cells, at = np.unique(key, return_inverse=True)
        self._cell = at.reshape(-1)
        pairs, at = np.unique(key * self._people + self._who, return_inverse=True)
        self._pair = at.reshape(-1)
        # Where each cell, and each person's part of it, has its neighbours; -1 for none.
        steps = [dx * high + dy for dx in (-1, 0, 1) for dy in (-1, 0, 1)]
        self._near_cells = [_places(cells, cells + step) for step in steps]
        self._near_pairs = [_places(pairs, pairs + step * self._people) for step in steps]

    def shares(self, weight: Floats) -> Floats:
        """Return each report's observer's share of the reports nearby.

        Parameters
        ----------
        weight : ndarray
            What each report counts, so that many reports of one animal count once.

        Returns
        -------
        ndarray
            Within 1 to 2 km and the whole study together; reports without a name count as others
            and have 0.
        """
        if not self._there:
            return np.zeros(len(weight))
        own = np.where(self._observer >= 0, weight, 0.0)
        all_near = _gathered(_summed(self._cell, own), self._near_cells)[self._cell]
        mine = _gathered(_summed(self._pair, own), self._near_pairs)[self._pair]
        by_person = np.bincount(self._who, own, self._people)
        whole = by_person[self._observer] / max(own.sum(), 1e-9)
        # Left out in turn: the report itself says nothing about who else reports here.
        share = mine - own + _SHARE_PRIOR * whole
        share = share / np.maximum(all_near - own + _SHARE_PRIOR, 1e-9)
        return np.where(self._observer >= 0, np.clip(share, 1e-4, 0.98), 0.0)


def _places(keys: Ints, wanted: Ints) -> Ints:
    where = np.minimum(np.searchsorted(keys, wanted), len(keys) - 1)
    return np.where(keys[where] == wanted, where, -1)


def _summed(of: Ints, own: Floats) -> Floats:
    return np.bincount(of, own).astype(np.float64)


def _gathered(mass: Floats, near: list[Ints]) -> Floats:
    """Return what the neighbours hold together."""
    out = np.zeros(len(mass))
    for where in near:
        out += np.where(where >= 0, mass[where], 0.0)
    return out
