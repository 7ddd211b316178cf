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

# Layers of the ziggurat: right ends of 256 strips of equal area below exp(-x² / 2).
_TAIL = 3.6541528853610088
_AREA = 0.00492867323399
_LAYERS = 256


def _strips() -> Floats:
    x = np.zeros(_LAYERS + 1)
    x[0], x[1] = _AREA / np.exp(-0.5 * _TAIL**2), _TAIL
    for i in range(2, _LAYERS):
        x[i] = np.sqrt(-2.0 * np.log(_AREA / x[i - 1] + np.exp(-0.5 * x[i - 1] ** 2)))
    return x


_RIGHT = _strips()
_SURE = _RIGHT[1:] / _RIGHT[:-1]
_LAYER_BITS = np.uint64(_LAYERS - 1)


@njit(cache=True)
def seeded(key: int, path: int, words: Words) -> None:
    """Start the stream of one path: splitmix64 fills the four words of xoshiro256++.

    Steele, Lea & Flood 2014; Blackman & Vigna 2021 (both from memory).
    """
    z = np.uint64(key) ^ (np.uint64(path) * _MIX_2 + _GOLDEN)
    for k in range(4):
        z += _GOLDEN
        x = z
        x = (x ^ (x >> _S30)) * _MIX_1
        x = (x ^ (x >> _S27)) * _MIX_2
        words[k] = x ^ (x >> _S31)


@njit(cache=True)
def _word(words: Words) -> np.uint64:
    """Return 64 random bits."""
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
    return np.uint64(result)


@njit(cache=True)
def uniform(words: Words) -> float:
    """Return a number in [0, 1)."""
    return float(_word(words) >> _S11) * _TO_UNIT


@njit(cache=True)
def normal(words: Words) -> float:
    """Return a standard normal number (ziggurat: Marsaglia & Tsang 2000, from memory)."""
    while True:
        bits = _word(words)
        i = np.int64(bits & _LAYER_BITS)
        u = 2.0 * (float(bits >> _S11) * _TO_UNIT) - 1.0
        x = u * _RIGHT[i]
        if abs(u) < _SURE[i]:
            return float(x)
        if i == 0:
            while True:
                a = np.log(1.0 - uniform(words)) / _TAIL
                b = np.log(1.0 - uniform(words))
                if -2.0 * b > a * a:
                    return float(a - _TAIL if u < 0.0 else _TAIL - a)
        low = np.exp(-0.5 * (_RIGHT[i] * _RIGHT[i] - x * x))
        high = np.exp(-0.5 * (_RIGHT[i + 1] * _RIGHT[i + 1] - x * x))
        if high + uniform(words) * (low - high) < 1.0:
            return float(x)
