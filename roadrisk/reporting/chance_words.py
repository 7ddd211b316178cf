"""Chances in words: what a planner reads, with the p-value and the method's name beside it."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import numpy as np

from roadrisk.reporting.csv_text import plain_text
from roadrisk.reporting.stretch_letters import stretch_letter
from roadrisk.reporting.wording import short_length

if TYPE_CHECKING:
    from collections.abc import Mapping

    from roadrisk.base.units import Units

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


def stretch_chance(row: Mapping[str, Any], draws: int) -> str:
    """Return how sure it is that a stretch stands out.

    Parameters
    ----------
    row : mapping
        Of `Findings.stretches`.
    draws : int

    Returns
    -------
    str
    """
    p = float(row["p_value"])
    if not np.isfinite(p):
        return "not tested"
    reached = round(p * (draws + 1)) - 1
    tries = f"none of {draws:,} tries" if reached < 1 else f"{reached:,} of {draws:,} tries"
    return (
        f"in {tries} did chance gather as much anywhere on these roads (p = {p_short(p, draws)}, "
        f"{WHOLE}; {METHOD})"
    )


def window_p_source(p: float, source: object, draws: int) -> str:
    """Return where a window's own p-value comes from; nothing where there is none."""
    if not np.isfinite(p):
        return ""
    if plain_text(source) == "tail fit":
        return TAIL_FIT
    counted = f"counted in {draws} draws"
    if p <= smallest(draws):
        return f"{counted}; none of them reached as far, so it is {p_short(p, draws)}"
    return counted


def q_words(q: float) -> str:
    """Return what a q-value promises and under what condition; nothing where there is none."""
    if not np.isfinite(q):
        return ""
    return (
        f"at most {q:.2g}, where reports fall evenly within the window: of all windows listed "
        "with a q as small as this or smaller, the share that is expected to be false "
        "(Benjamini-Hochberg over the fixed windows of road)"
    )


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
        return (
            f"belongs to the smoothed evidence of stretch {stretch_letter(stretch)}, which stands "
            f"out ({known}); its sheet says where it starts and ends"
        )
    tested = f"does not stand out ({known})" if np.isfinite(p) else "not tested"
    return f"{tested}; that is no proof of safety"


def window_chance(row: Mapping[str, Any], draws: int, units: Units) -> str:
    """Return what is known of a ranked window: that of its stretch, and how much lies in it.

    Parameters
    ----------
    row : mapping
        Of `Findings.ranked`.
    draws : int
    units : {"metric", "us"}

    Returns
    -------
    str
    """
    p, stretch = float(row["p_value"]), float(np.nan_to_num(row["stretch"]))
    if stretch <= 0:
        return place_chance(p, 0, draws)
    known = f"p = {p_short(p, draws)} {WHOLE}"
    return (
        f"{within_stretch(row, units)}; that stretch stands out as a whole ({known}), this piece "
        "was not tested by itself"
    )


def within_stretch(row: Mapping[str, Any], units: Units) -> str:
    """Return how much of a ranked window lies in its stretch: 40 of its 100 m lie in stretch C."""
    letter = stretch_letter(float(np.nan_to_num(row["stretch"])))
    if not letter:
        return ""
    inside, whole = float(row["metres_in_stretch"]), float(row["length_m"])
    if inside <= 0:
        return f"beside stretch {letter}, none of it inside"
    if inside > whole - 0.5:
        return f"all of it lies in stretch {letter}"
    part, of = short_length(inside, units), short_length(whole, units)
    if part.split()[1] == of.split()[1]:
        part = part.split()[0]
    return f"{part} of its {of} lie in stretch {letter}"


def p_note(row: Mapping[str, Any], draws: int, units: Units) -> str:
    """Return what a row's p-value in the ranked list belongs to: no test of the row by itself.

    Parameters
    ----------
    row : mapping
        Of `Findings.ranked`.
    draws : int
    units : {"metric", "us"}

    Returns
    -------
    str
    """
    p = float(row["p_value"])
    if not np.isfinite(p):
        return "not tested"
    least = f"; {p_short(p, draws)}: no draw of {draws} reached as far" if p <= smallest(
        draws
    ) else ""  # fmt: skip
    of = f"no test of this row by itself: of the strongest point, smoothed along the road, {WHOLE}"
    letter = stretch_letter(float(np.nan_to_num(row["stretch"])))
    if not letter:
        return f"{of}{least}"
    return (
        f"{of}; all rows of stretch {letter} stand for one finding, that of the stretch "
        f"({within_stretch(row, units)}){least}"
    )
