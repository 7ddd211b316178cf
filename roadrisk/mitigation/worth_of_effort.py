"""Which spacing of searches and how many trials give most for the same hours in the field."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from roadrisk.mortality.active_season import active_spells
from roadrisk.mortality.counted_chance import chance_counted
from roadrisk.mortality.persistence_curves import Curves

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from roadrisk.mortality.carcass_deaths import CarcassDeaths

    Floats = NDArray[np.float64]

COLUMNS = ("days_between_searches", "trials", "trial_hours", "km_each_search", "chance_counted",
           "expected_carcasses", "times_wide")  # fmt: skip
SPACINGS = (1, 2, 3, 7, 14)
TRIALS = (15, 30, 60, 120)
NO_TRIALS = "What searches and trials are worth: not identified: no trials."
NO_HOURS = (
    "What searches and trials are worth: not identified: the surveys don't say how many hours they "
    "took."
)
_DRAWS = 100
_Z = 1.6449  # of a 90 % interval
_A_YEAR = (19723.0, 20089.0)  # 2024, in days since 1970: any year does


def effort_table(
    found: CarcassDeaths, *, hours_per_trial: float
) -> tuple[pd.DataFrame, tuple[str, ...]]:
    """Return what each spacing and number of trials would give for the hours spent so far.

    Parameters
    ----------
    found : CarcassDeaths
    hours_per_trial : float
        Laying out one carcass and looking after it.

    Returns
    -------
    table : pandas.DataFrame
        Columns COLUMNS: km_each_search is the road that the hours left after the trials allow to
        be searched; times_wide is the upper end of the 90 % interval of deaths on it over the
        lower. Empty if not identified.
    notes : tuple of str

    Notes
    -----
    The variance of the logarithm of the deaths is 1 / carcasses and that of the chance of being
    counted; the latter is the study's own, in proportion to 1 / trials.
    """
    blank = pd.DataFrame(columns=list(COLUMNS))
    persistence = found.trials.persistence
    if not found.identified or persistence is None or persistence.borrowed:
        return blank, (NO_TRIALS,)
    surveys = found.searched.surveys
    told = np.isfinite(surveys["hours"].to_numpy(np.float64))
    once = np.asarray(found.searched.covered.astype(np.float64) @ found.lixel_km)
    walked = once * surveys["amount"].to_numpy(np.float64)
    if not told.any() or not walked[told].sum() > 0:
        return blank, (NO_HOURS,)
    per_km = float(surveys["hours"].to_numpy(np.float64)[told].sum() / walked[told].sum())
    years = max(surveys["time"].dt.year.nunique(), 1)
    hours = per_km * float(walked.sum()) / years
    exposure = float((found.exposure_km_years * _chance_now(found)).sum())
    rate = float(found.counted.sum()) / exposure if exposure > 0 else np.nan
    season = active_spells(*_A_YEAR, found.months)
    days = float((season[:, 1] - season[:, 0]).sum())
    rows = []
    for spacing in SPACINGS:
        chance, spread = _planned(found, season, spacing)
        for trials in TRIALS:
            left = max(hours - trials * hours_per_trial, 0.0)
            km = left / per_km / max(days / spacing, 1.0)
            expected = rate * km * chance
            variance = spread**2 * persistence.carcasses / trials
            wide = np.exp(2 * _Z * np.sqrt(1 / expected + variance)) if expected > 0 else np.nan
            rows.append((spacing, trials, trials * hours_per_trial, km, chance, expected, wide))
    words = (
        f"Searches and trials are laid out for {hours:.0f} hours a year, as many as were searched "
        f"so far, at {per_km:.2g} hours a km; a trial is taken to cost {hours_per_trial:g} hours "
        "([compare] hours_per_trial, a choice).",
    )
    return pd.DataFrame(rows, columns=list(COLUMNS)), words


def _chance_now(found: CarcassDeaths) -> Floats:
    chance = 1 / (found.size_share[:, None] / found.point[0]).sum(axis=0)
    return np.nan_to_num(np.where(found.schedule >= 0, chance[found.schedule], 0.0))


def _planned(found: CarcassDeaths, season: Floats, spacing: int) -> tuple[float, float]:
    """Chance that a death is counted, searched every so many days, and its log's spread."""
    surveys = found.searched.surveys["samplingProtocol"]
    protocol = str(surveys.value_counts().index[0])
    size = found.sizes[int(np.argmax(found.size_share))]
    curves, detection = found.trials.persistence_of(size).curves, found.trials.detection
    some = slice(0, _DRAWS)
    looks = np.concatenate([np.arange(a + spacing, b + spacing / 2, spacing) for a, b in season])
    p = np.broadcast_to(detection.first[protocol, size][some], (len(looks), _DRAWS))
    chance = chance_counted(
        looks, p, detection.later[some],
        Curves(curves.family[some], curves.location[some], curves.sigma[some]),
        months=range(1, 13), before_first_days=float(spacing),
    ).chance * found.trials.within[some]  # fmt: skip
    return float(chance.mean()), float(np.log(chance).std())
