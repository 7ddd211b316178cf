"""Numbers as people write them: rounded, thousands marked, no powers of ten."""

from __future__ import annotations

import numpy as np


def number(value: float, digits: int = 3) -> str:
    """Return a number rounded to `digits` significant digits, with thousands marked.

    Parameters
    ----------
    value : float
    digits : int

    Returns
    -------
    str
        "" where the value is missing or has no end.
    """
    if not np.isfinite(value):
        return ""
    rounded = float(f"{value:.{digits}g}")
    return f"{rounded:,.{_decimals(rounded, digits)}f}" if rounded else "0"


def span(value: float, low: float, high: float, digits: int = 3) -> str:
    """Return a number with its interval: ``14.2 (8.1 to 23)``.

    Parameters
    ----------
    value, low, high : float
    digits : int

    Returns
    -------
    str
    """
    return f"{number(value, digits)} ({number(low, digits)} to {number(high, digits)})"


def _decimals(value: float, digits: int) -> int:
    most = max(0, digits - 1 - int(np.floor(np.log10(abs(value)))))
    return len(f"{value:.{most}f}".rstrip("0").partition(".")[2])
