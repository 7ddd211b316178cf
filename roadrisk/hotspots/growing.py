"""Arrays that grow while compiled code fills them."""

from __future__ import annotations

from typing import Any

import numba as nb
import numpy as np


@nb.njit(cache=True, nogil=True)
def grown(a: Any, needed: int) -> Any:
    """Return the array, or a copy with room for more where it is too short.

    Parameters
    ----------
    a : ndarray, one-dimensional
    needed : int

    Returns
    -------
    ndarray
        At least `needed` long; a copy is at least twice as long as before.
    """
    if needed <= len(a):
        return a
    out = np.empty(max(needed, 2 * len(a)), a.dtype)
    out[: len(a)] = a
    return out
