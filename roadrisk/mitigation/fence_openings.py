"""Where minor roads meet a line: a fence along it has to open there."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

if TYPE_CHECKING:
    from roadrisk.mitigation.lines import RoadLines
    from roadrisk.roads.network import Ints, Lixels, Network
    from roadrisk.roads.pieces import Pieces

# A road so short between the two carriageways of a dual road joins them, and leaves neither side.
_LINK_M = 60.0


def junction_arms(
    network: Network, lixels: Lixels, pieces: Pieces, lines: RoadLines
) -> pd.DataFrame:
    """List the arms of other roads at junctions that lines pass through.

    Parameters
    ----------
    network : Network
    lixels : Lixels
    pieces : Pieces
    lines : RoadLines

    Returns
    -------
    pandas.DataFrame
        Columns place (the one that begins at the junction), road (label of the arm), at_begin, one
        row an arm, sorted. A line's own two arms are none; at a line's ends a fence ends, and needs
        no opening. An arm that reaches only the following carriageway of a dual road counts too:
        somewhere on its place, so at_begin is False.
    """
    ends = _Ends(network, lixels, pieces)
    node, place, used = _passed(ends, pieces, lines)
    band_node, band_place, band_used = _passed_by_bands(ends, lines, set(node.tolist()))
    on_line, on_band = set(node.tolist()), set(band_node.tolist())
    rows = []
    for at, of, own in zip(
        [*node.tolist(), *band_node.tolist()],
        [*place.tolist(), *band_place.tolist()],
        [*used.tolist(), *band_used.tolist()],
        strict=True,
    ):
        others = on_band if at in on_line else on_line
        rows += [
            (of, ends.road(arm), at in on_line)
            for arm in ends.at(at)
            if arm not in own and ends.own[arm] and not ends.is_link(arm, others)
        ]
    return pd.DataFrame(sorted(rows), columns=["place", "road", "at_begin"])


class _Ends:
    """Ends of edges: end e begins edge e, end edges + e ends it."""

    def __init__(self, network: Network, lixels: Lixels, pieces: Pieces) -> None:
        self.edges = network.edges
        self.node = np.concatenate([network.edge_u, network.edge_v])
        self.lixel = np.concatenate([lixels.first[:-1], lixels.first[1:] - 1])
        self.piece = pieces.of_lixel[self.lixel]
        outer = np.arange(2 * self.edges) < self.edges
        piece_end = np.where(outer, pieces.first[self.piece], pieces.last[self.piece])
        # A following carriageway has no piece of its own.
        self.own = piece_end == self.lixel
        self._length = np.tile(network.edge_length_m, 2)
        self._road = network.segments["road"].to_numpy(object)[lixels.segment[self.lixel]]
        self._order = np.argsort(self.node, kind="stable")
        self._sorted = self.node[self._order]

    def at(self, node: int) -> list[int]:
        a, b = np.searchsorted(self._sorted, [node, node + 1])
        return [int(e) for e in self._order[a:b]]

    def road(self, end: int) -> str:
        return str(self._road[end])

    def is_link(self, end: int, others: set[int]) -> bool:
        far = int(self.node[(end + self.edges) % (2 * self.edges)])
        return bool(self._length[end] <= _LINK_M) and far in others


def _passed(ends: _Ends, pieces: Pieces, lines: RoadLines) -> tuple[Ints, Ints, Ints]:
    """Return node, the place that begins there, and the two ends of edges of the line."""
    place = np.setdiff1d(np.arange(1, len(lines.piece)), lines.first[1:-1])
    after, before = lines.piece[place], lines.piece[place - 1]
    entered = np.where(lines.backward[place], pieces.edge[after] + ends.edges, pieces.edge[after])
    left = np.where(
        lines.backward[place - 1], pieces.edge[before], pieces.edge[before] + ends.edges
    )
    step = np.where(lines.backward[place], before - after, after - before)
    inside = (pieces.edge[after] == pieces.edge[before]) & (step == 1)
    met = ~inside & (ends.node[entered] == ends.node[left])
    used = np.column_stack([left, entered])[met]
    return ends.node[entered[met]], place[met], used


def _passed_by_bands(ends: _Ends, lines: RoadLines, on_line: set[int]) -> tuple[Ints, Ints, Ints]:
    """Return the same for nodes between two edges of a following carriageway."""
    follower = np.flatnonzero(~ends.own)
    follower = follower[np.argsort(ends.node[follower], kind="stable")]
    node = ends.node[follower]
    pair = np.flatnonzero(node[1:] == node[:-1])
    pair = pair[[int(n) not in on_line for n in node[pair]]]
    used = np.column_stack([follower[pair], follower[pair + 1]])
    place = lines.place_of_piece[ends.piece[used[:, 0]]]
    return node[pair], place, used
