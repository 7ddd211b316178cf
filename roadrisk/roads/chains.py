"""Dissolving nodes of degree 2: chains of lines between junctions."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numba import njit
from numpy.typing import NDArray

if TYPE_CHECKING:
    from roadrisk.roads.network import Floats, Ints

Bools = NDArray[np.bool_]


@dataclass(frozen=True, eq=False)
class Chains:
    """Lines in sequence from junction to junction.

    Attributes
    ----------
    line : ndarray of int64, shape (lines,)
        Lines in order of walking, chain after chain.
    backward : ndarray of bool, shape (lines,)
        Whether the line is walked against its own direction.
    first : ndarray of int64, shape (chains + 1,)
        Chain c holds ``line[first[c]:first[c + 1]]``.
    ring : ndarray of bool, shape (chains,)
        Whether the chain closes on itself without meeting any junction.
    """

    line: Ints
    backward: Bools
    first: Ints
    ring: Bools


def chains_between_junctions(start: Ints, end: Ints, nodes: int, order: Ints) -> Chains:
    """Return the chains of lines between nodes of degree other than 2.

    Parameters
    ----------
    start, end : ndarray of int64, shape (lines,)
        Node at each end of each line.
    nodes : int
    order : ndarray of int64, shape (nodes,)
        Rank of each node; a ring starts at its node of the lowest rank.

    Returns
    -------
    Chains
    """
    halves = np.empty(2 * len(start), dtype=np.int64)
    halves[0::2], halves[1::2] = start, end
    degree = np.bincount(halves, minlength=nodes)
    # At a node of degree 2 the two line ends there are each other's partners.
    sorted_ends = np.argsort(halves, kind="stable")
    at_two = sorted_ends[degree[halves[sorted_ends]] == 2]
    partner = np.full(len(halves), -1, dtype=np.int64)
    partner[at_two[0::2]], partner[at_two[1::2]] = at_two[1::2], at_two[0::2]
    by_rank = np.argsort(order[start], kind="stable").astype(np.int64)
    line, backward, first, ring = _walk(halves, partner, order, by_rank)
    return Chains(line, backward, first, ring)


@njit(cache=True)
def _walk(
    halves: Ints, partner: Ints, order: Ints, by_rank: Ints
) -> tuple[Ints, Bools, Ints, Bools]:
    lines = len(halves) // 2
    line = np.empty(lines, np.int64)
    backward = np.empty(lines, np.bool_)
    first = np.empty(lines + 1, np.int64)
    ring = np.empty(lines, np.bool_)
    seen = np.zeros(lines, np.bool_)
    chains = 0
    done = 0
    for half in range(2 * lines):
        if partner[half] >= 0 or seen[half // 2]:
            continue
        first[chains] = done
        ring[chains] = False
        here = half
        while True:
            line[done] = here // 2
            backward[done] = here % 2 == 1
            seen[here // 2] = True
            done += 1
            here = partner[here ^ 1]
            if here < 0:
                break
        chains += 1
    for k in range(lines):
        if seen[by_rank[k]]:
            continue
        # Go round once to find the end at the lowest node, then lay the ring from there.
        begin = 2 * by_rank[k]
        best = begin
        here = partner[begin ^ 1]
        while here != begin:
            if order[halves[here]] < order[halves[best]]:
                best = here
            here = partner[here ^ 1]
        first[chains] = done
        ring[chains] = True
        here = best
        while True:
            line[done] = here // 2
            backward[done] = here % 2 == 1
            seen[here // 2] = True
            done += 1
            here = partner[here ^ 1]
            if here == best:
                break
        chains += 1
    first[chains] = done
    return line, backward, first[: chains + 1].copy(), ring[:chains].copy()


def laid_out(chains: Chains, first: Ints, xy: Floats) -> tuple[Floats, Ints, Ints]:
    """Return the vertices of all chains, chain after chain, each joint once.

    Parameters
    ----------
    chains : Chains
    first : ndarray of int64, shape (lines + 1,)
        Line i has vertices ``xy[first[i]:first[i + 1]]``.
    xy : ndarray, shape (vertices, 2)
        [m].

    Returns
    -------
    chain_xy : ndarray, shape (k, 2)
    chain_first : ndarray of int64, shape (chains + 1,)
    line_from : ndarray of int64, shape (lines,)
        Row of `chain_xy` at which each line of `chains.line` begins; it ends where the next
        one begins, or at the chain's last vertex.
    """
    out: tuple[Floats, Ints, Ints] = _lay(chains.line, chains.backward, chains.first, first, xy)
    return out


@njit(cache=True)
def _lay(
    line: Ints, backward: Bools, chain_first: Ints, first: Ints, xy: Floats
) -> tuple[Floats, Ints, Ints]:
    chains = len(chain_first) - 1
    total = len(xy) - len(line) + chains
    out = np.empty((total, 2))
    out_first = np.empty(chains + 1, np.int64)
    line_from = np.empty(len(line), np.int64)
    k = 0
    for c in range(chains):
        out_first[c] = k
        for j in range(chain_first[c], chain_first[c + 1]):
            low, high = first[line[j]], first[line[j] + 1]
            count = high - low
            skip = 0 if j == chain_first[c] else 1
            line_from[j] = k - skip
            for i in range(skip, count):
                v = high - 1 - i if backward[j] else low + i
                out[k, 0] = xy[v, 0]
                out[k, 1] = xy[v, 1]
                k += 1
    out_first[chains] = k
    return out, out_first, line_from


def turned(chains: Chains, which: Bools) -> Chains:
    """Return `chains` with the chosen ones walked the other way.

    Parameters
    ----------
    chains : Chains
    which : ndarray of bool, shape (chains,)

    Returns
    -------
    Chains
    """
    count = np.diff(chains.first)
    of = np.repeat(np.arange(len(count)), count)
    here = np.arange(len(of))
    mirrored = chains.first[of] + chains.first[of + 1] - 1 - here
    source = np.where(which[of], mirrored, here)
    return Chains(
        chains.line[source], chains.backward[source] ^ which[of], chains.first, chains.ring
    )


def sorted_chains(chains: Chains, order: Ints) -> Chains:
    """Return `chains` in another order of chains.

    Parameters
    ----------
    chains : Chains
    order : ndarray of int64, shape (chains,)
        Chain to come first, second, ...

    Returns
    -------
    Chains
    """
    count = np.diff(chains.first)[order]
    first = np.concatenate([[0], np.cumsum(count)]).astype(np.int64)
    source = np.repeat(chains.first[order] - first[:-1], count) + np.arange(first[-1])
    return Chains(chains.line[source], chains.backward[source], first, chains.ring[order])
