"""The comparison with chance on networks too large for one piece of work: tile by tile.

The same test as `chance.compare_with_chance`. A tile is some of the windows of road within which
groups move, and what lies around them; the largest value of a draw over the whole network is the
largest over all tiles.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

import numpy as np
from scipy.spatial import cKDTree

from roadrisk.base.intervals import p_from_draws
from roadrisk.base.progress import Progress, Silent
from roadrisk.base.tasks import InProcess, Tasks
from roadrisk.hotspots.chance import Chance
from roadrisk.hotspots.moves import lay_out
from roadrisk.hotspots.tile_sums import largest_by_window, sums_of_draws
from roadrisk.hotspots.unit_sums import LEAST_OF_PEAK
from roadrisk.hotspots.window_chance import (
    WindowChance,
    false_discovery,
    judge_each,
    windows_of_lixels,
)
from roadrisk.roads.tiles import grouped, part_of_network

if TYPE_CHECKING:
    from roadrisk.hotspots.events import Events
    from roadrisk.hotspots.moves import Layout
    from roadrisk.hotspots.shares import Shares
    from roadrisk.hotspots.strands import Strands
    from roadrisk.hotspots.tiled_kernel import TiledKernel
    from roadrisk.roads.network import Floats, Ints

# Values of a tile's draws are held at once [bytes].
TILE_BYTES = 100_000_000
LEAST_LIXELS, MOST_LIXELS = 500, 15_000


@dataclass(frozen=True, eq=False)
class Pieces:
    """Pieces of events that are laid anew in each draw, sorted by unit.

    Attributes
    ----------
    unit, block : ndarray of int64, shape (pieces,)
    weight, offset, position_m : ndarray, shape (pieces,)
        Distance from the middle of the group, and where it was observed on the long line [m].
    """

    unit: Ints
    block: Ints
    weight: Floats
    offset: Floats
    position_m: Floats


def pieces_of(events: Events, laid: Layout, within_m: float = 0.0) -> Pieces:
    """Take the pieces that are moved, those of a group that lie close together as one.

    Parameters
    ----------
    events : Events
    laid : Layout
    within_m : float
        Pieces of one group in the same so many metres are one, at their mean [m]; 0 for none.

    Returns
    -------
    Pieces
        The observed ones are joined in the same way as those that are moved, so the test stays
        exact.
    """
    if within_m <= 0:
        return Pieces(
            events.unit, events.block, events.weight, laid.offset,
            laid.middle[events.block] + laid.offset if len(laid.offset) else laid.offset,
        )  # fmt: skip
    cell = np.round(laid.offset / within_m).astype(np.int64)
    cell -= cell.min(initial=0)
    _, first, row = np.unique(
        events.block * (cell.max(initial=0) + 1) + cell, return_index=True, return_inverse=True
    )
    weight = np.bincount(row, events.weight, len(first)).astype(np.float64)
    offset = np.bincount(row, events.weight * laid.offset, len(first)) / weight
    order = np.argsort(events.unit[first], kind="stable")
    block = events.block[first][order]
    return Pieces(
        events.unit[first][order], block, weight[order], offset[order],
        laid.middle[block] + offset[order],
    )  # fmt: skip


def compare_in_tiles(
    events: Events,
    strands: Strands,
    kernel: TiledKernel,
    *,
    least_units: int,
    draws: int,
    shares: Shares,
    peak_per_m: float,
    joined_m: float = 0.0,
    tasks: Tasks | None = None,
    progress: Progress | None = None,
) -> Chance:
    """Compare the observed concentration with random positions of the same groups.

    Parameters
    ----------
    events : Events
    strands : Strands
    kernel : TiledKernel
        On the lixels that events lie on.
    least_units : int
    draws : int
    shares : Shares
        Where groups come to lie in each draw.
    peak_per_m : float
        Kernel at distance 0 [1/m].
    joined_m : float
        As `pieces_of` takes it.
    tasks : Tasks, optional
    progress : Progress, optional

    Returns
    -------
    Chance
        Judged by window as well. All else as in `chance.compare_with_chance`: equal to it but for
        rounding, with the same shares and no pieces joined.
    """
    whole = _Whole.of(events, strands, kernel, least_units, draws, shares, peak_per_m, joined_m)
    lixels = len(strands.lixel_length_m)
    statistic, largest = np.zeros(lixels), np.zeros(draws)
    windows = len(strands.window_m) - 1
    p, fitted, tested = np.ones(windows), np.zeros(windows, bool), np.zeros(windows, bool)
    tiles = _tiles(whole)
    with (progress or Silent()).step("Comparing with chance", len(tiles)) as tick:
        for found in (tasks or InProcess()).map(
            _on_tile, tiles, shared=whole, tick=tick, compiled=True
        ):
            statistic[found.lixel] = found.statistic
            np.maximum(largest, found.largest, out=largest)
            p[found.window], fitted[found.window] = found.p_value, found.tail_fitted
            tested[found.window] = found.tested
    by_window = WindowChance(whole.window, p, fitted, false_discovery(p, tested))
    return Chance(statistic, p_from_draws(statistic, largest), largest, by_window)


@dataclass(frozen=True, eq=False)
class _Whole:
    """What all tiles are worked out from."""

    strands: Strands
    kernel: TiledKernel
    laid: Layout
    pieces: Pieces
    window: Ints
    home: Ints
    off_line: Ints
    slot_first: Ints
    blocks_of: tuple[Ints, Ints]
    pieces_of: tuple[Ints, Ints]
    anywhere: Ints
    least_units: int
    draws: int
    shares: Shares
    peak_per_m: float

    @classmethod
    def of(
        cls, events: Events, strands: Strands, kernel: TiledKernel, least_units: int, draws: int,
        shares: Shares, peak_per_m: float, joined_m: float,
    ) -> _Whole:  # fmt: skip
        laid = lay_out(events, strands)
        pieces = pieces_of(events, laid, joined_m)
        window = windows_of_lixels(strands)
        windows = len(strands.window_m) - 1
        on_line = window[strands.order]
        slot_first = np.searchsorted(on_line, np.arange(windows + 1)).astype(np.int64)
        everywhere = (laid.low == strands.window_m[0]) & (laid.high == strands.window_m[-1])
        everywhere &= windows > 1
        home = np.clip(
            np.searchsorted(strands.window_m, laid.middle, side="right") - 1, 0, windows - 1
        )
        # A group belongs to its home, and to all windows in which it was observed.
        seen = np.searchsorted(strands.window_m, pieces.position_m, side="right") - 1
        seen = np.clip(seen, 0, windows - 1)
        groups = max(len(home), 1)
        within = np.flatnonzero(~everywhere)
        key = np.unique(np.concatenate([
            home[within] * groups + within,
            (seen * groups + pieces.block)[~everywhere[pieces.block]],
        ]))  # fmt: skip
        order = (key % groups).astype(np.int64)
        first = np.searchsorted(key // groups, np.arange(windows + 1)).astype(np.int64)
        by_block = np.argsort(pieces.block, kind="stable").astype(np.int64)
        piece_first = np.searchsorted(pieces.block[by_block], np.arange(len(laid.middle) + 1))
        return cls(
            strands, kernel, laid, pieces, window, home.astype(np.int64),
            np.flatnonzero(window < 0), slot_first,
            (first, order), (piece_first.astype(np.int64), by_block), np.flatnonzero(everywhere),
            least_units, draws, shares, peak_per_m,
        )  # fmt: skip


def _tiles(whole: _Whole) -> list[tuple[Ints, Ints]]:
    """Windows of each tile, and the lixels off the long line that go with it."""
    strands, net, lixels = whole.strands, whole.kernel.network, whole.kernel.lixels
    slots = np.diff(whole.slot_first)
    some = np.flatnonzero(slots)
    middle = strands.order[whole.slot_first[some] + slots[some] // 2]
    xy = places_of(net, lixels.edge[middle])
    each = int(TILE_BYTES / (8 * max(whole.draws, 1)))
    each = min(max(each, LEAST_LIXELS), MOST_LIXELS)
    groups = grouped(xy, max(int(each / max(slots.mean(), 1.0)), 1))
    off = whole.off_line
    tile_of = np.empty(len(some), np.int64)
    for number, rows in enumerate(groups):
        tile_of[rows] = number
    with_it = np.zeros(0, np.int64)
    if len(off):
        with_it = tile_of[cKDTree(xy).query(places_of(net, lixels.edge[off]))[1]]
    return [(some[rows], off[with_it == n]) for n, rows in enumerate(groups)]


def places_of(network: Any, edge: Ints) -> Floats:
    """Return where edges begin, shape (n, 2) [m]."""
    return np.asarray(network.node_xy[network.edge_u[edge]])


@dataclass(frozen=True, eq=False)
class _Found:
    lixel: Ints
    statistic: Floats
    largest: Floats
    window: Ints
    p_value: Floats
    tail_fitted: Any
    tested: Any


def _on_tile(whole: _Whole, tile: tuple[Ints, Ints]) -> _Found:
    """Make all draws on one tile, and compare what was observed with them."""
    windows, off = tile
    kernel, strands = whole.kernel, whole.strands
    core = np.concatenate([strands.order[_runs(whole.slot_first, windows)], off])
    own = np.concatenate([np.repeat(windows, np.diff(whole.slot_first)[windows]),
                          np.full(len(off), -1)])  # fmt: skip
    source = kernel.around.around(np.unique(kernel.lixels.edge[core]), kernel.bandwidth_m)
    part = part_of_network(
        kernel.network, kernel.lixels, kernel.around.around(source, kernel.bandwidth_m)
    )
    on_source = np.isin(part.edge[part.lixels.edge], source)
    matrix = kernel.rows(source, part)[:, np.searchsorted(part.lixel, core)].tocsr()
    block = _blocks_near(whole, part.lixel[on_source])
    some = whole.laid.of_groups(block)
    piece = np.sort(whole.pieces_of[1][_runs(whole.pieces_of[0], block)])
    row_of = np.full(len(strands.lixel_length_m), -1, np.int32)
    row_of[part.lixel[on_source]] = np.flatnonzero(on_source)
    p = whole.pieces
    number = np.searchsorted(block, p.block[piece])
    fixed = (
        strands.cut_m, strands.order, row_of, number, p.offset[piece], p.weight[piece],
        _first_of(p.unit[piece]), some.low, some.high, *_slot_ends(whole, some.low, some.high),
        matrix.indptr, matrix.indices, matrix.data, 1.0 / strands.lixel_length_m[core],
        float(whole.peak_per_m), LEAST_OF_PEAK * whole.peak_per_m, int(whole.least_units),
    )  # fmt: skip
    drawn = some.middles(whole.shares.of(block, whole.home[block], whole.draws))
    every = sums_of_draws(drawn, p.position_m[piece], fixed)
    observed, draws = every[0], every[1:]
    mean = every.sum(axis=0) / (whole.draws + 1)
    statistic = np.maximum(observed - mean, 0.0)
    column = np.searchsorted(windows, own)
    column[own < 0] = -1
    by_window = largest_by_window(draws, mean, column, len(windows))
    here = np.zeros(len(windows))
    np.maximum.at(here, column[column >= 0], statistic[column >= 0])
    judged = judge_each(here, by_window)
    return _Found(core, statistic, by_window.max(axis=1, initial=0.0), windows, *judged)


def _blocks_near(whole: _Whole, lixel: Ints) -> Ints:
    """Return the groups that may come to lie on these lixels, or were observed there."""
    strands = whole.strands
    begin = strands.lixel_start_m[lixel]
    begin, length = begin[~np.isnan(begin)], strands.lixel_length_m[lixel[~np.isnan(begin)]]
    ends = np.concatenate([
        np.searchsorted(strands.window_m, begin, side="right") - 1,
        np.searchsorted(strands.window_m, begin + length) - 1,
    ])  # fmt: skip
    near = np.unique(np.clip(ends, 0, len(strands.window_m) - 2))
    first, order = whole.blocks_of
    return np.unique(np.concatenate([order[_runs(first, near)], whole.anywhere]))


def _runs(first: Ints, chosen: Ints) -> Ints:
    """Rows ``first[k]:first[k + 1]`` of each chosen k, one after the other."""
    size = first[chosen + 1] - first[chosen]
    begin = np.repeat(first[chosen] - (np.cumsum(size) - size), size)
    return np.asarray(np.arange(size.sum()) + begin, np.int64)


def _first_of(unit: Ints) -> Ints:
    new = np.flatnonzero(np.diff(unit)) + 1
    return np.concatenate([[0], new, [len(unit)]]).astype(np.int64)


def _slot_ends(whole: _Whole, low_m: Floats, high_m: Floats) -> tuple[Ints, Ints]:
    """Return the first of the line's lixels that a group may lie on, and the one after the last."""
    cut, last = whole.strands.cut_m, len(whole.strands.order)
    first = np.clip(np.searchsorted(cut, low_m, side="right") - 1, 0, last - 1)
    after = np.clip(np.searchsorted(cut, high_m, side="right"), first + 1, last)
    return first.astype(np.int64), after.astype(np.int64)
