"""The network laid out as one long line, cut into windows within which events may move.

Only used to move groups of events about: neighbours on the line are neighbours on the road
(the line follows a road of one name through its junctions before it turns off), so that a
group keeps its shape while it moves.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

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
    steps, piece_first = _walk(network)
    order_parts: list[Ints] = []
    forward = np.ones(len(lixels), bool)
    for edge, along in steps:
        run = np.arange(lixels.first[edge], lixels.first[edge + 1])
        order_parts.append(run if along else run[::-1])
        forward[run] = along
    sizes = np.array([len(p) for p in order_parts])
    order = np.concatenate(order_parts) if order_parts else np.zeros(0, np.int64)
    piece = np.repeat(np.searchsorted(piece_first, np.arange(len(steps)), side="right"), sizes)
    kept = used[order]
    order, piece = order[kept], piece[kept]
    cut = np.concatenate([[0.0], np.cumsum(lixels.length_m[order])])
    start = np.full(len(lixels), np.nan)
    start[order] = cut[:-1]
    ends = np.searchsorted(piece, np.unique(piece), side="right")
    windows = [0.0]
    for end in cut[ends]:
        count = max(1, round((end - windows[-1]) / window_m))
        windows += list(np.linspace(windows[-1], end, count + 1)[1:])
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


def _walk(network: Network) -> tuple[list[tuple[int, bool]], Ints]:
    """Edges in walking order with their direction, and where each connected piece begins.

    Depth first, keeping to a road of one name while it lasts, else going straight on.
    """
    arms: list[list[int]] = [[] for _ in range(len(network.node_xy))]
    for e in range(network.edges):
        arms[network.edge_u[e]].append(2 * e)
        arms[network.edge_v[e]].append(2 * e + 1)
    names = _edge_names(network)
    heading = _headings(network)
    done = np.zeros(network.edges, bool)
    steps: list[tuple[int, bool]] = []
    piece_first: list[int] = []
    ends = sorted(range(len(arms)), key=lambda node: (len(arms[node]) != 1, node))
    for origin in ends:
        stack = [arm for arm in reversed(arms[origin]) if not done[arm // 2]]
        if not stack:
            continue
        piece_first.append(len(steps))
        while stack:
            arm = stack.pop()
            edge = arm // 2
            if done[edge]:
                continue
            done[edge] = True
            steps.append((edge, arm % 2 == 0))
            node = network.edge_v[edge] if arm % 2 == 0 else network.edge_u[edge]
            leaving = heading[2 * edge + 1 - arm % 2]
            onward = [a for a in arms[node] if not done[a // 2]]
            # The best continuation goes on top of the stack.
            onward.sort(
                key=lambda a: (
                    names[a // 2] == names[edge],
                    -float(heading[a] @ leaving),
                    -a,
                )
            )
            stack += onward
    return steps, np.array(piece_first, np.int64)


def _edge_names(network: Network) -> list[str]:
    longest: dict[int, tuple[float, str]] = {}
    table = network.segments
    for edge, road, length in zip(table["edge"], table["road"], table["length_m"], strict=True):
        if edge not in longest or length > longest[edge][0]:
            longest[edge] = (length, road)
    return [longest[e][1] for e in range(network.edges)]


def _headings(network: Network) -> Floats:
    """Return unit vectors at every edge end, pointing into the edge; shape (2 * edges, 2)."""
    first, last = network.edge_first[:-1], network.edge_first[1:] - 1
    out = np.empty((2 * network.edges, 2))
    out[0::2] = network.edge_xy[first + 1] - network.edge_xy[first]
    out[1::2] = network.edge_xy[last - 1] - network.edge_xy[last]
    return np.asarray(out / np.maximum(np.hypot(out[:, 0], out[:, 1]), 1e-12)[:, None])
