"""Random numbers inside compiled loops: one independent stream a path, whatever the threads.

Every path has its own stream, keyed by a number drawn from the study's generator and by the
path's own number, so that results don't depend on how the work is shared out.
"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from numba import njit

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from roadrisk.roads.network import Floats

    Words = NDArray[np.uint64]

_GOLDEN = np.uint64(0x9E3779B97F4A7C15)
_MIX_1 = np.uint64(0xBF58476D1CE4E5B9)
_MIX_2 = np.uint64(0x94D049BB133111EB)
_S30, _S27, _S31, _S11 = np.uint64(30), np.uint64(27), np.uint64(31), np.uint64(11)
_S23, _S41, _S17, _S45, _S19 = (np.uint64(k) for k in (23, 41, 17, 45, 19))
_TO_UNIT = 1.0 / 9007199254740992.0


@njit(cache=True)
def seeded(key: int, path: int, words: Words, spare: Floats) -> None:
    """Start the stream of one path: splitmix64 fills the four words of xoshiro256++.

    Steele, Lea & Flood 2014; Blackman & Vigna 2021 (both from memory). `spare` has two
    places: a normal number kept for later, and whether there is one.
    """
    z = np.uint64(key) ^ (np.uint64(path) * _MIX_2 + _GOLDEN)
    for k in range(4):
        z += _GOLDEN
        x = z
        x = (x ^ (x >> _S30)) * _MIX_1
        x = (x ^ (x >> _S27)) * _MIX_2
        words[k] = x ^ (x >> _S31)
    spare[1] = 0.0


@njit(cache=True)
def uniform(words: Words) -> float:
    """Return a number in [0, 1)."""
    s0, s1, s2, s3 = words[0], words[1], words[2], words[3]
    total = s0 + s3
    result = ((total << _S23) | (total >> _S41)) + s0
    t = s1 << _S17
    s2 ^= s0
    s3 ^= s1
    s1 ^= s2
    s0 ^= s3
    s2 ^= t
    s3 = (s3 << _S45) | (s3 >> _S19)
    words[0], words[1], words[2], words[3] = s0, s1, s2, s3
    return float(result >> _S11) * _TO_UNIT


@njit(cache=True)
def normal(words: Words, spare: Floats) -> float:
    """Return a standard normal number (Marsaglia's polar method)."""
    if spare[1] > 0.0:
        spare[1] = 0.0
        return spare[0]
    while True:
        u = 2.0 * uniform(words) - 1.0
        v = 2.0 * uniform(words) - 1.0
        s = u * u + v * v
        if 0.0 < s < 1.0:
            break
    m = np.sqrt(-2.0 * np.log(s) / s)
    spare[0] = v * m
    spare[1] = 1.0
    return u * m
