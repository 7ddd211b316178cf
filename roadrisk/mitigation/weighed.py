"""Choosing for the study's budget, target or knee, and how sure the choice is."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

import numpy as np
import pandas as pd

from roadrisk.mitigation.choice import OutOfReachError, choose_for_budget, choose_for_target
from roadrisk.mitigation.curve import curve
from roadrisk.mitigation.portfolio import (
    choices_of_draws,
    evaluate,
    included_of_100,
    most_cautious,
)

if TYPE_CHECKING:
    from collections.abc import Sequence

    from roadrisk.mitigation.candidate_table import Laid
    from roadrisk.mitigation.choice import Choice
    from roadrisk.mitigation.effects import EffectDraws
    from roadrisk.mitigation.ground import Ground
    from roadrisk.mitigation.portfolio import Portfolio
    from roadrisk.mitigation_settings import MitigationSection
    from roadrisk.roads.network import Floats, Ints

By = Literal["budget", "target", "fence", "knee"]
# Points of the curve whose intervals are worked out; more can't be told apart on a chart.
_POINTS = 60
# The curve is told up to so many times the cost of the choice, or of the knee.
_BEYOND = 2.0


@dataclass(frozen=True, eq=False)
class Weighed:
    """A choice, and what surrounds it.

    Attributes
    ----------
    by : {"budget", "target", "fence", "knee"}
        What the choice was made for: money, deaths to avert, metres of fence, or none that can be
        used was given and the knee of the curve was taken.
    limit : float
        Budget in the candidates' unit of cost; for a target what the choice costs.
    target_missed : str
        Why a target wasn't reached, or "".
    gap : float
        Proven distance from the best, as a share.
    chosen, cautious : Portfolio
    included : ndarray, shape (places,)
        In how many of a hundred choices each place has a measure.
    curve : pandas.DataFrame
        Columns of `measure_findings.MeasureTables.curve`.
    """

    by: By
    limit: float
    target_missed: str
    gap: float
    chosen: Portfolio
    cautious: Portfolio
    included: Floats
    curve: pd.DataFrame


def weigh(
    ground: Ground,
    laid: Laid,
    effects: Sequence[EffectDraws],
    settings: MitigationSection,
    *,
    priced: bool,
) -> Weighed:
    """Choose measures, and say how sure the choice is.

    Parameters
    ----------
    ground : Ground
    laid : Laid
    effects : sequence of EffectDraws
    settings : MitigationSection
    priced : bool
        Whether the candidates' cost is money.

    Returns
    -------
    Weighed
    """
    found = laid.candidates
    points = curve(found, most_points=_POINTS)
    by, limit = _asked(settings, points, priced=priced, known=ground.known)
    missed = ""
    if by == "target":
        choice, missed = _for_target(laid, settings.target_averted_per_year or 0.0)
        limit = choice.cost
    else:
        choice = choose_for_budget(found, limit)
    deaths, length = ground.deaths, ground.lines.length_m
    chosen = evaluate(deaths, length, found, choice.chosen, effects)
    # A draw chooses for the same money; of a target, for what it takes.
    drawn = choices_of_draws(deaths, length, found, effects, limit)
    tried = [choice.chosen, *drawn, *points["chosen"]]
    return Weighed(
        by, limit, missed, choice.gap, chosen,
        most_cautious(deaths, length, found, tried, effects, limit),
        included_of_100(found, drawn, len(length)),
        _curve(ground, laid, effects, points, choice),
    )  # fmt: skip


def _asked(
    settings: MitigationSection, points: pd.DataFrame, *, priced: bool, known: bool
) -> tuple[By, float]:
    if priced and settings.budget is not None:
        return "budget", settings.budget
    # Shares of all deaths can't be held against a number of them.
    if settings.target_averted_per_year is not None and known:
        return "target", np.nan
    if not priced and settings.fence_m is not None:
        return "fence", settings.fence_m
    knee = points.loc[points["knee"], "cost"]
    return "knee", float(knee.iloc[0]) if len(knee) else float(points["cost"].iloc[-1])


def _for_target(laid: Laid, target: float) -> tuple[Choice, str]:
    try:
        return choose_for_target(laid.candidates, target), ""
    except OutOfReachError as error:
        return error.most, str(error)


def _curve(
    ground: Ground, laid: Laid, effects: Sequence[EffectDraws], points: pd.DataFrame, choice: Choice
) -> pd.DataFrame:
    """Put intervals to the points, and the choice among them; not far beyond either."""
    knee_at = points.loc[points["knee"], "cost"].sum()
    points = points[points["cost"] <= _BEYOND * max(choice.cost, float(knee_at))]
    columns = (points[name] for name in ("cost", "chosen", "knee"))
    rows: list[tuple[float, Ints, bool, bool]] = [
        (float(cost), chosen, bool(knee), False)
        for cost, chosen, knee in zip(*columns, strict=True)
    ]
    same = [k for k, row in enumerate(rows) if np.array_equal(row[1], choice.chosen)]
    if same:
        cost, row, knee, _ = rows[same[0]]
        rows[same[0]] = (cost, row, knee, True)
    else:
        rows.append((choice.cost, choice.chosen, False, True))
    rows.sort(key=lambda row: row[0])
    told = []
    for cost, chosen, knee, is_choice in rows:
        built = evaluate(ground.deaths, ground.lines.length_m, laid.candidates, chosen, effects)
        told.append((cost, built.mean, *built.interval, len(chosen), knee, is_choice))
    names = ["cost", "averted_per_year", "averted_per_year_low", "averted_per_year_high", "sites",
             "knee", "chosen"]  # fmt: skip
    return pd.DataFrame(told, columns=names)
