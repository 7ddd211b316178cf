"""What else could be done with the money, beside doing nothing."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from roadrisk.mitigation.portfolio import evaluate
from roadrisk.mitigation.run_values import run_value_draws

if TYPE_CHECKING:
    from collections.abc import Sequence

    from roadrisk.mitigation.candidate_table import Laid
    from roadrisk.mitigation.effects import EffectDraws
    from roadrisk.mitigation.ground import Ground
    from roadrisk.mitigation.measures import Measure
    from roadrisk.mitigation.portfolio import Portfolio
    from roadrisk.roads.network import Floats, Ints

COLUMNS = (
    "alternative", "sites", "length_m", "cost", "averted_per_year", "averted_per_year_low",
    "averted_per_year_high", "lowest_tenth", "deaths_left_per_year", "words",
)  # fmt: skip
NOTHING = "do nothing"
CHOSEN = "the choice"
CAUTIOUS = "the cautious choice"
IN_ORDER = "the worst places, one after another"


def alternatives(
    ground: Ground,
    laid: Laid,
    measures: Sequence[Measure],
    effects: Sequence[EffectDraws],
    chosen: Portfolio,
    cautious: Portfolio,
    budget: float,
) -> pd.DataFrame:
    """Compare the choice with what else could be done.

    Parameters
    ----------
    ground : Ground
    laid : Laid
    measures : sequence of Measure
    effects : sequence of EffectDraws
    chosen, cautious : Portfolio
    budget : float
        In the candidates' unit of cost.

    Returns
    -------
    pandas.DataFrame
        `COLUMNS`; first "do nothing". Of a measure without a proven effect nothing is counted as
        averted; its interval stands.
    """
    total = ground.deaths.sum(axis=0)
    left = float(total.mean())
    rows: list[dict[str, object]] = [
        _row(NOTHING, 0, 0.0, 0.0, np.zeros(len(total)), left, "all goes on as it is"),
        _of(ground, laid, CHOSEN, chosen, left, "averts most on average for the money"),
    ]
    same = np.array_equal(np.sort(cautious.chosen), np.sort(chosen.chosen))
    told = "the same as the choice" if same else (
        "of all choices tried the one whose lower tenth is highest"
    )  # fmt: skip
    rows.append(_of(ground, laid, CAUTIOUS, cautious, left, told))
    plain = evaluate(
        ground.deaths, ground.lines.length_m, laid.candidates, worst_in_order(ground, laid, budget),
        effects,
    )  # fmt: skip
    told = "each as short as a fence may be, while the money lasts"
    rows.append(_of(ground, laid, IN_ORDER, plain, left, told))
    rows += [
        _instead(ground, laid, measure, effect, chosen, left)
        for measure, effect in zip(measures, effects, strict=True)
        if not measure.barrier and len(chosen.chosen)
    ]
    return pd.DataFrame(rows, columns=list(COLUMNS))


def worst_in_order(ground: Ground, laid: Laid, budget: float) -> Ints:
    """Return short fences at the worst places in order, as far as the money goes.

    Parameters
    ----------
    ground : Ground
    laid : Laid
    budget : float

    Returns
    -------
    ndarray of int64
        Rows of the candidates: for each place, worst first by deaths per metre, the shortest
        run around it of the first barrier measure; those that exclude an earlier one, or that
        the money left doesn't buy, are passed over.
    """
    found = laid.candidates
    rows = np.flatnonzero(found.barrier & (found.measure == _first_barrier(laid)))
    length = found.last[rows] - found.first[rows]
    rows = rows[np.lexsort((found.first[rows], length))]
    rate = ground.deaths.mean(axis=1) / ground.lines.length_m
    taken = np.zeros(len(rate) + 2, dtype=bool)
    chosen, money = [], budget
    shortest = _shortest(found.first[rows], found.last[rows], len(rate))
    for place in np.argsort(-rate, kind="stable"):
        if rate[place] <= 0 or shortest[place] < 0:
            continue
        row = rows[shortest[place]]
        a, b = found.first[row], found.last[row]
        # A place either side is kept free, so that no two fences touch.
        if found.cost[row] > money or taken[a : b + 2].any():
            continue
        taken[a + 1 : b + 1] = True
        money -= found.cost[row]
        chosen.append(int(row))
    return np.array(sorted(chosen), dtype=np.int64)


def _first_barrier(laid: Laid) -> int:
    found = laid.candidates
    return int(found.measure[found.barrier].min()) if found.barrier.any() else -1


def _shortest(first: Ints, last: Ints, places: int) -> Ints:
    """Return for each place the first of the runs, in their order, that holds it; -1 for none."""
    out = np.full(places, -1, dtype=np.int64)
    left = places
    for k, (a, b) in enumerate(zip(first.tolist(), last.tolist(), strict=True)):
        free = out[a:b] < 0
        out[a:b][free] = k
        left -= int(free.sum())
        if left == 0:
            break
    return out


def _instead(
    ground: Ground,
    laid: Laid,
    measure: Measure,
    effect: EffectDraws,
    chosen: Portfolio,
    left: float,
) -> dict[str, object]:
    """Put another measure alone at the same sites."""
    found = laid.candidates
    first, last = found.first[chosen.chosen], found.last[chosen.chosen]
    averted = run_value_draws(
        ground.deaths, ground.lines.length_m, first, last, effect.effect, None, None, False
    ).sum(axis=0)
    told = (
        "at the same sites, and nothing else" if measure.proven
        else "at the same sites, and nothing else: no effect was shown, so none is counted on"
    )  # fmt: skip
    length = _length(ground, first, last)
    row = _row(f"{measure.name} alone", len(first), length, np.nan, averted, left, told)
    if measure.proven:
        return row
    # The mean of draws around no effect is their noise and skew, no finding.
    return row | {"averted_per_year": 0.0, "deaths_left_per_year": left}


def _of(
    ground: Ground, laid: Laid, name: str, portfolio: Portfolio, left: float, words: str
) -> dict[str, object]:
    found = laid.candidates
    rows = portfolio.chosen
    length = _length(ground, found.first[rows], found.last[rows])
    return _row(name, len(rows), length, portfolio.cost, portfolio.total, left, words)


def _length(ground: Ground, first: Ints, last: Ints) -> float:
    running = np.concatenate([[0.0], np.cumsum(ground.lines.length_m)])
    return float((running[last] - running[first]).sum())


def _row(
    name: str, sites: int, length: float, cost: float, averted: Floats, left: float, words: str
) -> dict[str, object]:
    low, tenth, high = np.quantile(averted, [0.05, 0.10, 0.95])
    mean = float(averted.mean())
    values = (name, sites, length, cost, mean, low, high, tenth, left - mean, words)
    return dict(zip(COLUMNS, values, strict=True))
