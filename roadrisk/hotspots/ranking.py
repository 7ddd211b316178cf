"""The ranked list: windows of road of one length, best first."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from roadrisk.base.intervals import poisson_exact
from roadrisk.hotspots.events import ALIVE, CROSSING, DEAD, OTHER, Events
from roadrisk.hotspots.window_search import best_on_edges

if TYPE_CHECKING:
    from roadrisk.roads.network import Floats, Ints, Lixels, Network
    from roadrisk.telemetry.crossing_mass import CrossingMass

# An observer counts in a place with at least this much of a report there, in total: a report of
# uncertain place is shared out over many pieces of road, and a sliver of it is no witness.
LEAST_REPORT = 0.5
# With more animals and observers than this, resamples draw those of a window alone.
MANY_UNITS = 2_000


@dataclass(frozen=True, eq=False)
class Windows:
    """Pieces of road that don't overlap, best first.

    Attributes
    ----------
    first, last : ndarray of int64, shape (windows,)
        First lixel and the one after the last; both on one edge.
    counted_m : ndarray, shape (windows,)
        Length that the count is divided by [m]: the window's own, but never less than the set
        window, so that a short stub between two junctions can't top the list by its length.
    """

    first: Ints
    last: Ints
    counted_m: Floats


@dataclass(frozen=True)
class Tally:
    """What lies in one window.

    Attributes
    ----------
    crossing_days, reports_alive, reports_dead, reports_other : float
        Expected crossing-days of all tagged animals, and sums of the reports' weights.
    animals : int
        Tagged animals that cross here in at least half of their drawn paths.
    observers : int
        Different ones with half a report or more in the window, all their reports together.
    reports : int
        Different reports with more than a twentieth of themselves in the window.
    one_report : float
        Share of the largest single report in the window's evidence, 0..1.
    largest_share : float
        Largest share of one animal or observer in the window's evidence, 0..1.
    largest_is_observer : bool
        Whether that unit is an observer.
    value, low, high : float
        Crossings and reports per km and year, with the interval over animals and observers;
        NaN where it can't be told.
    independent_low, independent_high : float
        The interval that would hold if every event were independent of all others (exact
        Poisson), per km and year.
    note : str
        Where the interval comes from, or why there is none.
    """

    crossing_days: float
    reports_alive: float
    reports_dead: float
    reports_other: float
    animals: int
    observers: int
    reports: int
    one_report: float
    largest_share: float
    largest_is_observer: bool
    value: float
    low: float
    high: float
    independent_low: float
    independent_high: float
    note: str


def best_windows(
    network: Network,
    lixels: Lixels,
    events: Events,
    density: Floats,
    *,
    window_m: float,
    rows: int,
) -> Windows:
    """Choose the windows with most crossings and reports per km, without overlap.

    Parameters
    ----------
    network : Network
    lixels : Lixels
    events : Events
    density : ndarray, shape (lixels,)
        Kernel density; decides between windows that hold the same events, so that the events
        lie in a window's middle and not at its end.
    window_m : float
        Length of a window [m]. An edge shorter than this is one window.
    rows : int
        At most so many windows.

    Returns
    -------
    Windows
        Only windows that hold anything.
    """
    mass = np.bincount(events.lixel, events.weight, minlength=len(lixels)).astype(np.float64)
    return windows_of_mass(lixels, mass, density, window_m=window_m, rows=rows)


def windows_of_mass(
    lixels: Lixels, mass: Floats, density: Floats, *, window_m: float, rows: int
) -> Windows:
    """Choose windows as `best_windows` does, from the mass on each lixel.

    Parameters
    ----------
    lixels : Lixels
    mass : ndarray, shape (lixels,)
    density : ndarray, shape (lixels,)
    window_m : float
    rows : int

    Returns
    -------
    Windows
    """
    whole = np.concatenate([[0.0], np.cumsum(mass)])
    length = np.concatenate([[0.0], np.cumsum(lixels.length_m)])
    near = np.concatenate([[0.0], np.cumsum(density * lixels.length_m)])
    first, last, counted, value, middle = best_on_edges(
        lixels.first, lixels.length_m[lixels.first[:-1]], whole, length, near, float(window_m)
    )
    best = np.arange(len(value))
    if rows < len(value):
        # No more than are asked for, and what ties with the last of them, need an order.
        best = np.flatnonzero(value >= np.partition(value, -rows)[-rows]) if rows else best[:0]
    order = best[np.lexsort((first[best], -middle[best], -value[best]))][:rows]
    return Windows(first[order], last[order], counted[order])


def tally(
    windows: Windows,
    events: Events,
    mass: CrossingMass,
    *,
    years: float,
    level: float,
    rng: np.random.Generator,
) -> list[Tally]:
    """Count what lies in each window, with an interval over animals and observers.

    Parameters
    ----------
    windows : Windows
    events : Events
    mass : CrossingMass
        The tagged animals' drawn paths: each resample takes one of an animal's paths at random.
    years : float
        Length of the study [years].
    level : float
        Coverage of the interval, two-sided.
    rng : numpy.random.Generator

    Returns
    -------
    list of Tally
    """
    row_of = {name: k for k, name in enumerate(mass.animals)}
    unit_of = np.full(len(mass.animals), -1, np.int64)
    for unit, (name, observer) in enumerate(
        zip(events.unit_names, events.unit_is_observer, strict=True)
    ):
        if not observer:
            unit_of[row_of[name]] = unit
    out = []
    for first, last, counted in zip(windows.first, windows.last, windows.counted_m, strict=True):
        inside = (events.lixel >= first) & (events.lixel < last)
        here = (mass.lixel >= first) & (mass.lixel < last)
        unit = unit_of[mass.animal[here]]
        paths = np.zeros((events.units, max(mass.draws, 1)))
        np.add.at(paths, (unit, mass.draw[here]), mass.days[here])
        out.append(_tally_one(events, inside, paths, counted / 1000 * years, level, rng))
    return out


def windows_of_lixels(windows: Windows, lixels: int) -> Ints:
    """Return the window that each lixel lies in, -1 for none.

    Parameters
    ----------
    windows : Windows
    lixels : int
        Number of lixels.

    Returns
    -------
    ndarray of int64, shape (lixels,)
    """
    out = np.full(lixels, -1, np.int64)
    for number, (first, last) in enumerate(zip(windows.first, windows.last, strict=True)):
        out[first:last] = number
    return out


def _tally_one(
    events: Events,
    inside: np.ndarray,
    paths: Floats,
    km_years: float,
    level: float,
    rng: np.random.Generator,
) -> Tally:
    weight, kind = events.weight[inside], events.kind[inside]
    by_unit: Floats = np.bincount(events.unit[inside], weight, events.units).astype(np.float64)
    crosses = (paths > 0).mean(axis=1) >= 0.5
    present = np.where(events.unit_is_observer, by_unit >= LEAST_REPORT, crosses)
    largest = int(by_unit.argmax())
    total = float(weight.sum())
    by_report = np.bincount(events.event[inside], np.where(kind == CROSSING, 0.0, weight))
    poisson = [float(v) / km_years for v in poisson_exact(total, level)]
    if present.sum() < 3:
        low = high = np.nan
        note = "fewer than 3 animals or observers: interval not identified"
    else:
        low, high = _resampled(by_unit, paths, events.unit_is_observer, km_years, level, rng)
        note = "animals and observers resampled, animals with their drawn paths"
    return Tally(
        crossing_days=float(weight[kind == CROSSING].sum()),
        reports_alive=float(weight[kind == ALIVE].sum()),
        reports_dead=float(weight[kind == DEAD].sum()),
        reports_other=float(weight[kind == OTHER].sum()),
        animals=int((present & ~events.unit_is_observer).sum()),
        observers=int((present & events.unit_is_observer).sum()),
        reports=int((by_report > 0.05).sum()),
        one_report=float(by_report.max(initial=0.0) / total) if total > 0 else 0.0,
        largest_share=float(by_unit[largest] / total) if total > 0 else 0.0,
        largest_is_observer=bool(events.unit_is_observer[largest]),
        value=total / km_years,
        low=low,
        high=high,
        independent_low=poisson[0],
        independent_high=poisson[1],
        note=note,
    )


def _resampled(
    by_unit: Floats,
    paths: Floats,
    is_observer: np.ndarray,
    km_years: float,
    level: float,
    rng: np.random.Generator,
    *,
    resamples: int = 2000,
) -> tuple[float, float]:
    """Percentile interval over animals, with one drawn path each, and observers."""
    units, draws = paths.shape
    if units > MANY_UNITS:
        amount = _resampled_few(by_unit, paths, is_observer, resamples, rng)
    else:
        who = rng.integers(units, size=(resamples, units))
        path = rng.integers(draws, size=(resamples, units))
        amount = np.where(is_observer[who], by_unit[who], paths[who, path]).sum(axis=1)
    ends = np.quantile(amount, [(1 - level) / 2, (1 + level) / 2]) / km_years
    return float(ends[0]), float(ends[1])


def _resampled_few(
    by_unit: Floats, paths: Floats, is_observer: np.ndarray, resamples: int,
    rng: np.random.Generator,
) -> Floats:  # fmt: skip
    """Return sums of resamples as `_resampled` makes them, from the units that are here alone.

    How often each of them is drawn is multinomial; all others bring nothing.
    """
    here = np.flatnonzero((by_unit > 0) | (paths > 0).any(axis=1))
    units, draws = paths.shape
    chance = np.append(np.full(len(here), 1 / units), 1 - len(here) / units)
    times = rng.multinomial(units, np.maximum(chance, 0.0), size=resamples)[:, :-1]
    seen = is_observer[here]
    out = times[:, seen] @ by_unit[here[seen]]
    for unit, copies in zip(here[~seen], times[:, ~seen].T, strict=True):
        drawn = paths[unit, rng.integers(draws, size=int(copies.sum()))]
        out += np.bincount(np.repeat(np.arange(resamples), copies), drawn, resamples)
    return np.asarray(out, np.float64)
