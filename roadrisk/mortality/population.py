"""Road deaths as a share of the adults, against what a population is said to bear."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd
from scipy import stats

from roadrisk.base.plain_numbers import number, span
from roadrisk.base.seeds import generator
from roadrisk.mortality.abundance import draw_adults
from roadrisk.mortality.crossing_deaths import deaths_from_crossings

if TYPE_CHECKING:
    from collections.abc import Mapping
    from collections.abc import Set as AbstractSet

    from numpy.typing import NDArray

    from roadrisk.kill_settings import KillSection
    from roadrisk.settings import PopulationSection
    from roadrisk.species import Profile

    Floats = NDArray[np.float64]

BOUNDS = (
    "2 to 3 % (what most turtles bear at most, widely quoted from Gibbs & Shriver 2002, who cite "
    "Doroff & Keith 1990 and Congdon et al. 1993 and 1994; from memory)",
    "5 % (what Gibbs & Shriver 2002 drew their map with; from memory)",
    "10 % (Gibbs & Shriver, talk of 2001, news.sciencemag.org, 2001-08; Gibbs & Shriver 2005 for "
    "salamanders)",
)
"""What sources say a population bears, in words, with where each comes from."""

TOO_FEW = "too few tagged animals"
NONE_FOUND = "no carcass was found"
_BOUND = 0.95
# Fewer animals of a sex say next to nothing of it.
_LEAST_OF_A_SEX = 3


@dataclass(frozen=True, eq=False)
class AddedMortality:
    """Share of the adults that roads kill in a year.

    Attributes
    ----------
    table : pandas.DataFrame
        One row a route and group: group, adults_killed_percent (median) with _low and _high,
        above_lower_bound and above_upper_bound (chances), note. Of a group whose share is only
        bounded: 0 and the one-sided 95 % bound as _low and _high, and no median or chance.
    bound_percent : (float, float)
        Lower and upper bound that it is held against; the same where the study sets one.
    notes : tuple of str
    """

    table: pd.DataFrame
    bound_percent: tuple[float, float]
    notes: tuple[str, ...]


def added_mortality(
    shares: Mapping[str, Floats],
    profile: Profile,
    section: KillSection,
    *,
    why_not: Mapping[str, str] | None = None,
    bounded: AbstractSet[str] = frozenset(),
    level: float = 0.90,
) -> AddedMortality:
    """Hold the share of adults that roads kill against what a population is said to bear.

    Parameters
    ----------
    shares : mapping of str to ndarray, shape (draws,)
        By group and route, as "all adults, by crossings": share killed in a year, NaN where it
        isn't identified. `share_of_adults` and `CrossingDeaths.total_per_animal` make them.
    profile : Profile
        Its tolerable_added_mortality holds unless `section` sets tolerable_percent_a_year.
    section : KillSection
    why_not : mapping of str to str, optional
        Why the share of a group isn't identified.
    bounded : set of str
        Groups of whom no carcass was found: only the upper end of their share means anything.
    level : float
        Coverage of intervals, two-sided.

    Returns
    -------
    AddedMortality
    """
    own = section.tolerable_percent_a_year
    low, high = tolerable_percent(profile, section)
    tails = [(1 - level) / 2, (1 + level) / 2]
    rows = []
    for group, share in shares.items():
        percent = 100 * np.asarray(share, dtype=np.float64)
        if not len(percent) or not np.isfinite(percent).all():
            reason = (why_not or {}).get(group, TOO_FEW)
            rows.append((group, *(np.nan,) * 5, f"not identified: {reason}"))
            continue
        if group in bounded:
            most = float(np.quantile(percent, _BOUND))
            note = (
                f"not identified: {NONE_FOUND}, so it is at most {number(most, 2)} % a year "
                "(one-sided 95 % bound), which is not zero"
            )
            rows.append((group, np.nan, 0.0, most, np.nan, np.nan, note))
            continue
        ends = np.quantile(percent, tails)
        above = [float((percent > bound).mean()) for bound in (low, high)]
        rows.append((group, float(np.median(percent)), *ends, *above, ""))
    name = "adults_killed_percent"
    columns = ["group", name, f"{name}_low", f"{name}_high", "above_lower_bound",
               "above_upper_bound", "note"]  # fmt: skip
    table = pd.DataFrame(rows, columns=columns)
    return AddedMortality(table, (low, high), _words(table, (low, high), own is not None))


def tolerable_percent(profile: Profile, section: KillSection) -> tuple[float, float]:
    """Return the bounds that the share of adults killed a year is held against [%].

    Parameters
    ----------
    profile : Profile
    section : KillSection
        Its own bound, if it sets one, is both.
    """
    own, value = section.tolerable_percent_a_year, profile.population.tolerable_added_mortality
    return (100 * value.low, 100 * value.high) if own is None else (own, own)


def share_of_adults(
    deaths_a_year: Floats, population: PopulationSection | None, seed: int
) -> Floats:
    """Return deaths a year over the adults there are.

    Parameters
    ----------
    deaths_a_year : ndarray, shape (draws,)
        Of adults, all roads together; independent of the number of adults, as deaths from
        carcasses are. (Deaths from crossings are worked out per animal to begin with.)
    population : PopulationSection or None
        None: not identified.
    seed : int
        The study's.

    Returns
    -------
    ndarray, shape (draws,)
        1 at most; NaN where not identified.
    """
    if population is None:
        return np.full(len(deaths_a_year), np.nan)
    adults = draw_adults(population, generator(seed, "mortality.adults"), len(deaths_a_year))
    return np.asarray(np.minimum(deaths_a_year / adults, 1.0))


def crossing_shares_by_sex(
    amounts: pd.DataFrame,
    years: Floats,
    weight: Floats,
    sex: pd.Series[str],
    kill: Floats,
    seed: int,
    *,
    paths: int,
    totals_identified: bool,
) -> dict[str, Floats]:
    """Return the share of females and of males that crossings lead to expect dead in a year.

    Parameters
    ----------
    amounts : pandas.DataFrame
        `crossing_amounts.crossing_amounts`.
    years, weight : ndarray, shape (animals,)
        As for `deaths_from_crossings`.
    sex : pandas.Series
        "female" and "male" make groups.
    kill : ndarray, shape (segments, draws)
    seed : int
        The study's.
    paths : int
        Drawn paths of each animal.
    totals_identified : bool

    Returns
    -------
    dict of str to ndarray, shape (draws,)
        By sex; NaN with fewer than three animals of it. No number of animals is needed.
    """
    out = {}
    kinds = sex.to_numpy(object)
    for kind in ("female", "male"):
        ours = np.where(kinds == kind, weight, 0.0)
        if ((ours > 0) & (years > 0)).sum() < _LEAST_OF_A_SEX:
            out[kind] = np.full(kill.shape[1], np.nan)
            continue
        found = deaths_from_crossings(
            amounts.assign(place=0), years, ours, kill, seed, places=1, paths=paths,
            totals_identified=totals_identified,
        )  # fmt: skip
        out[kind] = found.total_per_animal
    return out


def sex_of_dead_words(female: int, male: int, *, level: float = 0.90) -> str:
    """Say which sex the dead are of, as far as it is known.

    Parameters
    ----------
    female, male : int
        Carcasses of each.
    level : float
        Coverage of the interval, two-sided.

    Returns
    -------
    str
    """
    known = female + male
    if not known:
        return "The sex of no carcass is known."
    tail = (1 - level) / 2
    low = float(stats.beta.ppf(tail, female, male + 1)) if female else 0.0
    high = float(stats.beta.ppf(1 - tail, female + 1, male)) if male else 1.0
    return (
        f"{female} of {known} carcasses of known sex are females: {100 * female / known:.0f} % "
        f"({100 * low:.0f} to {100 * high:.0f} %). What share of the females that is stays not "
        "identified while nobody says how many females there are."
    )


def _words(table: pd.DataFrame, bound: tuple[float, float], own: bool) -> tuple[str, ...]:
    low, high = bound
    text = f"{low:g} %" if low == high else f"{low:g} to {high:g} %"
    out = [
        f"Held against {text} of the adults a year on top of natural deaths "
        f"({'set in [kill]' if own else 'species profile'}). Sources disagree on what a "
        f"population bears: {'; '.join(BOUNDS)}. To stay below a bound is no proof of safety.",
    ]
    for _, row in table.iterrows():
        if row["note"]:
            out.append(f"{row['group']}: share of adults killed {row['note']}.")
            continue
        chance = f"chance {row['above_lower_bound']:.2f} that this is above {low:g} %"
        if low != high:
            chance += f", {row['above_upper_bound']:.2f} that it is above {high:g} %"
        name = "adults_killed_percent"
        out.append(
            f"{row['group']}: in a year roads kill "
            f"{span(row[name], row[f'{name}_low'], row[f'{name}_high'], 2)} % of the adults; "
            f"{chance}."
        )
    return tuple(out)
