"""Rows of a table by the name they carry, sorted once for all names."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

if TYPE_CHECKING:
    from numpy.typing import NDArray


def rows_by_name(names: NDArray[np.object_]) -> list[tuple[str, NDArray[np.int64]]]:
    """Return the rows of each name.

    Parameters
    ----------
    names : ndarray of str, shape (rows,)
        "" for rows of none.

    Returns
    -------
    list of (str, ndarray of int64)
        Each name but "", in order, with its rows, rising.
    """
    code, labels = pd.factorize(names, sort=True)
    order = np.argsort(code, kind="stable")
    ends = np.searchsorted(code[order], np.arange(len(labels) + 1))
    return [
        (str(name), order[ends[k] : ends[k + 1]].astype(np.int64))
        for k, name in enumerate(labels.tolist())
        if name
    ]
