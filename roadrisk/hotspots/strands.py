"""The network laid out as one long line, cut into windows within which events may move.

Only used to move groups of events about: neighbours on the line are neighbours on the road
(the line follows a road of one name through its junctions before it turns off), so that a
group keeps its shape while it moves.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numba as nb
import numpy as np
import pandas as pd
from numpy.typing import NDArray

from roadrisk.hotspots.growing import grown
from roadrisk.hotspots.reach import edge_ends

if TYPE_CHECKING:
    from roadrisk.hotspots.moves import Rule
    from roadrisk.roads.network import Floats, Ints, Lixels, Network

Bools = NDArray[np.bool_]


@dataclass(frozen=True, eq=False)
class Strands:
    """The long line and its windows.

    Attributes
    ----------
    lixel_start_m : ndarray, shape (lixels,)
        Where each lixel begins on the line [m]; NaN for lixels that are not on it.
    lixel_length_m : ndarray, shape (lixels,)
    forward : ndarray of bool, shape (lixels,)
        Whether the line runs along the lixel from its start to its end.
    order : ndarray of int64, shape (lixels on the line,)
        Lixels as they follow on the line.
    cut_m : ndarray, shape (lixels on the line + 1,)
        The line's positions between them [m]: ``order[i]`` covers ``cut_m[i]`` to
        ``cut_m[i + 1]``.
    window_m : ndarray, shape (windows + 1,)
        Ends of the windows on the line [m].
    rules : tuple of Rule
        How groups of each kind move (`events.Events.rule`); with none all move within their
        windows by length of road.
    """

    lixel_start_m: Floats
    lixel_length_m: Floats
    forward: Bools
    order: Ints
    cut_m: Floats
    window_m: Floats
    rules: tuple[Rule, ...] = ()

    def position_m(self, lixel: Ints, along_m: Floats | None = None) -> Floats:
        """Return where places lie on the line.

        Parameters
        ----------
        lixel : ndarray of int64
        along_m : ndarray, optional
            From the lixel's start along its edge [m]; the middle when left out.
        """
        length = self.lixel_length_m[lixel]
        if along_m is None:
            return np.asarray(self.lixel_start_m[lixel] + length / 2)
        inside = np.where(self.forward[lixel], along_m, length - along_m)
        return np.asarray(self.lixel_start_m[lixel] + np.clip(inside, 0, length * (1 - 1e-12)))


def lay_strands(network: Network, lixels: Lixels, used: Bools, window_m: float) -> Strands:
    """Lay the network out as one line and cut it into windows of about `window_m`.

    Parameters
    ----------
    network : Network
    lixels : Lixels
    used : ndarray of bool, shape (lixels,)
        Lixels on which events may lie. The following carriageway of a dual carriageway is left
        out: its events are counted on the leading one.
    window_m : float
        Length of road within which groups of events are moved [m]. A separate piece of network
        has windows of its own, of equal length, so they differ somewhat from this.

    Returns
    -------
    Strands
    """
    edge, along, piece_first = _walk(network)
    count = np.diff(lixels.first)[edge]
    begin = np.cumsum(count) - count
    step = np.repeat(np.arange(len(edge)), count)
    within = np.arange(len(lixels)) - begin[step]
    run = edge[step]
    order = np.where(along[step], lixels.first[run] + within, lixels.first[run + 1] - 1 - within)
    forward = np.ones(len(lixels), bool)
    forward[order] = along[step]
    piece = np.searchsorted(piece_first, np.arange(len(edge)), side="right")[step]
    kept = used[order]
    order, piece = order[kept], piece[kept]
    cut = np.concatenate([[0.0], np.cumsum(lixels.length_m[order])])
    start = np.full(len(lixels), np.nan)
    start[order] = cut[:-1]
    ends = np.searchsorted(piece, np.unique(piece), side="right")
    windows = [0.0]
    for end in cut[ends]:
        many = max(1, round((end - windows[-1]) / window_m))
        windows += list(np.linspace(windows[-1], end, many + 1)[1:])
    return Strands(start, lixels.length_m, forward, order.astype(np.int64), cut, np.array(windows))


def free_strands(strands: Strands) -> Strands:
    """Make one window of the whole line: groups may move anywhere, by length of road.

    Parameters
    ----------
    strands : Strands

    Returns
    -------
    Strands
        Right where every metre of road was watched alike: on a 30 km line then 3 to 5 % of 400
        simulated worlds each without a hot stretch show one at 5 % (homes, paths, repeat
        observers, both). Where it wasn't, places where people look stand out in place of those
        where animals cross: 31 % where reporting follows unknown traffic.
    """
    return replace(strands, window_m=strands.window_m[[0, -1]])


def _walk(network: Network) -> tuple[Ints, Bools, Ints]:
    """Edges in walking order, whether from u to v, and where each connected piece begins.

    Depth first, keeping to a road of one name while it lasts, else going straight on.
    """
    arm_first, arms = edge_ends(network)
    degree = np.diff(arm_first)
    ends = np.lexsort((np.arange(len(degree)), degree != 1)).astype(np.int64)
    found: tuple[Ints, Bools, Ints] = _depth_first(
        network.edge_u, network.edge_v, arm_first, arms, ends, _edge_names(network),
        _headings(network),
    )  # fmt: skip
    return found


@nb.njit(cache=True)
def _depth_first(
    eu: Ints, ev: Ints, arm_first: Ints, arms: Ints, ends: Ints, name: Ints, heading: Floats
) -> tuple[Ints, Bools, Ints]:
    done = np.zeros(len(eu), np.bool_)
    edge, along = np.empty(len(eu), np.int64), np.empty(len(eu), np.bool_)
    piece_first = np.empty(len(ends), np.int64)
    stack = np.empty(64, np.int64)
    steps = pieces = 0
    for origin in ends:
        stack = grown(stack, arm_first[origin + 1] - arm_first[origin])
        size = 0
        for k in range(arm_first[origin + 1] - 1, arm_first[origin] - 1, -1):
            if not done[arms[k] // 2]:
                stack[size] = arms[k]
                size += 1
        if size == 0:
            continue
        piece_first[pieces] = steps
        pieces += 1
        while size > 0:
            size -= 1
            arm = stack[size]
            e = arm // 2
            if done[e]:
                continue
            done[e] = True
            edge[steps], along[steps] = e, arm % 2 == 0
            steps += 1
            node = ev[e] if arm % 2 == 0 else eu[e]
            leaving = heading[2 * e + 1 - arm % 2]
            stack = grown(stack, size + arm_first[node + 1] - arm_first[node])
            bottom = size
            for k in range(arm_first[node], arm_first[node + 1]):
                if not done[arms[k] // 2]:
                    # The best continuation comes to lie on top of the stack.
                    size = _sorted_in(stack, bottom, size, arms[k], name, name[e], heading, leaving)
    return edge[:steps], along[:steps], piece_first[:pieces]


@nb.njit(cache=True)
def _sorted_in(
    stack: Ints,
    bottom: int,
    size: int,
    arm: int,
    name: Ints,
    own: int,
    heading: Floats,
    leaving: Floats,
) -> int:
    """Put an arm in its place among the stack's top ones; return the new size."""
    same = name[arm // 2] == own
    turn = heading[arm, 0] * leaving[0] + heading[arm, 1] * leaving[1]
    at = size
    while at > bottom:
        below = stack[at - 1]
        same_below = name[below // 2] == own
        turn_below = heading[below, 0] * leaving[0] + heading[below, 1] * leaving[1]
        if same_below != same:
            better = same
        elif turn_below != turn:
            better = turn < turn_below
        else:
            better = arm < below
        if better:
            break
        stack[at] = below
        at -= 1
    stack[at] = arm
    return size + 1


def _edge_names(network: Network) -> Ints:
    """Return a number for each edge's name: that of its longest segment, the first of equals."""
    table = network.segments
    edge = table["edge"].to_numpy(np.int64)
    order = np.lexsort((-table["length_m"].to_numpy(np.float64), edge))
    longest = order[np.unique(edge[order], return_index=True)[1]]
    return np.asarray(pd.factorize(table["road"].to_numpy(object)[longest])[0], np.int64)


def _headings(network: Network) -> Floats:
    """Return unit vectors at every edge end, pointing into the edge; shape (2 * edges, 2)."""
    first, last = network.edge_first[:-1], network.edge_first[1:] - 1
    out = np.empty((2 * network.edges, 2))
    out[0::2] = network.edge_xy[first + 1] - network.edge_xy[first]
    out[1::2] = network.edge_xy[last - 1] - network.edge_xy[last]
    return np.asarray(out / np.maximum(np.hypot(out[:, 0], out[:, 1]), 1e-12)[:, None])
