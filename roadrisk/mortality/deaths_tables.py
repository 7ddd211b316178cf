"""Deaths from carcasses on sets of road: stretches, roads, an agency's units; by 12 months."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from roadrisk.base.rows_by_name import rows_by_name
from roadrisk.base.seeds import generator
from roadrisk.mortality.carcass_deaths import deaths_from

if TYPE_CHECKING:
    from roadrisk.mortality.carcass_deaths import CarcassDeaths
    from roadrisk.roads.network import Floats, Ints
    from roadrisk.study import Study

LEVEL = 0.90
BOUND = 0.95
COLUMNS = (
    "group", "searched_km", "unsearched_km", "carcasses", "chance_counted", "deaths_watched",
    "deaths_watched_low", "deaths_watched_high", "deaths_per_year", "deaths_per_year_low",
    "deaths_per_year_high", "deaths_per_km_year", "deaths_per_km_year_low",
    "deaths_per_km_year_high", "deaths_per_year_shoenfeld", "deaths_per_year_huso", "interval",
)  # fmt: skip


@dataclass(frozen=True, eq=False)
class DrawnDeaths:
    """Deaths on one set of road, as draws.

    Attributes
    ----------
    found : float
        Carcasses.
    searched_km, unsearched_km : float
    per_year : ndarray, shape (draws,)
        Expected deaths a year on the searched road.
    watched : ndarray, shape (draws,)
        Animals that died there in the time that the searches watch.
    best : ndarray, shape (3,)
        Best single numbers of deaths a year: with k as drawn, k = 1, k = 0. NaN where none was
        found: no single number above zero is better than another.
    watched_best : float
    """

    found: float
    searched_km: float
    unsearched_km: float
    per_year: Floats
    watched: Floats
    best: Floats
    watched_best: float


def drawn_deaths(deaths: CarcassDeaths, lixels: Ints, *, seed: int, name: str) -> DrawnDeaths:
    """Draw the deaths on some lixels.

    Parameters
    ----------
    deaths : CarcassDeaths
        Identified.
    lixels : ndarray of int64
        Which; of a dual road the leading carriageway's.
    seed : int
    name : str
        Of the set, for its own draws.

    Returns
    -------
    DrawnDeaths

    Notes
    -----
    Deaths a year are the sum over places of like searches, and over sizes, of a gamma variable of
    shape (carcasses + a half, shared out by what was to be expected) over chance times years:
    Jeffreys' posterior of a Poisson mean for each draw of the chance. Where none was found the
    shape is 1 instead, whose 95 % quantile is the classical one-sided bound, −ln 0.05 over the
    chance. The single number is Horvitz and Thompson's sum of 1 / chance.
    """
    number = deaths.schedule[lixels]
    km = deaths.lixel_km[lixels]
    searched = float(km[number >= 0].sum())
    out_km = float(km[number < 0].sum())
    draws = deaths.chance.shape[-1]
    some = np.unique(number[number >= 0])
    if not len(some):
        nothing = np.full(draws, np.nan)
        return DrawnDeaths(0.0, 0.0, out_km, nothing, nothing, np.full(3, np.nan), np.nan)
    on = [lixels[number == s] for s in some]
    count = np.stack([deaths.counted[:, where].sum(axis=1) for where in on], axis=1)
    # All lixels of a schedule watch the same time.
    years = np.array([deaths.years[where[0]] for where in on])
    length = np.array([deaths.lixel_km[where].sum() for where in on])
    chance, point = deaths.chance[:, some], deaths.point[:, :, some]
    found = float(count.sum())
    share = deaths.size_share[:, None] * length * years * point[0]
    share = share / share.sum()
    rng = generator(seed, f"mortality.deaths {name}")
    shape = count + (0.5 if found > 0 else 1.0) * share
    expected = rng.gamma(shape[..., None], size=chance.shape)
    with np.errstate(divide="ignore", over="ignore"):
        per_year = (expected / chance / years[:, None]).sum(axis=(0, 1))
        missed = expected * (1 - chance) / chance
    # numpy draws Poisson counts up to about 9e18; beyond a million it is the mean that matters.
    unseen = np.where(missed < 1e6, rng.poisson(np.minimum(missed, 1e6)), missed)
    watched = found + unseen.sum(axis=(0, 1))
    best = (count / point / years).sum(axis=(1, 2)) if found > 0 else np.full(3, np.nan)
    watched_best = float((count / point[0]).sum()) if found > 0 else np.nan
    return DrawnDeaths(found, searched, out_km, per_year, watched, best, watched_best)


def deaths_table(deaths: CarcassDeaths, groups: pd.Series[str], *, seed: int) -> pd.DataFrame:
    """Return deaths by group of road.

    Parameters
    ----------
    deaths : CarcassDeaths
    groups : Series of str, length lixels
        Name of each lixel's group (a stretch, a road, an agency's unit); "" for none, and for a
        dual road's following carriageway.
    seed : int

    Returns
    -------
    pandas.DataFrame
        Columns `COLUMNS`, a row a group of which some road was searched, in the order of their
        names. Intervals are two-sided 90 %; where none was found the upper end is a one-sided
        95 % bound, the lower end and the number itself are NaN and never zero. Where deaths
        aren't identified all but km and carcasses are NaN.
    """
    return _table(deaths, rows_by_name(groups.to_numpy(object)), seed)


def _table(deaths: CarcassDeaths, groups: list[tuple[str, Ints]], seed: int) -> pd.DataFrame:
    rows = [
        _row(deaths, where, name, seed)
        for name, where in groups
        if (deaths.schedule[where] >= 0).any()
    ]
    return pd.DataFrame(rows, columns=list(COLUMNS))


def by_twelve_months(study: Study, deaths: CarcassDeaths, *groups: pd.Series[str]) -> pd.DataFrame:
    """Return deaths by group and 12 months.

    Parameters
    ----------
    study : Study
        Its period is cut into spells of 12 months from its first day; the last may be shorter.
    deaths : CarcassDeaths
    *groups : Series of str, length lixels
        One or more ways to group the road; rows of the first one come first.

    Returns
    -------
    pandas.DataFrame
        Columns first_day, last_day, then those of `deaths_table`. A carcass counts for the spell
        in which it was found, and a death for the one in which the animal died: a carcass that lay
        over the turn is put into the wrong one, which matters little where it is winter.
    """
    start, end = pd.Timestamp(study.settings.study.start), pd.Timestamp(study.settings.study.end)
    tables: list[list[pd.DataFrame]] = [[] for _ in groups]
    named = [rows_by_name(group.to_numpy(object)) for group in groups]
    while start <= end:
        following = start + pd.DateOffset(years=1)
        span = _utc_day(start, study), _utc_day(following, study)
        part = deaths_from(
            deaths.searched, deaths.carcasses, deaths.trials, deaths.lixel_km, deaths.sizes,
            deaths.months, study.settings.mortality, within=span,
        )  # fmt: skip
        last = min(following - pd.Timedelta(days=1), end)
        for group, rows in zip(named, tables, strict=True):
            table = _table(part, group, study.settings.study.seed)
            table.insert(0, "last_day", last.date().isoformat())
            table.insert(0, "first_day", start.date().isoformat())
            rows.append(table)
        start = following
    return pd.concat([table for rows in tables for table in rows], ignore_index=True)


def _utc_day(day: pd.Timestamp, study: Study) -> float:
    local = day.tz_localize(study.settings.study.zone)
    return float((local - pd.Timestamp(0, tz="UTC")) / pd.Timedelta(days=1))


def _row(deaths: CarcassDeaths, where: Ints, name: str, seed: int) -> dict[str, float | str]:
    if not deaths.identified:
        searched = deaths.schedule[where] >= 0
        return {
            "group": name,
            "searched_km": float(deaths.lixel_km[where][searched].sum()),
            "unsearched_km": float(deaths.lixel_km[where][~searched].sum()),
            "carcasses": float(deaths.counted[:, where].sum()),
            "interval": "not identified",
        }
    drawn = drawn_deaths(deaths, where, seed=seed, name=name)
    row: dict[str, float | str] = {
        "group": name,
        "searched_km": drawn.searched_km,
        "unsearched_km": drawn.unsearched_km,
        "carcasses": drawn.found,
        "chance_counted": _mean_chance(deaths, where),
        "deaths_per_year_shoenfeld": float(drawn.best[1]),
        "deaths_per_year_huso": float(drawn.best[2]),
        "interval": "two-sided 90 %" if drawn.found > 0 else "none found: one-sided 95 % bound",
    }
    per_km = 1 / drawn.searched_km if drawn.searched_km > 0 else np.nan
    for column, best, draws in (
        ("deaths_watched", drawn.watched_best, drawn.watched),
        ("deaths_per_year", float(drawn.best[0]), drawn.per_year),
        ("deaths_per_km_year", float(drawn.best[0]) * per_km, drawn.per_year * per_km),
    ):
        low, high = interval(draws, drawn.found)
        row |= {column: best, f"{column}_low": low, f"{column}_high": high}
    return row


def interval(draws: Floats, found: float) -> tuple[float, float]:
    """Return the ends of the interval of draws of deaths.

    Parameters
    ----------
    draws : ndarray, shape (draws,)
    found : float
        Carcasses.

    Returns
    -------
    low, high : float
        The middle 90 %; where none was found NaN and the one-sided 95 % bound.
    """
    if not np.isfinite(draws).any():
        return np.nan, np.nan
    if not found > 0:
        return np.nan, float(np.quantile(draws, BOUND))
    low, high = np.quantile(draws, [(1 - LEVEL) / 2, (1 + LEVEL) / 2])
    return float(low), float(high)


def _mean_chance(deaths: CarcassDeaths, where: Ints) -> float:
    number = deaths.schedule[where]
    on = number >= 0
    if not on.any():
        return np.nan
    weight = (deaths.lixel_km[where] * deaths.years[where])[on]
    share = deaths.size_share
    chance = 1 / (share[:, None] / deaths.point[0]).sum(axis=0)
    return float(np.average(chance[number[on]], weights=weight))
