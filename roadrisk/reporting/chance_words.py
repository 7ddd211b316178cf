"""Chances in words: what a planner reads, with the p-value and the method's name beside it."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from roadrisk.reporting.csv_text import plain_text
from roadrisk.reporting.wording import number

if TYPE_CHECKING:
    from collections.abc import Mapping

WHOLE = "for all roads at once"
METHOD = "permutation test, maximum over the network"
TAIL_FIT = "extrapolated by a tail fit, not counted in draws"


def p_short(p: float, draws: int) -> str:
    """Return a p-value as text: ``0.012``, or ``0.001 or less`` where no draw reached as far.

    Parameters
    ----------
    p : float
    draws : int
        Redistributions that it was counted in: it can't be less than 1/(draws + 1).

    Returns
    -------
    str
        ``not tested`` where there is none.
    """
    if not np.isfinite(p):
        return "not tested"
    return f"{p:.3g} or less" if p <= smallest(draws) else f"{p:.3g}"


def smallest(draws: int) -> float:
    """Return the smallest p-value that so many draws can show, with room for rounding."""
    return (1 + 1e-6) / (draws + 1)


def stretch_chance(row: Mapping[str, Any], draws: int, window: str) -> str:
    """Return how sure it is that a stretch stands out.

    Parameters
    ----------
    row : mapping
        Of `Findings.stretches`; with window_p_value, window_p_from and q_value where a run has
        them.
    draws : int
    window : str
        Length of that window, in words.

    Returns
    -------
    str
    """
    p = float(row["p_value"])
    if not np.isfinite(p):
        return "not tested"
    reached = round(p * (draws + 1)) - 1
    tries = f"none of {draws:,} tries" if reached < 1 else f"{reached:,} of {draws:,} tries"
    words = (
        f"in {tries} did chance gather as much anywhere on these roads (p = {p_short(p, draws)}, "
        f"{WHOLE}; {METHOD})"
    )
    return "; ".join([words, *window_words(row, draws, window)])


def window_words(row: Mapping[str, Any], draws: int, window: str) -> list[str]:
    """Return what the fixed window of road that holds a stretch says by itself, if it is known.

    A p-value from a tail fit is marked as such; the q-value comes with what it promises.
    """
    out = []
    p = float(row.get("window_p_value", np.nan))
    if np.isfinite(p):
        out.append(f"the {window} window of road around it, by itself: p = {window_p(row, draws)}")
    q = float(row.get("q_value", np.nan))
    if np.isfinite(q):
        out.append(
            f"of all windows at least as sure, about {number(100 * q, 2)} in 100 are expected to "
            f"be false (q = {q:.2g}, Benjamini-Hochberg)"
        )
    return out


def window_p(row: Mapping[str, Any], draws: int) -> str:
    """Return a window's own p-value, marked where it is extrapolated."""
    p = float(row["window_p_value"])
    if plain_text(row.get("window_p_from")) == "tail fit":
        return f"{p:.2g} ({TAIL_FIT})"
    return p_short(p, draws)


def window_p_source(p: float, source: object, draws: int) -> str:
    """Return where a window's own p-value comes from; nothing where there is none."""
    if not np.isfinite(p):
        return ""
    if plain_text(source) == "tail fit":
        return TAIL_FIT
    least = ", no draw reached as far: or less" if p <= smallest(draws) else ""
    return f"counted in {draws} draws{least}"


def place_chance(p: float, stretch: int, draws: int) -> str:
    """Return whether a place stands out, and how sure that is.

    Parameters
    ----------
    p : float
        Of its strongest point.
    stretch : int
        0 for none.
    draws : int

    Returns
    -------
    str
    """
    known = f"p = {p_short(p, draws)} for its strongest point, {WHOLE}"
    if stretch > 0:
        return f"part of stretch {stretch}, which stands out ({known})"
    tested = f"does not stand out ({known})" if np.isfinite(p) else "not tested"
    return f"{tested}; that is no proof of safety"


def p_note(p: float, stretch: int, draws: int) -> str:
    """Return what a row's p-value in the ranked list belongs to."""
    if not np.isfinite(p):
        return "not tested"
    least = f"; {p_short(p, draws)}: no draw of {draws} reached as far" if p <= smallest(
        draws
    ) else ""  # fmt: skip
    part = f" (it lies in stretch {stretch})" if stretch > 0 else ""
    return f"of this window's strongest point, smoothed along the road{part}, {WHOLE}{least}"
