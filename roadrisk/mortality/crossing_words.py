"""Deaths from crossings in words."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
from scipy import stats

from roadrisk.base.intervals import poisson_exact
from roadrisk.base.plain_numbers import span

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]

NO_POPULATION = "not identified: how many animals there are isn't known ([population])"


def crossing_words(
    total: Floats,
    adults: Floats,
    plain: tuple[float, float],
    tagged: Floats,
    note: str,
    level: float,
    *,
    totals_identified: bool,
    seen: int | None,
    crossed: float,
) -> tuple[str, ...]:
    """Say what crossings lead to expect, on what it stands, and what isn't known.

    Parameters
    ----------
    total : ndarray, shape (draws,)
        Deaths per animal and year on all roads; NaN where not identified.
    adults : ndarray, shape (draws,)
        Adults there are; NaN where not known.
    plain : (float, float)
        The sample's own deaths per animal and year, and the stated number of adults.
    tagged : ndarray, shape (draws,)
        Deaths to expect among the tagged animals.
    note : str
        What the rate's interval is made of, or why there is none.
    level : float
        Coverage of intervals, two-sided.
    totals_identified : bool
        Whether all crossings are counted and not only days with one.
    seen : int or None
        Tagged animals known to have died on a road.
    crossed : float
        Crossings of the tagged animals while watched, or days with one.

    Returns
    -------
    tuple of str
    """
    out = []
    each, many = plain
    if np.isfinite(total).all():
        out.append(
            f"Crossings of the tagged animals and the chance that one kills give "
            f"{_span(100 * total, level, 100 * each)} road deaths per 100 such animals and year, "
            f"if animals don't respond to the road ({note})."
        )
    else:
        out.append(f"Road deaths of animals like the tagged ones: not identified ({note}).")
    if not np.isfinite(adults).all():
        out.append(f"Deaths a year from crossings: {NO_POPULATION}.")
    elif np.isfinite(total).all():
        out.append(
            "For the population that the study states, "
            f"{_span(total * adults, level, each * many)} road deaths a year from crossings."
        )
    out.append(
        "Every crossing there and back carries the risk, and all crossings are counted, under "
        "the stated winding of paths."
        if totals_identified
        else "Every crossing there and back carries the risk, but the fixes tell only on how "
        "many days animals crossed: with one crossing a day these deaths are a lower bound."
    )
    out.append(
        f"Among the tagged animals themselves {_span(tagged, level)} road deaths were to be "
        "expected while they were watched, if they crossed as drawn."
    )
    if seen is not None:
        out.append(_seen_words(tagged, seen))
        if crossed > 0:
            low, high = chance_seen(seen, crossed, level)
            one = "a crossing" if totals_identified else "a day with crossings"
            deaths = "death" if seen == 1 else "deaths"
            out.append(
                f"By the tagged animals' own fates {one} kills with chance "
                f"{span(seen / crossed, low, high, 2)}: {seen} road {deaths} in about "
                f"{crossed:.0f} of them. That takes no traffic and no walking speed, but a death "
                "that took the transmitter with it is missing there."
            )
    return tuple(out)


def _small(chance: float) -> str:
    return "below 0.001" if chance < 0.001 else f"{chance:.2g}"


def _seen_words(tagged: Floats, seen: int) -> str:
    fewer = float(np.mean(stats.poisson.cdf(seen, tagged)))
    more = float(np.mean(stats.poisson.sf(seen - 1, tagged)))
    text = f"{seen} of them {'is' if seen == 1 else 'are'} known to have died on a road"
    if fewer < 0.05:
        return (
            f"{text}: that is fewer than crossings and traffic lead to expect (chance of so few "
            f"{_small(fewer)}). They may avoid the road, cross when it is quiet, or a borrowed "
            "value (speed, strip, traffic) may be wrong: deaths from crossings are then too high."
        )
    if more < 0.05:
        return (
            f"{text}: that is more than crossings and traffic lead to expect (chance of so many "
            f"{_small(more)}): deaths from crossings may be too low."
        )
    return f"{text}, which doesn't contradict it."


def chance_seen(seen: int, crossed: float, level: float) -> tuple[float, float]:
    """Return limits of the chance that a crossing kills from the tagged animals' own fates.

    Parameters
    ----------
    seen : int
        Road deaths among them.
    crossed : float
        Their crossings, above 0.
    level : float
        Coverage, two-sided.

    Returns
    -------
    low, high : float
        Exact (Garwood) for a Poisson count over `crossed`; 1 at most.
    """
    low, high = poisson_exact(float(seen), level)
    return min(float(low) / crossed, 1.0), min(float(high) / crossed, 1.0)


def _span(values: Floats, level: float, value: float | None = None) -> str:
    low, high = np.quantile(values, [(1 - level) / 2, (1 + level) / 2])
    middle = float(values.mean()) if value is None else value
    return span(middle, min(low, middle), max(high, middle))
