"""The letters that stretches go by wherever a person reads of them; ranks are numbers."""

from __future__ import annotations

import math


def stretch_letter(number: float) -> str:
    """Return a stretch's letter.

    Parameters
    ----------
    number : float
        Of `Findings.stretches`: 1, 2, …; 0 or missing for none.

    Returns
    -------
    str
        A for 1, Z for 26, AA for 27; "" for none.
    """
    left = 0 if math.isnan(number) else int(number)
    letters = ""
    while left > 0:
        left, place = divmod(left - 1, 26)
        letters = chr(ord("A") + place) + letters
    return letters
