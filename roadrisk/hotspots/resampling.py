"""The study drawn anew: other animals, other observers, one year of reports fewer."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from roadrisk.hotspots.drawn_masses import ExpectedMasses, unit_weights

if TYPE_CHECKING:
    from collections.abc import Iterator

    from roadrisk.hotspots.events import Events
    from roadrisk.hotspots.levels import Level
    from roadrisk.hotspots.near_stretches import Near
    from roadrisk.hotspots.strands import Strands
    from roadrisk.roads.network import Floats, Ints
    from roadrisk.telemetry.crossing_mass import CrossingMass


@dataclass(frozen=True, eq=False)
class Resample:
    """Masses on lixels of one resample.

    Attributes
    ----------
    evidence : ndarray, shape (lixels,)
        Crossing-days and reports, as the ranked list counts them.
    voices : ndarray, shape (lixels,), or (lixels of the roads near stretches,)
        The same with each animal and observer as one event at most, as the scan counts them.
    expected : ndarray, of the same shape
        What the null model expects of `voices`.
    """

    evidence: Floats
    voices: Floats
    expected: Floats


def years_of(event_year: Ints) -> Ints:
    """Return the calendar years with reports, rising.

    Parameters
    ----------
    event_year : ndarray of int64
        0 where there is none.

    Returns
    -------
    ndarray of int64
    """
    return np.unique(event_year[event_year > 0])


def resamples(
    tested: Events,
    strands: Strands,
    mass: CrossingMass,
    event_year: Ints,
    *,
    count: int,
    rng: np.random.Generator,
    level: Level | None = None,
    near: Near | None = None,
) -> Iterator[Resample]:
    """Draw the study anew.

    Parameters
    ----------
    tested : Events
        Those that are compared with chance.
    strands : Strands
    mass : CrossingMass
        The animals' drawn paths.
    event_year : ndarray of int64, shape (events,)
        `points.Points.event_year`.
    count : int
    rng : numpy.random.Generator
    level : Level, optional
        Where the evidence is shown, if not on the lixels of `tested`.
    near : Near, optional
        The roads that voices are asked of; all unless given.

    Yields
    ------
    Resample

    Notes
    -----
    Each resample (a) leaves out the reports of one calendar year, the years in turn, and scales
    the others up to the same number of years; with reports of one year only nothing is left
    out; (b) draws as many animals as there are, with replacement, each with one of its drawn
    paths at random; (c) draws as many observers as there are, with replacement, with all their
    reports; all reports without an observer's name count as one observer's. Crossings keep all
    their years: the drawn paths are of the whole time that an animal was watched.
    """
    years = years_of(event_year)
    report = tested.unit_is_observer[tested.unit]
    of_year = event_year[tested.event]
    animal_row = {name: k for k, name in enumerate(mass.animals)}
    animals, observers = np.flatnonzero(~tested.unit_is_observer), tested.unit_is_observer.sum()
    row_of = np.array([animal_row[tested.unit_names[u]] for u in animals], np.int64)
    lixels = len(strands.lixel_length_m)
    shown = tested.lixel if tested.shown is None else tested.shown
    size = lixels if level is None else len(level.shown)
    on_line = mass if level is None else level.mass(mass)
    paths = _Paths(mass, on_line, tested, row_of, animals, size, lixels, near)
    whole = unit_weights(tested)
    if near is None:
        mean, rows = ExpectedMasses(tested, strands), np.arange(len(whole))
        voiced, voice_size = tested.lixel, lixels
    else:
        mean, rows = ExpectedMasses(near.events, near.strands), near.rows
        voiced, voice_size = near.events.lixel, len(near.part.lixel)
    for n in range(count):
        kept = report.copy()
        scale = 1.0
        if len(years) > 1:
            kept &= of_year != years[n % len(years)]
            scale = len(years) / (len(years) - 1)
        times = np.zeros(tested.units, np.int64)
        seen = rng.integers(observers, size=observers)
        times[tested.unit_is_observer] = np.bincount(seen, minlength=observers)
        who = rng.integers(len(mass.animals), size=len(mass.animals))
        drawn_path = rng.integers(max(mass.draws, 1), size=len(mass.animals))
        copies = np.bincount(who, minlength=len(mass.animals))
        times[animals] = copies[row_of]
        days, voices = paths.laid(who, drawn_path)
        amount = np.where(kept, tested.weight, 0.0)
        one = unit_weights(tested, weight=amount) * times[tested.unit]
        evidence = days + np.bincount(shown, amount * times[tested.unit] * scale, minlength=size)
        voices += np.bincount(voiced, one[rows], minlength=voice_size)
        due = mean.of(np.where(report, one, whole * times[tested.unit])[rows])
        yield Resample(evidence, voices, due)


class _Paths:
    """Drawn paths by animal and draw, and which of their places count in the test."""

    def __init__(
        self,
        mass: CrossingMass,
        on_line: CrossingMass,
        tested: Events,
        row_of: Ints,
        animals: Ints,
        size: int,
        lixels: int,
        near: Near | None,
    ) -> None:
        self._mass, self._size = mass, size
        # Where voices are counted; -1 beside the roads that are asked about.
        self._voiced, self._voice_size = on_line.lixel.astype(np.int64), lixels
        if near is not None:
            at = np.searchsorted(near.part.lixel, self._voiced)
            at = at.clip(0, max(len(near.part.lixel) - 1, 0))
            there = near.part.lixel[at] == self._voiced if len(near.part.lixel) else at < 0
            self._voiced, self._voice_size = np.where(there, at, -1), len(near.part.lixel)
        draws = max(mass.draws, 1)
        key = mass.animal * draws + mass.draw
        self._first = np.searchsorted(key, np.arange(len(mass.animals) * draws + 1))
        # Roads that hardly any of an animal's paths cross are no places of that animal.
        row = np.full(tested.units, -1, np.int64)
        row[animals] = row_of
        mine = ~tested.unit_is_observer[tested.unit]
        counted = np.unique(row[tested.unit[mine]] * lixels + tested.lixel[mine])
        place = mass.animal.astype(np.int64) * lixels + on_line.lixel
        self._counted = np.isin(place, counted)

    def laid(self, who: Ints, path: Ints) -> tuple[Floats, Floats]:
        """Return crossing-days on lixels of some animals' paths, and each as one voice."""
        m = self._mass
        key = who * max(m.draws, 1) + path
        first, last = self._first[key], self._first[key + 1]
        size = last - first
        copy = np.repeat(np.arange(len(who)), size)
        rows = np.arange(size.sum()) - np.repeat(np.cumsum(size) - size, size) + first[copy]
        days = m.days[rows]
        evidence = np.bincount(m.lixel[rows], days, minlength=self._size).astype(np.float64)
        heard = np.where(self._counted[rows], days, 0.0)
        total = np.bincount(copy, heard, minlength=len(who))
        one = heard * np.minimum(1.0, 1.0 / np.maximum(total, 1e-300))[copy]
        at = self._voiced[rows]
        on = at >= 0
        voices = np.bincount(at[on], one[on], minlength=self._voice_size)
        return evidence, voices.astype(np.float64)
