"""Redrawn events under the clustered null model, as masses on lixels and as places on roads.

The same draws as in `chance`: a group of events that belong together moves as a whole within its
window. What the scan and network K compare the observed events with.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np
from scipy import sparse

from roadrisk.hotspots.chance import groups_in_windows

if TYPE_CHECKING:
    from roadrisk.hotspots.events import Events
    from roadrisk.hotspots.strands import Strands
    from roadrisk.roads.network import Floats, Ints, Lixels


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
    """Masses on lixels when every group lies at a random place within its window.

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
    layout = groups_in_windows(events, strands)
    rows = []
    for start in range(0, draws, 100):
        count = min(100, draws - start)
        position = _moved(layout, events.block, rng.random((count, events.blocks)))
        lixel = _slots(strands, position).ravel()
        row = np.repeat(np.arange(count), pieces)
        rows.append(
            sparse.coo_array((np.tile(weight, count), (row, lixel)), (count, lixels)).tocsr()
        )
    if not rows:
        return sparse.csr_array((0, lixels))
    return sparse.csr_array(sparse.vstack(rows))


def expected_masses(events: Events, strands: Strands, weight: Floats) -> Floats:
    """Mean masses on lixels over all draws of `drawn_masses`, without drawing.

    Parameters
    ----------
    events : Events
    strands : Strands
    weight : ndarray, shape (pieces,)

    Returns
    -------
    ndarray, shape (lixels,)

    Notes
    -----
    A piece at the offset o from its group's middle lies evenly on the window from o on and,
    folded back, on the window's last o metres (o taken modulo twice the window; past its length
    the same from the other end).
    """
    _, offset, low, high = groups_in_windows(events, strands)
    lo, span = low[events.block], (high - low)[events.block]
    o = offset % (2.0 * span)
    over = o >= span
    near = np.where(over, o - span, o)
    begin = [np.where(over, 0.0, near), np.where(over, 0.0, span - near)]
    end = [np.where(over, span - near, span), np.where(over, near, span)]
    at = np.concatenate([lo + begin[0], lo + begin[1], lo + end[0], lo + end[1]])
    rate = weight / span
    step = np.concatenate([rate, rate, -rate, -rate])
    order = np.argsort(at, kind="stable")
    at, step = at[order], step[order]
    slope, moment = (np.concatenate([[0.0], np.cumsum(v)]) for v in (step, step * at))
    k = np.searchsorted(at, strands.cut_m, side="right")
    mass = np.maximum(np.diff(slope[k] * strands.cut_m - moment[k]), 0.0)
    out = np.zeros(len(strands.lixel_length_m))
    out[strands.order] = mass
    return out


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
    layout = groups_in_windows(events, strands)
    position = _moved(layout, events.block, rng.random((1, events.blocks)))[0]
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


def _moved(layout: tuple[Floats, Floats, Floats, Floats], block: Ints, share: Floats) -> Floats:
    """Positions of pieces; those that would leave the window are folded back at its end."""
    _, offset, low, high = layout
    lo, span = low[block], (high - low)[block]
    x = ((share * (high - low))[:, block] + offset) % (2.0 * span)
    return np.asarray(lo + np.where(x >= span, 2.0 * span - x, x))


def _slots(strands: Strands, position: Floats) -> Ints:
    slot = np.searchsorted(strands.cut_m, position, side="right") - 1
    return strands.order[np.clip(slot, 0, len(strands.order) - 1)]
