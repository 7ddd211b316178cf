"""How long to go on counting until a halving would show."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from roadrisk.mitigation.power_of_comparison import Expected, power, years_by_formula

if TYPE_CHECKING:
    from roadrisk.compare_settings import CompareSection
    from roadrisk.mitigation.comparison import Comparison

COLUMNS = (
    "site", "control", "years_vary", "years_before", "years_after", "counted_a_year",
    "control_counted_a_year", "chance_to_see_halving", "enough", "years_by_formula",
)  # fmt: skip
ENOUGH = 0.8


def comparison_plan(made: Comparison | None, section: CompareSection) -> pd.DataFrame:
    """Return the chance to see a halving by years of surveys after the works.

    Parameters
    ----------
    made : Comparison or None
        Of deaths.
    section : CompareSection

    Returns
    -------
    pandas.DataFrame
        Columns COLUMNS: of all works sites together (the first comparison), with and without the
        controls, with years that vary by chance alone and as they do. counted_a_year is what was
        counted before the works a year, years of the choice left out; as many are expected after
        for the same effort. Empty where nothing was counted.
    """
    blank = pd.DataFrame(columns=list(COLUMNS))
    if made is None or made.table.empty:
        return blank
    row = made.table.iloc[0]
    years = made.years
    used = years[(years["period"] == "before") & (years["left_out"] == "")]
    back = int(used["year"].nunique())
    count = float(row["before"])
    if not back or not count > 0:
        return blank
    a_year = count / back
    theirs = float(row["control_before"])
    control = theirs / back if np.isfinite(theirs) else 0.0
    vary = float(row["years_vary"])
    spreads = [1.0, vary] if np.isfinite(vary) and vary > 1.05 else [1.0]
    rows = []
    for with_control in (True, False) if control > 0 else (False,):
        for spread in spreads:
            formula = years_by_formula(a_year, 0.5, dispersion=spread)
            other = control if with_control else 0.0
            for after in range(1, section.plan_years + 1):
                expected = Expected(count, a_year * after, other * back, other * after)
                chance = power(expected, level=section.level_percent / 100, dispersion=spread)
                rows.append((
                    row["site"], "with control" if with_control else "without control", spread,
                    back, after, a_year, other if with_control else np.nan, chance,
                    chance >= ENOUGH, np.nan if with_control else formula,
                ))  # fmt: skip
    return pd.DataFrame(rows, columns=list(COLUMNS))
