"""What a choice of measures averts together, how sure that is, and how sure its places are."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from roadrisk.mitigation.choice import choose_for_budget
from roadrisk.mitigation.run_values import mean_run_values, moved_draws, run_value_draws

if TYPE_CHECKING:
    from collections.abc import Sequence

    from roadrisk.mitigation.candidates import Candidates
    from roadrisk.mitigation.effects import EffectDraws
    from roadrisk.roads.network import Floats, Ints

_LOWEST = 0.10


@dataclass(frozen=True, eq=False)
class Portfolio:
    """Measures built together.

    Attributes
    ----------
    chosen : ndarray of int64, shape (sites,)
        Rows of the candidates, by place along the roads.
    before : ndarray, shape (sites, draws)
        Deaths a year on each site as it is.
    averted : ndarray, shape (sites, draws)
        Deaths averted a year by each site, net of those it moves.
    moved : ndarray, shape (sites, draws)
        Deaths a year that each site moves to its ends.
    cost : float
        In the candidates' unit.
    """

    chosen: Ints
    before: Floats
    averted: Floats
    moved: Floats
    cost: float

    @property
    def total(self) -> Floats:
        """Deaths averted a year by all sites, shape (draws,)."""
        return np.asarray(self.averted.sum(axis=0))

    @property
    def mean(self) -> float:
        """Expected deaths averted a year."""
        return float(self.total.mean())

    @property
    def interval(self) -> tuple[float, float]:
        """90 % interval of deaths averted a year."""
        low, high = np.quantile(self.total, [0.05, 0.95])
        return float(low), float(high)

    @property
    def lowest_tenth(self) -> float:
        """Deaths averted a year that nine draws in ten exceed."""
        return float(np.quantile(self.total, _LOWEST))


def mean_values(
    deaths: Floats, length_m: Floats, candidates: Candidates, effects: Sequence[EffectDraws]
) -> Floats:
    """Return what every candidate averts, as means over draws.

    Parameters
    ----------
    deaths : ndarray, shape (places, draws)
        A year.
    length_m : ndarray, shape (places,)
        [m].
    candidates : Candidates
        Their values are not looked at.
    effects : sequence of EffectDraws
        Of each measure; as many draws.

    Returns
    -------
    ndarray, shape (candidates,)
        Deaths averted a year.
    """
    value = np.zeros(len(candidates.first))
    for rows, effect, barrier in _by_measure(candidates, effects):
        value[rows] = mean_run_values(
            deaths, length_m, candidates.first[rows], candidates.last[rows],
            effect.effect, effect.displaced, effect.end_m, barrier,
        )  # fmt: skip
    return value


def evaluate(
    deaths: Floats,
    length_m: Floats,
    candidates: Candidates,
    chosen: Ints,
    effects: Sequence[EffectDraws],
) -> Portfolio:
    """Work out what a choice averts in every draw.

    Parameters
    ----------
    deaths : ndarray, shape (places, draws)
        A year.
    length_m : ndarray, shape (places,)
        [m].
    candidates : Candidates
    chosen : ndarray of int64, shape (sites,)
        Rows of the candidates; none excludes another.
    effects : sequence of EffectDraws
        Of each measure; as many draws.

    Returns
    -------
    Portfolio
    """
    chosen = np.asarray(chosen, dtype=np.int64)
    chosen = chosen[np.argsort(candidates.first[chosen], kind="stable")]
    first, last = candidates.first[chosen], candidates.last[chosen]
    before = np.zeros((len(chosen), deaths.shape[1]))
    for k, (a, b) in enumerate(zip(first, last, strict=True)):
        before[k] = deaths[a:b].sum(axis=0)
    averted, moved = np.zeros_like(before), np.zeros_like(before)
    for rows, effect, barrier in _by_measure(_of_rows(candidates, chosen), effects):
        runs = deaths, length_m, first[rows], last[rows]
        draws = effect.effect, effect.displaced, effect.end_m
        averted[rows] = run_value_draws(*runs, *draws, barrier)
        if barrier:
            moved[rows] = moved_draws(*runs, *draws)
    return Portfolio(chosen, before, averted, moved, float(candidates.cost[chosen].sum()))


def choices_of_draws(
    deaths: Floats,
    length_m: Floats,
    candidates: Candidates,
    effects: Sequence[EffectDraws],
    budget: float,
    *,
    choices: int = 100,
    gap: float = 0.01,
) -> list[Ints]:
    """Choose anew as if one draw after another were the truth.

    Parameters
    ----------
    deaths : ndarray, shape (places, draws)
        A year.
    length_m : ndarray, shape (places,)
        [m].
    candidates : Candidates
    effects : sequence of EffectDraws
        Of each measure; as many draws.
    budget : float
        In the candidates' unit of cost.
    choices : int
        How many draws, evenly over all.
    gap : float
        That each choice may lack of the best.

    Returns
    -------
    list of ndarray of int64
        Rows of the candidates, a choice a draw.
    """
    draws = deaths.shape[1]
    picked = np.unique(np.linspace(0, draws - 1, min(choices, draws)).round().astype(np.int64))
    found = []
    for s in picked:
        one = [_one_draw(effect, int(s)) for effect in effects]
        value = mean_values(deaths[:, [s]], length_m, candidates, one)
        found.append(choose_for_budget(replace(candidates, value=value), budget, gap=gap).chosen)
    return found


def included_of_100(candidates: Candidates, choices: Sequence[Ints], places: int) -> Floats:
    """Return in how many of a hundred choices each place has a measure.

    Parameters
    ----------
    candidates : Candidates
    choices : sequence of ndarray of int64
        Of `choices_of_draws`.
    places : int
        How many there are.

    Returns
    -------
    ndarray, shape (places,)
        0 to 100; NaN without choices.
    """
    if not choices:
        return np.full(places, np.nan)
    change = np.zeros(places + 1)
    for chosen in choices:
        # Runs of one choice don't overlap.
        np.add.at(change, candidates.first[chosen], 1.0)
        np.add.at(change, candidates.last[chosen], -1.0)
    return np.asarray(100.0 * np.cumsum(change)[:-1] / len(choices))


def most_cautious(
    deaths: Floats,
    length_m: Floats,
    candidates: Candidates,
    choices: Sequence[Ints],
    effects: Sequence[EffectDraws],
    budget: float,
) -> Portfolio:
    """Return the choice whose lower end is highest, of those given.

    Parameters
    ----------
    deaths : ndarray, shape (places, draws)
        A year.
    length_m : ndarray, shape (places,)
        [m].
    candidates : Candidates
    choices : sequence of ndarray of int64
        The best on average, those of single draws, points of the curve: the best of what is
        tried, no proven optimum. Building nothing is always tried.
    effects : sequence of EffectDraws
        Of each measure; as many draws.
    budget : float
        Choices that cost more are left out.

    Returns
    -------
    Portfolio
        With the highest `lowest_tenth`; of equals the first.
    """
    nothing = np.zeros(0, dtype=np.int64)
    tried = [np.asarray(chosen, dtype=np.int64) for chosen in choices]
    limit = budget * (1 + 1e-9)
    tried = [chosen for chosen in tried if candidates.cost[chosen].sum() <= limit]
    tried.append(nothing)
    every, at = np.unique(np.concatenate(tried), return_inverse=True)
    averted = np.zeros((len(every), deaths.shape[1]))
    for rows, effect, barrier in _by_measure(_of_rows(candidates, every), effects):
        averted[rows] = run_value_draws(
            deaths, length_m, candidates.first[every[rows]], candidates.last[every[rows]],
            effect.effect, effect.displaced, effect.end_m, barrier,
        )  # fmt: skip
    parts = np.split(at, np.cumsum([len(chosen) for chosen in tried])[:-1])
    lowest = [np.quantile(averted[part].sum(axis=0), _LOWEST) for part in parts]
    return evaluate(deaths, length_m, candidates, tried[int(np.argmax(lowest))], effects)


def _by_measure(
    candidates: Candidates, effects: Sequence[EffectDraws]
) -> list[tuple[Ints, EffectDraws, bool]]:
    """Rows of each measure, with its draws and whether it is a barrier."""
    return [
        (rows, effects[m], bool(candidates.barrier[rows[0]]))
        for m in range(len(effects))
        if len(rows := np.flatnonzero(candidates.measure == m))
    ]


def _of_rows(candidates: Candidates, rows: Ints) -> Candidates:
    names = ("line", "first", "last", "measure", "barrier", "value", "cost")
    return replace(candidates, **{name: getattr(candidates, name)[rows] for name in names})


def _one_draw(effect: EffectDraws, draw: int) -> EffectDraws:
    names = ("effect", "displaced", "end_m")
    return replace(effect, **{name: getattr(effect, name)[[draw]] for name in names})
