"""Survival of animals whose fate is known: Kaplan–Meier with staggered entry, and by cause."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd
from scipy import stats

from roadrisk.base.intervals import poisson_exact

if TYPE_CHECKING:
    from numpy.typing import NDArray

    Floats = NDArray[np.float64]
    Ints = NDArray[np.int64]

DAYS_A_YEAR = 365


@dataclass(frozen=True, eq=False)
class Survival:
    """Survival over a year, and the chance to die of each cause within it.

    Attributes
    ----------
    curve : pandas.DataFrame
        One row a day with a death: day, at_risk, deaths, survival with _low and _high.
    year : pandas.DataFrame
        One row a quantity: quantity ("survival", "death on a road", "death of another cause",
        "death of an unknown cause"), chance with _low and _high, deaths.
    animals, deaths : int
    animal_years : float
    without_watch_days : int
        Days of the year on which no animal was watched: deaths then are in no number here.
    least_at_risk : int
        Fewest animals watched at a death; 0 without deaths.
    notes : tuple of str
    """

    curve: pd.DataFrame
    year: pd.DataFrame
    animals: int
    deaths: int
    animal_years: float
    without_watch_days: int
    least_at_risk: int
    notes: tuple[str, ...]


def kaplan_meier(entry: Floats, leave: Floats, died: NDArray[np.bool_]) -> pd.DataFrame:
    """Return the product-limit estimate with staggered entry.

    Parameters
    ----------
    entry, leave : ndarray, shape (spells,)
        When an animal came under watch and when it left or died; ``entry < leave``.
    died : ndarray of bool, shape (spells,)
        Whether it died at `leave`.

    Returns
    -------
    pandas.DataFrame
        One row a time of death: time, at_risk, deaths, survival, log_variance (Greenwood's
        sum: variance of the logarithm of survival; infinite once all die).

    Notes
    -----
    Kaplan & Meier 1958; with staggered entry as in Pollock, Winterstein, Bunck & Curtis 1989,
    Journal of Wildlife Management 53:7–15 (both from memory). At risk at t are animals with
    ``entry < t <= leave``.
    """
    times, deaths = np.unique(leave[died], return_counts=True)
    at_risk = _at_risk(entry, leave, times)
    with np.errstate(divide="ignore"):
        parts = deaths / (at_risk * (at_risk - deaths).astype(np.float64))
    return pd.DataFrame({
        "time": times, "at_risk": at_risk, "deaths": deaths,
        "survival": np.cumprod(1.0 - deaths / at_risk), "log_variance": np.cumsum(parts),
    })  # fmt: skip


def cumulative_incidence(entry: Floats, leave: Floats, cause: Ints, which: int) -> pd.DataFrame:
    """Return the chance to have died of one cause by each time, with others competing.

    Parameters
    ----------
    entry, leave : ndarray, shape (spells,)
    cause : ndarray of int64, shape (spells,)
        0 where the animal didn't die.
    which : int
        The cause asked for.

    Returns
    -------
    pandas.DataFrame
        One row a time of any death: time, at_risk, deaths (of all causes), of_cause,
        incidence, variance.

    Notes
    -----
    Aalen & Johansen 1978; variance by the delta method from Greenwood's, as in Collett,
    Modelling Survival Data in Medical Research, 3rd edition, p. 411 (as a survival library's
    documentation quotes it).
    """
    times, deaths = np.unique(leave[cause > 0], return_counts=True)
    ours = np.bincount(np.searchsorted(times, leave[cause == which]), minlength=len(times))
    n, d, k = _at_risk(entry, leave, times).astype(np.float64), deaths.astype(float), ours
    before = np.concatenate([[1.0], np.cumprod(1.0 - d / n)[:-1]]) if len(times) else np.empty(0)
    found = np.cumsum(before * k / n)
    gap = found[:, None] - found[None, :]
    past = np.tri(len(times), dtype=bool)
    safe = np.where(n > d, n * (n - d), np.inf)
    terms = gap**2 * (d / safe) + before**2 * k * (n - k) / n**3 - 2 * gap * before * k / n**2
    return pd.DataFrame({
        "time": times, "at_risk": n.astype(np.int64), "deaths": deaths, "of_cause": ours,
        "incidence": found, "variance": np.where(past, terms, 0.0).sum(axis=1),
    })  # fmt: skip


def log_log_limits(chance: Floats, variance: Floats, level: float) -> tuple[Floats, Floats]:
    """Return limits of a chance, symmetric in log(−log), so that they stay in 0 to 1.

    Parameters
    ----------
    chance, variance : ndarray
        Above 0 and below 1; elsewhere NaN.
    level : float
        Coverage, two-sided.

    Returns
    -------
    low, high : ndarray
    """
    z = float(stats.norm.ppf((1 + level) / 2))
    inside = (chance > 0) & (chance < 1) & np.isfinite(variance)
    p = np.where(inside, chance, 0.5)
    wide = z * np.sqrt(np.where(inside, variance, 0.0)) / (p * np.abs(np.log(p)))
    low, high = (np.where(inside, p ** np.exp(s * wide), np.nan) for s in (1, -1))
    return low, high


def yearly_survival(spells: pd.DataFrame, *, level: float = 0.90) -> Survival:
    """Return survival over a calendar year from spells under watch.

    Parameters
    ----------
    spells : pandas.DataFrame
        `fates.yearly_spells`: organismID, entry, leave [days of the year, 0 to 365], cause (0
        lived on, 1 road, 2 other, 3 unknown).
    level : float
        Coverage of intervals, two-sided.

    Returns
    -------
    Survival
        Years are laid on one another: an animal watched for two years is at risk twice.
    """
    entry, leave = (spells[c].to_numpy(np.float64) for c in ("entry", "leave"))
    cause = spells["cause"].to_numpy(np.int64)
    animals = int(spells["organismID"].nunique())
    years = float((leave - entry).sum()) / DAYS_A_YEAR
    curve = kaplan_meier(entry, leave, cause > 0)
    squared = curve["survival"].to_numpy() ** 2
    with np.errstate(invalid="ignore"):
        variance = squared * curve["log_variance"].to_numpy()
    curve["survival_low"], curve["survival_high"] = log_log_limits(
        curve["survival"].to_numpy(), variance, level
    )
    curve = curve.rename(columns={"time": "day"}).drop(columns="log_variance")
    deaths = int((cause > 0).sum())
    year = _year(curve, entry, leave, cause, years, level)
    empty = _unwatched(entry, leave)
    least = int(curve["at_risk"].min()) if deaths else 0
    notes = _words(year, animals, deaths, years, empty, least, int((cause == 3).sum()))
    return Survival(curve, year, animals, deaths, years, empty, least, notes)


def _at_risk(entry: Floats, leave: Floats, times: Floats) -> Ints:
    entered = np.searchsorted(np.sort(entry), times, side="left")
    left = np.searchsorted(np.sort(leave), times, side="left")
    return np.asarray(entered - left, dtype=np.int64)


def _year(
    curve: pd.DataFrame, entry: Floats, leave: Floats, cause: Ints, years: float, level: float
) -> pd.DataFrame:
    none = float(poisson_exact(0.0, level)[1]) / years if years > 0 else np.inf
    last = curve.iloc[-1] if len(curve) else None
    rows = []
    if not years:
        rows.append(("survival", np.nan, np.nan, np.nan, 0))
    elif last is None:
        rows.append(("survival", 1.0, float(np.exp(-none)), 1.0, 0))
    else:
        low, high = float(last["survival_low"]), float(last["survival_high"])
        rows.append(("survival", float(last["survival"]), low, high, int(curve["deaths"].sum())))
    for code, name in enumerate(("on a road", "of another cause", "of an unknown cause"), 1):
        many = int((cause == code).sum())
        if many == 0:
            none_seen = (0.0, 0.0, float(-np.expm1(-none)), 0) if years else (np.nan,) * 3 + (0,)
            rows.append((f"death {name}", *none_seen))
            continue
        end = cumulative_incidence(entry, leave, cause, code).iloc[-1]
        chance = np.array([end["incidence"]])
        low_, high_ = log_log_limits(chance, np.array([end["variance"]]), level)
        rows.append((f"death {name}", float(chance[0]), float(low_[0]), float(high_[0]), many))
    return pd.DataFrame(rows, columns=["quantity", "chance", "chance_low", "chance_high", "deaths"])


def _unwatched(entry: Floats, leave: Floats) -> int:
    day: Floats = np.arange(DAYS_A_YEAR, dtype=np.float64) + 0.5
    return int((_at_risk(entry, leave, day) == 0).sum())


def _words(
    year: pd.DataFrame, animals: int, deaths: int, years: float, empty: int, least: int,
    unknown: int,
) -> tuple[str, ...]:  # fmt: skip
    if not years:
        return ("Survival of tagged animals: not identified, none was watched.",)
    row = year.iloc[0]
    road = year.iloc[1]
    between = (
        f"{100 * row['chance_low']:.0f} to {100 * row['chance_high']:.0f} %"
        if np.isfinite(row["chance_low"])
        else "no interval: all that were watched at the end died"
    )
    out = [
        f"{animals} tagged animals were watched for {years:.3g} animal-years, and {deaths} died "
        f"then: {100 * row['chance']:.0f} % live through a year ({between}); "
        f"{100 * road['chance']:.2g} % die on a road within it ({100 * road['chance_low']:.2g} to "
        f"{100 * road['chance_high']:.2g} %)."
    ]
    if empty:
        out.append(
            f"No animal was watched on {empty} days of the year: deaths then are in no number "
            "here, as if everybody lived through them."
        )
    if 0 < least < 10:
        out.append(
            f"Only {least} animal{'s were' if least > 1 else ' was'} under watch at one of the "
            "deaths: one death there moves the curve by much."
        )
    if unknown:
        out.append(f"Of {unknown} death{'s' if unknown > 1 else ''} the cause isn't known.")
    out.append(
        "Animals whose signal was lost are taken to have lived on as the others: if a vehicle "
        "that kills an animal destroys its transmitter, survival is lower than said."
    )
    return tuple(out)
