"""Redrawn events under the clustered null model, as masses on lixels and as places on roads.

The same draws as in `chance`: a group of events that belong together moves as a whole, as
`moves` says. What the scan and network K compare the observed events with.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
from scipy import sparse

from roadrisk.hotspots.moves import lay_out

if TYPE_CHECKING:
    from roadrisk.hotspots.events import Bools, Events
    from roadrisk.hotspots.moves import Layout
    from roadrisk.hotspots.strands import Strands
    from roadrisk.roads.network import Floats, Ints, Lixels


_ROUNDED = 4.0  # [m]
# Shares of pieces on lixels that are kept for `ExpectedMasses`: some 100 MB.
MOST_SHARES = 8_000_000


def unit_weights(events: Events, most: float = 1.0, weight: Floats | None = None) -> Floats:
    """Weights of pieces so that no animal or observer counts for more than `most` events.

    Parameters
    ----------
    events : Events
    most : float
        An animal that crosses at one place 30 times is one animal, not 30 pieces of evidence.
    weight : ndarray, shape (pieces,), optional
        In place of the events' own.

    Returns
    -------
    ndarray, shape (pieces,)
        Adding up to `most` or less for each unit. Not for each group: an animal that lives at a
        junction has a group on every arm, and would count for several (in simulated studies
        the scan then gave three times as many false alarms as it should).
    """
    own = events.weight if weight is None else weight
    whole = np.bincount(events.unit, own, minlength=events.units)
    return np.asarray(own * np.minimum(1.0, most / np.maximum(whole, 1e-300))[events.unit])


def drawn_masses(
    events: Events, strands: Strands, weight: Floats, *, draws: int, rng: np.random.Generator
) -> sparse.csr_array[Any, tuple[int, int]]:
    """Masses on lixels when every group lies at a random place where it may go.

    Parameters
    ----------
    events : Events
    strands : Strands
    weight : ndarray, shape (pieces,)
        E.g. of `unit_weights`.
    draws : int
    rng : numpy.random.Generator

    Returns
    -------
    scipy.sparse.csr_array, shape (draws, lixels)
    """
    pieces, lixels = len(weight), len(strands.lixel_length_m)
    layout = lay_out(events, strands)
    rows = []
    for start in range(0, draws, 100):
        count = min(100, draws - start)
        position = layout.positions(rng.random((count, events.blocks)))
        lixel = _slots(strands, position).ravel()
        row = np.repeat(np.arange(count), pieces)
        rows.append(
            sparse.coo_array((np.tile(weight, count), (row, lixel)), (count, lixels)).tocsr()
        )
    if not rows:
        return sparse.csr_array((0, lixels))
    return sparse.csr_array(sparse.vstack(rows))


class ExpectedMasses:
    """Mean masses on lixels over all draws of `drawn_masses`, without drawing.

    Parameters
    ----------
    events : Events
    strands : Strands

    Notes
    -----
    Where every metre is alike, a piece at the offset o from its group's middle lies evenly on
    the window from o on and, folded back, on the window's last o metres (o taken modulo twice
    the window; past its length the same from the other end). Elsewhere it lies as the middle
    does, moved by o and folded; o is then rounded to a few metres (`_ROUNDED`), more coarsely on
    very large networks.
    """

    def __init__(self, events: Events, strands: Strands) -> None:
        self._strands = strands
        self._layout = lay_out(events, strands)
        rated = self._layout.rule[events.block] >= 0 if events.blocks else np.zeros(0, bool)
        self._even = np.flatnonzero(~rated)
        self._rated = np.flatnonzero(rated)
        if rated.any():
            self._row, self._rows = _rows_of(self._layout, strands, rated)

    def of(self, weight: Floats) -> Floats:
        """Return the mean masses.

        Parameters
        ----------
        weight : ndarray, shape (pieces,)

        Returns
        -------
        ndarray, shape (lixels,)
        """
        mass = self._even_mass(weight)
        if len(self._rated):
            heavy = np.bincount(self._row, weight[self._rated], minlength=self._rows.shape[0])
            mass = mass + np.asarray(self._rows.T @ heavy)
        out = np.zeros(len(self._strands.lixel_length_m))
        out[self._strands.order] = mass
        return out

    def _even_mass(self, weight: Floats) -> Floats:
        """By length of road within the window, on the line's lixels."""
        laid, block = self._layout, self._layout.block[self._even]
        lo, span = laid.low[block], (laid.high - laid.low)[block]
        o = laid.offset[self._even] % (2.0 * span)
        over = o >= span
        near = np.where(over, o - span, o)
        begin = [np.where(over, 0.0, near), np.where(over, 0.0, span - near)]
        end = [np.where(over, span - near, span), np.where(over, near, span)]
        at = np.concatenate([lo + begin[0], lo + begin[1], lo + end[0], lo + end[1]])
        rate = weight[self._even] / span
        step = np.concatenate([rate, rate, -rate, -rate])
        order = np.argsort(at, kind="stable")
        at, step = at[order], step[order]
        slope, moment = (np.concatenate([[0.0], np.cumsum(v)]) for v in (step, step * at))
        cut = self._strands.cut_m
        k = np.searchsorted(at, cut, side="right")
        return np.asarray(np.maximum(np.diff(slope[k] * cut - moment[k]), 0.0))


def _rows_of(
    laid: Layout, strands: Strands, rated: Bools
) -> tuple[Ints, sparse.csr_array[Any, tuple[int, int]]]:
    """Where pieces lie on average: one row for all that share rule, road and offset."""
    cut, block = strands.cut_m, laid.block[rated]
    span = (laid.high - laid.low)[block]
    offset = laid.offset[rated] % (2.0 * span)
    step, slots = _ROUNDED, np.searchsorted(cut, [laid.low[block], laid.high[block]])
    while True:
        key = np.column_stack([laid.rule[block], laid.low[block], np.round(offset / step)])
        _, first, row = np.unique(key, axis=0, return_index=True, return_inverse=True)
        if (slots[1] - slots[0])[first].sum() <= MOST_SHARES or step > cut[-1]:
            break
        step *= 2
    rows, columns, shares = [], [], []
    for number, k in enumerate(first.tolist()):
        low, width = laid.low[block[k]], span[k]
        begin = max(int(np.searchsorted(cut, low, side="right")) - 1, 0)
        last = int(np.searchsorted(cut, low + width))
        up_to = np.clip(cut[begin : last + 1] - low, 0.0, width)
        summed = laid.sums[laid.rule[block[k]]]
        o = np.round(offset[k] / step) * step
        # Folded back, a place lies below t where the middle lies within t of -o or of
        # 2 width - o.
        below = np.zeros(len(up_to))
        for centre in (-o, 2 * width - o):
            for sign in (1.0, -1.0):
                at = low + np.clip(centre + sign * up_to, 0.0, width)
                below += sign * np.interp(at, cut, summed)
        whole = np.interp(low + width, cut, summed) - np.interp(low, cut, summed)
        rows.append(np.full(last - begin, number))
        columns.append(np.arange(begin, last))
        shares.append(np.maximum(np.diff(below) / whole, 0.0))
    where = (np.concatenate(rows), np.concatenate(columns))
    size = (len(first), len(strands.order))
    return row.ravel(), sparse.csr_array(sparse.coo_array((np.concatenate(shares), where), size))


def drawn_places(
    events: Events, strands: Strands, lixels: Lixels, rng: np.random.Generator
) -> tuple[Ints, Floats]:
    """Places of all pieces in one draw.

    Parameters
    ----------
    events : Events
    strands : Strands
    lixels : Lixels
    rng : numpy.random.Generator

    Returns
    -------
    edge : ndarray of int64, shape (pieces,)
    offset_m : ndarray, shape (pieces,)
        Along the edge [m].
    """
    position = lay_out(events, strands).positions(rng.random((1, events.blocks)))[0]
    return places_on_roads(strands, lixels, position)


def places_on_roads(strands: Strands, lixels: Lixels, position_m: Floats) -> tuple[Ints, Floats]:
    """Turn positions on the long line into places on roads.

    Parameters
    ----------
    strands : Strands
    lixels : Lixels
    position_m : ndarray, shape (n,)
        E.g. `Events.position_m`, so that observed and drawn events are placed alike.

    Returns
    -------
    edge : ndarray of int64, shape (n,)
    offset_m : ndarray, shape (n,)
        Along the edge [m].
    """
    lixel = _slots(strands, position_m)
    into = np.clip(position_m - strands.lixel_start_m[lixel], 0.0, lixels.length_m[lixel])
    forward = strands.forward[lixel]
    offset = np.where(forward, lixels.start_m[lixel] + into, lixels.end_m[lixel] - into)
    return lixels.edge[lixel], offset


def _slots(strands: Strands, position: Floats) -> Ints:
    slot = np.searchsorted(strands.cut_m, position, side="right") - 1
    return strands.order[np.clip(slot, 0, len(strands.order) - 1)]
