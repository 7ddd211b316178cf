"""``[compare]``: sites with works and without, and when the works were done."""

from __future__ import annotations

from typing import Literal

from pydantic import Field

from roadrisk.table_settings import TableSection


class CompareSection(TableSection):
    """``[compare]``: the table of sites, and how they are compared.

    Years that led to the choice of a site are left out, or replaced by what Empirical Bayes
    expects of them. `end_m` is how far beyond each end of the works deaths are looked for where
    the table names no ends. `years_differ` is how much more counts of different years vary than
    by chance (variance over mean) where it is known from elsewhere; else it is estimated. Below
    `least_chance_percent` of seeing a halving, no difference means too few. For planning:
    `hours_per_trial` is what laying out one carcass and looking after it costs (a choice).
    """

    match_within_m: float = Field(default=30.0, gt=0)
    level_percent: float = Field(default=95.0, ge=50, lt=100)
    end_m: float = Field(default=200.0, gt=0, le=5000)
    chosen_years: Literal["leave out", "empirical bayes"] = "leave out"
    years_differ: float | None = Field(default=None, ge=1, le=100)
    least_chance_percent: float = Field(default=50.0, gt=0, lt=100)
    plan_years: int = Field(default=10, ge=1, le=50)
    hours_per_trial: float = Field(default=1.0, gt=0, le=100)
