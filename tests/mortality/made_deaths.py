"""A small invented road with counts on it, for tests of the model of deaths."""

from __future__ import annotations

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
