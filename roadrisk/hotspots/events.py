"""Crossings and reports as events on lixels, and the groups of events that belong together."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray
from scipy import sparse
from scipy.sparse.csgraph import connected_components
from scipy.spatial import cKDTree

if TYPE_CHECKING:
    from roadrisk.hotspots.strands import Strands
    from roadrisk.roads.network import Floats, Ints

Bools = NDArray[np.bool_]

CROSSING, ALIVE, DEAD, OTHER = 0, 1, 2, 3


@dataclass(frozen=True, eq=False)
class Events:
    """Pieces of events on lixels; an uncertain report has several pieces that add up to 1.

    All arrays have one entry a piece, sorted by `unit`.

    Attributes
    ----------
    lixel : ndarray of int64
    position_m : ndarray
        On the long line of `strands.Strands` [m].
    weight : ndarray
    event : ndarray of int64
        Pieces of one event share it.
    unit : ndarray of int64
        The animal or observer, 0..units-1.
    kind : ndarray of int64
        CROSSING, ALIVE, DEAD or OTHER.
    block : ndarray of int64
        Pieces that move together when events are redistributed.
    unit_is_observer : ndarray of bool, shape (units,)
    unit_names : tuple of str
        organismID, or recordedBy ("" for all anonymous reports together).
    rule : ndarray of int64 or None
        Row of `strands.Strands.rules` that says where each piece's group may move.
    shown : ndarray of int64 or None
        The lixels that the pieces are shown on, where these are others (`levels.Level`).
    """

    lixel: Ints
    position_m: Floats
    weight: Floats
    event: Ints
    unit: Ints
    kind: Ints
    block: Ints
    unit_is_observer: Bools
    unit_names: tuple[str, ...]
    rule: Ints | None = None
    shown: Ints | None = None

    @property
    def units(self) -> int:
        """Number of different animals and observers."""
        return len(self.unit_names)

    @property
    def blocks(self) -> int:
        """Number of groups that move together."""
        return int(self.block.max()) + 1 if len(self.block) else 0


def gather(
    strands: Strands,
    *,
    lixel: Ints,
    along_m: Floats,
    weight: Floats,
    event: Ints,
    event_unit: list[tuple[bool, str]],
    event_kind: Ints,
    event_xy: Floats,
    link_m: float,
    window_m: float,
    event_rule: Ints | None = None,
    shown: Ints | None = None,
    nameless_join: bool = False,
) -> Events:
    """Gather pieces of events and group those that belong together.

    Parameters
    ----------
    strands : Strands
    lixel, along_m, weight, event : ndarray, shape (pieces,)
        Lixel, place within it from its start [m], weight, event number 0..events-1.
    event_unit : list of (bool, str)
        For each event: is it an observer's report, and whose (animal or observer).
    event_kind : ndarray of int64, shape (events,)
    event_xy : ndarray, shape (events, 2)
        Where it was reported or crossed [m].
    link_m : float
        One observer's reports linked within this distance are one group [m].
    window_m : float
        Pieces of a group farther apart along the line than half of this move separately [m].
    event_rule : ndarray of int64, shape (events,), optional
        Row of `strands.rules` for each event.
    shown : ndarray of int64, shape (pieces,), optional
        As in `Events`.
    nameless_join : bool
        Whether a report without a name counts as that of the observer who reported nearest to
        it, within `link_m`: it may be the same person's.

    Returns
    -------
    Events

    Notes
    -----
    Roads that meet at a junction lie far apart on the long line, so an animal's pieces on its arms
    are groups of their own. Laying them as one beside its main run was tried: a draw then covers
    less road than an animal does in truth, and on a town's streets 17 % of simulated worlds
    without a hot stretch showed one at 5 %; moved by themselves, 3 %.
    """
    if nameless_join:
        event_unit = _named(event_unit, event_xy, link_m)
    names = sorted(set(event_unit))
    number = {name: i for i, name in enumerate(names)}
    unit_of_event = np.array([number[u] for u in event_unit], np.int64)
    unit = unit_of_event[event] if len(event) else np.zeros(0, np.int64)
    observer = np.array([is_observer for is_observer, _ in names], bool)
    place = linked_places(unit_of_event, observer, event_xy, link_m)
    position = strands.position_m(lixel, along_m)
    block = _blocks(place[event] if len(event) else event, position, window_m / 2)
    order = np.lexsort((position, event, unit))
    return Events(
        lixel=lixel[order],
        position_m=position[order],
        weight=weight[order],
        event=event[order],
        unit=unit[order],
        kind=(event_kind[event] if len(event) else event)[order],
        block=block[order],
        unit_is_observer=observer,
        unit_names=tuple(name for _, name in names),
        rule=None if event_rule is None else event_rule[event][order],
        shown=None if shown is None else shown[order],
    )


def _named(event_unit: list[tuple[bool, str]], xy: Floats, link_m: float) -> list[tuple[bool, str]]:
    """Give reports without a name the name of the nearest report that has one."""
    named = np.array([i for i, (seen, name) in enumerate(event_unit) if seen and name], np.int64)
    none = np.array([i for i, (seen, name) in enumerate(event_unit) if seen and not name], np.int64)
    if not len(named) or not len(none):
        return event_unit
    found = cKDTree(xy[named]).query(xy[none], distance_upper_bound=link_m)
    far, nearest = np.asarray(found[0]), np.asarray(found[1])
    out = list(event_unit)
    for k in np.flatnonzero(np.isfinite(far)):
        out[none[k]] = event_unit[named[nearest[k]]]
    return out


def linked_places(unit: Ints, observer: Bools, xy: Floats, link_m: float) -> Ints:
    """Group events: all of one animal; an observer's linked within `link_m` (single linkage).

    Parameters
    ----------
    unit : ndarray of int64, shape (events,)
    observer : ndarray of bool, shape (units,)
        Whether a unit is an observer.
    xy : ndarray, shape (events, 2)
        [m].
    link_m : float

    Returns
    -------
    ndarray of int64, shape (events,)
    """
    events = len(unit)
    if events == 0:
        return np.zeros(0, np.int64)
    # Units lie too far apart in a third direction to be paired.
    apart = (
        np.column_stack([xy, 2.0 * link_m * unit]) if link_m > 0 else np.column_stack([xy, unit])
    )
    near = cKDTree(apart).query_pairs(link_m, output_type="ndarray")
    order = np.lexsort((np.arange(events), unit))
    order = order[~observer[unit[order]]]
    chain = np.column_stack([order[:-1], order[1:]])
    pairs = np.concatenate([near, chain[unit[chain[:, 0]] == unit[chain[:, 1]]]])
    links = sparse.coo_array((np.ones(len(pairs)), (pairs[:, 0], pairs[:, 1])), (events, events))
    return np.asarray(connected_components(links, directed=False)[1], np.int64)


def _blocks(place: Ints, position: Floats, gap_m: float) -> Ints:
    """Split each group where its pieces lie farther apart on the line than `gap_m`."""
    if len(place) == 0:
        return np.zeros(0, np.int64)
    order = np.lexsort((position, place))
    p, x = place[order], position[order]
    new = np.concatenate([[True], (p[1:] != p[:-1]) | (x[1:] - x[:-1] > gap_m)])
    block = np.empty(len(place), np.int64)
    block[order] = np.cumsum(new) - 1
    return block
