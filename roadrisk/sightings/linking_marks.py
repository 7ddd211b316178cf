"""Reports as numbers, what is estimated once for a study, and what can't be one animal."""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

import numba as nb

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    from roadrisk.roads.network import Floats, Ints

    Bools = NDArray[np.bool_]

ALIVE, DEAD, EITHER = 0, 1, 2
LEFT, MARKED, REMOVED, ALREADY_MARKED = 0, 1, 2, 3
FLOOR = -60.0  # by-hand joins may be as unlikely as they like, and stay possible


class Marks(NamedTuple):
    """Reports in order of time, as numbers; all arrays have one entry a report.

    x, y, variance: nearest place on a road and variance of its error along it [m, m²]. vague: its
    uncertainty was not stated. time, day: of the report and the beginning of its local day [days];
    day_only: no time of day was given. state: ALIVE, DEAD, EITHER. observer, organism, photo, unit:
    codes, -1 for none; unit is shared by reports that were joined by hand. share: the observer's
    share of reports nearby; habit: how much likelier than other people this one reports an animal
    again. busy: how much oftener than elsewhere an animal is reported at this place.
    kinds, shape (n, 3): codes of sex, stage and species, -1 for unknown. size: log length, NaN for
    unknown. action: LEFT, MARKED, ...; -1 for none. survey: made by a carcass survey.
    """

    x: Floats
    y: Floats
    variance: Floats
    vague: Bools
    time: Floats
    day: Floats
    day_only: Bools
    state: Ints
    observer: Ints
    share: Floats
    habit: Floats
    busy: Floats
    kinds: Ints
    size: Floats
    action: Ints
    survey: Bools
    organism: Ints
    photo: Ints
    unit: Ints


class Rates(NamedTuple):
    """What is estimated once for a study.

    life, shape (2, rates, stays): shares of animals, alive and dead, by the rate at which they are
    reported (seen, shape (2, rates) [1/day]) and the mean time that they are there (stay, shape
    (2, stays) [days]). last, shape (2,): longest time between two reports [days]. near_factor,
    near_weight, shape (2, parts): multiples of the standard deviation, stated and not.
    floor_variance: of the distance, however exact the reports [m²]. repeat, shape (3,): how much
    likelier than by its share the same observer reports the animal again, within 6 hours, 36
    hours and later. kind_error, shape (3,), and kind_share, shape (3, words): how often sex, stage
    and species are wrong, and how common they are. size_mean, size_sd, size_error: of log length.
    remark_ratio: by bin of likeness.
    """

    life: Floats
    seen: Floats
    stay: Floats
    last: Floats
    near_factor: Floats
    near_weight: Floats
    floor_variance: float
    repeat: Floats
    kind_error: Floats
    kind_share: Floats
    size_mean: float
    size_sd: float
    size_error: float
    remark_ratio: Floats


@nb.njit(cache=True, nogil=True, inline="always")
def exclude_each_other(m: Marks, i: int, j: int, rates: Rates) -> bool:
    """Whether two reports can't be of one animal at a time.

    Parameters
    ----------
    m : Marks
    i, j : int
        i before j.
    rates : Rates

    Returns
    -------
    bool
    """
    a, b = m.state[i], m.state[j]
    if (a == ALIVE and b == DEAD) or (a == DEAD and b == ALIVE):
        return True
    if m.organism[i] >= 0 and m.organism[j] >= 0 and m.organism[i] != m.organism[j]:
        return True
    alive = ALIVE in (a, b)
    same_day = m.day[i] == m.day[j]
    unknown_order = same_day and (m.day_only[i] or m.day_only[j])
    if unknown_order:
        return False
    if alive and (m.day_only[i] or m.day_only[j] or m.time[j] - m.time[i] > rates.last[ALIVE]):
        return True
    if m.action[i] == REMOVED:
        return True
    return m.action[i] == MARKED and m.survey[j] and m.action[j] != ALREADY_MARKED
