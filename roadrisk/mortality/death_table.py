"""Deaths by place as a table: the model, its ranks, and Empirical Bayes beside it."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from roadrisk.mortality.death_ranks import interval, mean_rates, ranks
from roadrisk.mortality.draw_sums import LazyRows, lazy, many
from roadrisk.mortality.empirical_bayes import empirical_bayes

if TYPE_CHECKING:
    from collections.abc import Sequence

    from roadrisk.mortality.joint_model import JointDeaths
    from roadrisk.mortality.sources import Source
    from roadrisk.roads.network import Floats, Ints

_FEWEST_SITES = 10


def death_table(
    result: JointDeaths, place: Ints, *, k: int, screened: Floats | None = None
) -> pd.DataFrame:
    """Put the estimates of places into a table.

    Parameters
    ----------
    result : JointDeaths
    place : ndarray of int64, shape (pieces,)
        Place (stretch, window, road, piece) of each piece, 0..places-1; -1 for none.
    k : int
        Of the chance of being among the worst k.
    screened : ndarray, shape (pieces,), optional
        Empirical Bayes rates of `screened_rates`.

    Returns
    -------
    pandas.DataFrame
        One row a place, in the order of their numbers. Columns length_km; deaths_per_km_year,
        deaths_per_year and excess_per_km_year, each with _low and _high (90 %); relative_rate
        (1 is the mean of all roads) with _low and _high; rank (1 the worst, by the number shown),
        rank_low, rank_high; chance_among_worst; screened_per_km_year. Numbers are medians,
        those of deaths times `JointDeaths.to_best`; so they don't add up to that of all places
        together. Columns of deaths are NaN where how many die isn't known; where nothing was
        found only _low (0) and _high (one-sided 95 %) are numbers.
    """
    relative, length = mean_rates(result.relative, result.length_km, place)
    table = pd.DataFrame({"length_km": length})
    if result.rate is None:
        for name in ("deaths_per_km_year", "deaths_per_year", "excess_per_km_year"):
            for end in ("", "_low", "_high"):
                table[name + end] = np.nan
        rate = relative
    else:
        rate, _ = mean_rates(result.rate, result.length_km, place)
        bound, times = result.bound_only, result.to_best
        if many(rate):
            like, _ = mean_rates(result.similar, result.length_km, place)
            excess: Floats | LazyRows = LazyRows(rate.shape, lambda p: _wide(rate[p]) - like[p])
            year: Floats | LazyRows = LazyRows(
                rate.shape, lambda p: _wide(rate[p]) * length[p, None]
            )
        else:
            excess, _ = mean_rates(result.rate - result.similar, result.length_km, place)
            year = rate * length[:, None]
        add_draws(table, "deaths_per_km_year", rate, times=times, bound_only=bound)
        add_draws(table, "deaths_per_year", year, times=times, bound_only=bound)
        add_draws(table, "excess_per_km_year", excess, times=times)
        if bound:
            for end in ("", "_low", "_high"):
                table[f"excess_per_km_year{end}"] = np.nan
    add_draws(table, "relative_rate", relative)
    ranked = ranks(rate, k)
    by = table["deaths_per_km_year"].fillna(table["relative_rate"]).to_numpy(np.float64)
    table["rank"] = 0
    table.loc[np.argsort(-by, kind="stable"), "rank"] = np.arange(1, len(table) + 1)
    table["rank_low"], table["rank_high"] = ranked.low, ranked.high
    table["chance_among_worst"] = ranked.among_worst
    table["screened_per_km_year"] = np.nan
    if screened is not None:
        seen = np.where(np.isnan(screened), -1, place)
        if (seen >= 0).any():
            rates, _ = mean_rates(screened[:, None], result.length_km, seen)
            there = np.unique(seen[seen >= 0])
            table.loc[there, "screened_per_km_year"] = rates[there, 0]
    return table


def _wide(draws: Floats) -> Floats:
    return draws.astype(np.float64)


def add_draws(
    table: pd.DataFrame, name: str, draws: Floats | LazyRows, *, times: float = 1.0,
    bound_only: bool = False,
) -> None:  # fmt: skip
    """Put the medians of draws and the ends of their interval into a table.

    Parameters
    ----------
    table : pandas.DataFrame
        Gets columns `name`, with _low and _high (90 %).
    name : str
    draws : ndarray, shape (rows, draws), or LazyRows
    times : float
        Of the medians: `JointDeaths.to_best`. They stay within the interval.
    bound_only : bool
        Whether nothing was found (`JointDeaths.bound_only`).
    """
    if isinstance(draws, np.ndarray) and many(draws):
        draws = lazy(draws)
    summed = interval(draws, bound_only=bound_only)
    table[name] = np.clip(summed.median * times, summed.low, summed.high)
    table[f"{name}_low"], table[f"{name}_high"] = summed.low, summed.high


def screened_rates(
    sources: Sequence[Source], length_km: Floats, covariates: Floats
) -> tuple[Floats, str]:
    """Screen pieces by Empirical Bayes, from the sources with a known chance.

    Parameters
    ----------
    sources : sequence of Source
    length_km : ndarray, shape (pieces,)
    covariates : ndarray, shape (pieces, k)
        Standardised; k may be 0.

    Returns
    -------
    rate : ndarray, shape (pieces,)
        Deaths per km and year, NaN where no such source watched. The middle of each chance is
        taken as if it were sure.
    words : str
        How much the count of a place weighs, or why there is no screening.
    """
    known = [s for s in sources if s.known and s.watched]
    counted = np.sum([s.y for s in known], axis=0) if known else np.zeros(len(length_km))
    exposure = np.zeros(len(length_km))
    for source in known:
        at = source.exposure > 0
        log_q = np.asarray(source.log_q)
        q = np.exp(np.median(log_q if log_q.ndim == 1 else log_q[at], axis=-1))
        exposure[at] += source.exposure[at] * np.where(np.isfinite(q), q, 0)
    rate = np.full(len(length_km), np.nan)
    watched = exposure > 0
    if not counted.sum() > 0 or watched.sum() < _FEWEST_SITES:
        return rate, (
            "No network screening by Empirical Bayes: it needs deaths counted with a known chance "
            f"on {_FEWEST_SITES} pieces of road or more."
        )
    found = empirical_bayes(counted[watched], exposure[watched], covariates[watched])
    rate[watched] = found.expected / exposure[watched]
    weight = 100 * (1 - float(np.mean(found.weight)))
    return rate, (
        "Network screening by Empirical Bayes beside it: a place's own count weighs "
        f"{weight:.0f} % on average, similar roads the rest "
        f"(overdispersion {found.function.overdispersion:.2f})."
    )
