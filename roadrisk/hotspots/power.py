"""What the comparison with chance could find at all, with so many animals and observers."""

from __future__ import annotations

from dataclasses import dataclass, replace
from itertools import product
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd
from scipy import stats

from roadrisk.base.progress import Progress, Silent
from roadrisk.hotspots.chance import compare_with_chance
from roadrisk.hotspots.moves import (
    begin_of,
    bounds,
    lay_out,
    planted_middles,
    rule_of_groups,
    rules_on,
)
from roadrisk.hotspots.path_kernel import part_of
from roadrisk.hotspots.strands import Strands
from roadrisk.hotspots.tiled_kernel import TiledKernel

if TYPE_CHECKING:
    from roadrisk.hotspot_settings import HotspotsSection
    from roadrisk.hotspots.events import Bools, Events
    from roadrisk.hotspots.path_kernel import LixelKernel
    from roadrisk.roads.network import Floats, Ints

LENGTHS_M = (200.0, 500.0)
TIMES = (3.0, 5.0)
# Roads [m] and pieces of events that worlds are made of at most; with more a sample is taken.
MOST_ROAD_M = 100_000.0
MOST_PIECES = 4_000
# Below this share found, of stretches of 500 m at five times the rest, "none" says nothing.
TOO_FEW = 0.20
COLUMNS = ("who", "units", "length_m", "times", "worlds", "found", "found_low", "found_high")
BOTH, ANIMALS, OBSERVERS = "animals and observers", "animals only", "observers only"
ONE_YEAR, TWICE = "with the reports of one year only", "with twice as many of each"


@dataclass(frozen=True, eq=False)
class Power:
    """Chance to find planted stretches.

    Attributes
    ----------
    table : pandas.DataFrame
        One row a group of units, length and strength. Columns: who, units, length_m, times (how
        many times as likely a place in the stretch is as one outside), worlds (simulated), found
        (share of worlds), found_low and found_high (90 %, of the simulation's own chance).
    enough : bool
        Whether the strongest case (500 m, five times) is found in 20 % of worlds or more.
    words : str
        One or two sentences for a planner.
    """

    table: pd.DataFrame
    enough: bool
    words: str


@dataclass(frozen=True, eq=False)
class _Ground:
    """The long line that worlds are made on, and what the test needs of the network."""

    strands: Strands
    kernel: LixelKernel
    length_m: Floats
    share: float
    peak_per_m: float | None = None


def find_power(
    tested: Events,
    strands: Strands,
    kernel: LixelKernel,
    lixel_length_m: Floats,
    *,
    settings: HotspotsSection,
    rng: np.random.Generator,
    peak_per_m: float | None = None,
    event_year: Ints | None = None,
    progress: Progress | None = None,
) -> Power:
    """Work out by simulation how often a planted stretch would be found.

    Parameters
    ----------
    tested : Events
        Only who there is and how much each one's events weigh is taken from them; where they lie
        is not looked at.
    strands : Strands
    kernel : scipy.sparse.csr_array or PathKernel
    lixel_length_m : ndarray, shape (lixels,)
    settings : HotspotsSection
        `power_worlds` simulated studies a cell; up to four times as many for 500 m at five times,
        where it is not clear whether 20 % of them are found.
    rng : numpy.random.Generator
    peak_per_m : float, optional
        As in `chance.compare_with_chance`.
    event_year : ndarray of int64, shape (events,), optional
        `points.Points.event_year`; without it one year is not told from the others.
    progress : Progress, optional

    Returns
    -------
    Power

    Notes
    -----
    In each world a stretch is planted at a random place of the roads. Every animal's range and
    every place that an observer reports from keeps its events and their shape and is laid at
    random along the roads (by the chances of `strands.rules` where there are any), a place in the
    stretch being 3 or 5 times as likely as one outside.
    Then the comparison with chance is made as for the study, with fewer draws. A stretch is
    found if it stands out somewhere. Evidence spread as unevenly as in real life is found more
    easily where there is much of it and not at all where there is little.
    """
    homes = _homes(tested, strands)
    ground = _sample(strands, kernel, lixel_length_m, len(homes.lixel), rng)
    ground = replace(ground, peak_per_m=peak_per_m)
    animals = ~homes.unit_is_observer
    groups = {BOTH: np.ones(homes.units, bool), ANIMALS: animals, OBSERVERS: ~animals}
    draws = int(min(np.ceil(3 / settings.alpha) - 1, settings.draws))
    cells = list(product([BOTH], LENGTHS_M, TIMES))
    # What pooling kinds of evidence and years brings, and what more of both would, for the
    # strongest case.
    others = [ANIMALS, OBSERVERS] if animals.any() and (~animals).any() else []
    pools = dict.fromkeys((BOTH, ANIMALS, OBSERVERS), homes)
    year = _fullest_year(tested, event_year)
    if year is not None:
        pools[ONE_YEAR] = _homes(_of_year(tested, event_year, year), strands)
        others.append(ONE_YEAR)
    if homes.units:
        pools[TWICE] = _doubled(homes)
        others.append(TWICE)
    for who in (ONE_YEAR, TWICE):
        if who in pools:
            groups[who] = np.ones(pools[who].units, bool)
    cells += [(who, LENGTHS_M[-1], TIMES[-1]) for who in others]
    rows, worlds = [], settings.power_worlds
    with (progress or Silent()).step("What could be found", len(cells) * worlds) as tick:
        for who, length, times in cells:
            units = round(groups[who].sum() * ground.share)
            found = made = 0
            low, high = 0.0, 1.0
            decides = (who, length, times) == (BOTH, LENGTHS_M[-1], TIMES[-1])
            while made < worlds or (decides and low < TOO_FEW < high and made < 4 * worlds):
                chosen = rng.permutation(np.flatnonzero(groups[who]))[: max(units, 1)]
                found += _found(pools[who], chosen, ground, length, times, draws, settings, rng)
                made += 1
                if made <= worlds:
                    tick()
                if made % worlds == 0:
                    low, high = _interval(found, made)
            rows.append((who, int(groups[who].sum()), length, times, made, found / made,
                         low, high))  # fmt: skip
    table = pd.DataFrame(rows, columns=list(COLUMNS))
    best = table[(table["who"] == BOTH) & (table["length_m"] == LENGTHS_M[-1])]
    share = float(best["found"].max()) if len(best) else 0.0
    return Power(table, share >= TOO_FEW, _words(table, ground, homes.units, year))


def _found(
    homes: Events,
    chosen: Ints,
    ground: _Ground,
    length: float,
    times: float,
    draws: int,
    settings: HotspotsSection,
    rng: np.random.Generator,
) -> bool:
    """Make one world and say whether its planted stretch is found."""
    strands = ground.strands
    whole = float(strands.cut_m[-1])
    if length >= whole or len(chosen) < settings.least_units:
        return False
    begin = begin_of(strands, length, rng.random())
    few = _pieces(homes, _rows_of(homes.unit, np.sort(chosen)))
    rule = rule_of_groups(few, strands)
    middle = planted_middles(strands, rule, begin, length, times, rng.random(few.blocks))
    world = _laid(few, middle, rule, strands)
    chance = compare_with_chance(
        world, strands, ground.kernel, ground.length_m, bandwidth_m=settings.bandwidth_m,
        least_units=settings.least_units, draws=draws, rng=rng, peak_per_m=ground.peak_per_m,
    )  # fmt: skip
    first, last = np.searchsorted(strands.cut_m, [begin, begin + length])
    here = strands.order[max(int(first) - 1, 0) : int(last)]
    return bool(chance.p_value[here].min() <= settings.alpha)


def _laid(events: Events, middle: Floats, rule: Ints, strands: Strands) -> Events:
    """Lay each block with its middle at a new place of the long line."""
    low, high = (end[events.block] for end in bounds(strands, rule, middle))
    span = high - low
    x = (middle[events.block] - low + events.position_m) % (2 * span)
    position = low + np.where(x >= span, 2 * span - x, x)
    slot = np.searchsorted(strands.cut_m, position, side="right") - 1
    lixel = strands.order[np.clip(slot, 0, len(strands.order) - 1)]
    return replace(events, lixel=lixel, position_m=position)


def _homes(events: Events, strands: Strands) -> Events:
    """Keep what is laid anew, with distances from its middle in place of positions.

    An animal keeps its largest block, with the weight of all: its other arms at a junction would
    be laid elsewhere and make a traveller of it.
    """
    offset = lay_out(events, strands).offset
    weight = np.bincount(events.block, events.weight, minlength=events.blocks)
    unit_of = np.zeros(events.blocks, np.int64)
    unit_of[events.block] = events.unit
    order = np.lexsort((weight, unit_of))
    main = events.unit_is_observer[unit_of]
    if len(order):
        main[order[np.append(np.flatnonzero(np.diff(unit_of[order])), len(order) - 1)]] = True
    keep = main[events.block]
    whole = np.bincount(events.unit, events.weight, minlength=events.units)
    left = np.bincount(events.unit[keep], events.weight[keep], minlength=events.units)
    scale = np.divide(whole, left, out=np.ones(events.units), where=left > 0)
    scaled = replace(events, position_m=offset, weight=events.weight * scale[events.unit])
    return _pieces(scaled, keep)


def _fullest_year(tested: Events, event_year: Ints | None) -> int | None:
    """Return the year with most reports, None where reports are of fewer than two years."""
    if event_year is None:
        return None
    year = event_year[tested.event]
    years, count = np.unique(year[year > 0], return_counts=True)
    return int(years[count.argmax()]) if len(years) > 1 else None


def _of_year(tested: Events, event_year: Ints | None, year: int) -> Events:
    """Leave out the reports of other years; tagged animals stay."""
    of = np.zeros(len(tested.event), np.int64) if event_year is None else event_year[tested.event]
    return _pieces(tested, ~tested.unit_is_observer[tested.unit] | (of == year))


def _doubled(homes: Events) -> Events:
    """Return every unit twice."""
    twice = {
        name: np.tile(getattr(homes, name), 2) for name in ("lixel", "position_m", "weight", "kind")
    }
    return replace(
        homes, **twice,
        event=np.concatenate([homes.event, homes.event + homes.event.max() + 1]),
        unit=np.concatenate([homes.unit, homes.unit + homes.units]),
        block=np.concatenate([homes.block, homes.block + homes.blocks]),
        unit_is_observer=np.tile(homes.unit_is_observer, 2), unit_names=homes.unit_names * 2,
        rule=None if homes.rule is None else np.tile(homes.rule, 2), shown=None,
    )  # fmt: skip


def _rows_of(unit: Ints, chosen: Ints) -> Ints:
    """Return the pieces of some units, of pieces sorted by unit."""
    first = np.searchsorted(unit, chosen)
    size = np.searchsorted(unit, chosen, side="right") - first
    return np.arange(size.sum()) + np.repeat(first - (np.cumsum(size) - size), size)


def _pieces(events: Events, keep: Bools | Ints) -> Events:
    """Keep some pieces, with units and blocks numbered anew."""
    units, unit = np.unique(events.unit[keep], return_inverse=True)
    return replace(
        events, lixel=events.lixel[keep], position_m=events.position_m[keep],
        weight=events.weight[keep], event=events.event[keep], unit=unit, kind=events.kind[keep],
        block=np.unique(events.block[keep], return_inverse=True)[1],
        unit_is_observer=events.unit_is_observer[units],
        unit_names=tuple(events.unit_names[u] for u in units),
        rule=None if events.rule is None else events.rule[keep], shown=None,
    )  # fmt: skip


def _sample(
    strands: Strands,
    kernel: LixelKernel,
    length_m: Floats,
    pieces: int,
    rng: np.random.Generator,
) -> _Ground:
    """Take the whole long line, or some of its windows where it is very long."""
    whole = float(strands.cut_m[-1]) if len(strands.order) else 0.0
    share = min(MOST_ROAD_M / max(whole, 1e-9), MOST_PIECES / max(pieces, 1))
    if share >= 1:
        if isinstance(kernel, TiledKernel):
            kernel = kernel.among(np.arange(len(length_m)))
        return _Ground(strands, kernel, length_m, 1.0)
    windows = len(strands.window_m) - 1
    at_once = 10 if windows >= 100 else 1
    # Runs of windows, so that few pieces of road end where the sample ends.
    runs = np.arange(0, windows, at_once)
    some = np.sort(rng.permutation(runs)[: max(1, round(share * len(runs)))])
    chosen = (some[:, None] + np.arange(at_once)).ravel()
    chosen = chosen[chosen < windows]
    middle = (strands.cut_m[:-1] + strands.cut_m[1:]) / 2
    window = np.clip(np.searchsorted(strands.window_m, middle) - 1, 0, windows - 1)
    slots = np.flatnonzero(np.isin(window, chosen))
    lixel = strands.order[slots]
    cut = np.concatenate([[0.0], np.cumsum(length_m[lixel])])
    last = np.flatnonzero(np.append(np.diff(window[slots]) != 0, True))
    ends = np.concatenate([[0.0], cut[last + 1]])
    start = np.full(len(lixel), np.nan)
    start[:] = cut[:-1]
    part = Strands(start, length_m[lixel], strands.forward[lixel],
                   np.arange(len(lixel), dtype=np.int64), cut, ends,
                   rules_on(strands.rules, lixel))  # fmt: skip
    return _Ground(part, part_of(kernel, lixel), length_m[lixel], cut[-1] / whole)


def _interval(found: int, worlds: int) -> tuple[float, float]:
    """Exact (Clopper-Pearson) 90 % interval of a share."""
    low = stats.beta.ppf(0.05, found, worlds - found + 1) if found else 0.0
    high = stats.beta.ppf(0.95, found + 1, worlds - found) if found < worlds else 1.0
    return float(low), float(high)


def _words(table: pd.DataFrame, ground: _Ground, units: int, year: int | None) -> str:
    if not units:
        return "With no animal and no observer nothing can be found."

    def of_100(who: str, length: float, times: float) -> int:
        cell = table[(table["who"] == who) & (table["length_m"] == length)]
        return round(100 * float(cell.loc[cell["times"] == times, "found"].iloc[0]))

    long5, long3, short5, short3 = (
        of_100(BOTH, length, times) for length in LENGTHS_M[::-1] for times in TIMES[::-1]
    )
    words = (
        f"What could be found with these {units} different animals and observers: of 100 hot "
        f"stretches of 500 m about {long5} if they had five times the evidence of the rest, "
        f"{long3} with three times; of 100 of 200 m about {short5} and {short3}."
    )
    if ANIMALS in set(table["who"]):
        words += (
            f" Of the strongest, 500 m and five times, the animals alone would show "
            f"{of_100(ANIMALS, 500.0, 5.0)}, the observers alone {of_100(OBSERVERS, 500.0, 5.0)}."
        )
    strongest = "" if ANIMALS in set(table["who"]) else " of the strongest"
    if year is not None:
        words += (
            f" With the reports of {year} alone (and all tagged animals) about "
            f"{of_100(ONE_YEAR, 500.0, 5.0)}{strongest}; "
            f"with twice as many animals and observers, about {of_100(TWICE, 500.0, 5.0)}."
        )
    else:
        words += (
            f" With twice as many animals and observers, about {of_100(TWICE, 500.0, 5.0)}"
            f"{strongest}."
        )
    if ground.share < 1:
        words += f" Worked out on {100 * ground.share:.0f} % of the roads, so somewhat too high."
    return words
