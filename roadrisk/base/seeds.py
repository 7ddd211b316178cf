"""Seeded random generators: one seed, one independent stream for each named step."""

from __future__ import annotations

import hashlib

import numpy as np


def generator(seed: int, step: str) -> np.random.Generator:
    """Return the random generator of one named step.

    The stream depends on the seed and the step's name only, so adding a step, or running
    steps in another order, does not shift the others.

    Parameters
    ----------
    seed : int
        The study's seed, 0 or larger.
    step : str
        Name of the step, e.g. ``"hotspots.draws"``.

    Returns
    -------
    numpy.random.Generator
    """
    key = int.from_bytes(hashlib.blake2s(step.encode(), digest_size=8).digest(), "big")
    return np.random.default_rng(
        np.random.SeedSequence(seed, spawn_key=(key >> 32, key & 0xFFFFFFFF))
    )
