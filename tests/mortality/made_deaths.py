"""A small invented road with counts on it, for tests of the model of deaths."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from roadrisk.mortality.sources import Source
from roadrisk.roads.pieces import Pieces

KNOWN_Q = 0.5


def straight_road(count: int = 60) -> Pieces:
    every = np.arange(count)
    pairs = np.column_stack([every[:-1], every[1:]])
    return Pieces(
        every, every, np.zeros(count, dtype=np.int64), np.full(count, 100.0), pairs, every
    )


def hump(count: int = 60) -> np.ndarray:
    """Deaths per km and year: one place about piece 20 where more die."""
    return 1.0 + 12.0 * np.exp(-(((np.arange(count) - 20) / 4.0) ** 2))


def surveys(rate: np.ndarray, seed: int = 1, *, watched: slice = slice(None)) -> Source:
    rng = np.random.default_rng(seed)
    exposure = np.zeros(len(rate))
    exposure[watched] = 0.2
    found = rng.poisson(rate * exposure * KNOWN_Q) * 1.0
    return Source("surveys", found, exposure, np.log(rng.beta(50, 50, 400)))


def reports(rate: np.ndarray, times: float = 1.0, seed: int = 2) -> Source:
    rng = np.random.default_rng(seed)
    seen = rng.poisson(rate * 0.2 * rng.gamma(2.0, 0.5, len(rate)))
    return Source("reports", seen * times, np.full(len(rate), 0.2), None)


@dataclass(frozen=True, eq=False)
class Lattice:
    """Streets of a made-up town: pieces that touch, their middles [m], and the street of each."""

    a: np.ndarray
    b: np.ndarray
    xy: np.ndarray
    road: np.ndarray

    @property
    def pieces(self) -> Pieces:
        every = np.arange(len(self.xy))
        length = np.full(len(every), 150.0)
        return Pieces(every, every, every, length, np.column_stack([self.a, self.b]), every)


def lattice(side: int, spacing_m: float = 150.0) -> Lattice:
    """Streets of `side` by `side` junctions, a piece from junction to junction."""
    node = np.arange(side * side).reshape(side, side)
    along = np.column_stack([node[:, :-1].ravel(), node[:, 1:].ravel()])
    up = np.column_stack([node[:-1].ravel(), node[1:].ravel()])
    ends = np.concatenate([along, up])
    xy = np.column_stack([node.ravel() % side, node.ravel() // side]) * spacing_m
    at = np.concatenate([ends[:, 0], ends[:, 1]])
    piece = np.tile(np.arange(len(ends)), 2)
    order = np.argsort(at, kind="stable")
    at, piece = at[order], piece[order]
    pairs = [np.column_stack([piece[:-k], piece[k:]])[at[k:] == at[:-k]] for k in range(1, 4)]
    both = np.unique(np.sort(np.concatenate(pairs), axis=1), axis=0)
    road = np.concatenate([along[:, 0] // side, side + up[:, 0] % side])
    return Lattice(both[:, 0], both[:, 1], (xy[ends[:, 0]] + xy[ends[:, 1]]) / 2, road)
