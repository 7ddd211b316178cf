"""Traffic kills, and traffic brings eyes: both readings, side by side."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from roadrisk.mortality.death_ranks import ranks
from roadrisk.mortality.joint_covariates import Covariates
from roadrisk.mortality.joint_model import DRAWS, JointDeaths, joint_deaths

if TYPE_CHECKING:
    from collections.abc import Sequence

    from roadrisk.base.tasks import Tasks
    from roadrisk.mortality.joint_scales import Priors
    from roadrisk.mortality.sources import Source
    from roadrisk.roads.network import Floats, Ints
    from roadrisk.roads.pieces import Pieces

NAME = "traffic"


@dataclass(frozen=True, eq=False)
class BothReadings:
    """Two fits that differ only in what traffic explains.

    Attributes
    ----------
    of_deaths : JointDeaths
        Traffic may explain deaths.
    of_reports : JointDeaths
        Traffic may explain how much the public reports.
    shared_worst : int
        How many of the worst `k` pieces both have.
    k : int
    ratio : float
        Deaths a year on all roads, median of the first over that of the second; NaN where how
        many die isn't known.
    words : str
    """

    of_deaths: JointDeaths
    of_reports: JointDeaths
    shared_worst: int
    k: int
    ratio: float
    words: str


def both_readings(
    pieces: Pieces,
    sources: Sequence[Source],
    traffic: Floats,
    *,
    seed: int,
    others: Covariates | None = None,
    roads: Ints | None = None,
    draws: int = DRAWS,
    priors: Priors | None = None,
    k: int = 5,
    xy: Floats | None = None,
    tasks: Tasks | None = None,
) -> BothReadings:
    """Fit with traffic as a cause of deaths, and with traffic as what brings reports.

    Parameters
    ----------
    pieces : Pieces
    sources : sequence of Source
    traffic : ndarray, shape (pieces,)
        Vehicles a day, > 0; NaN where unknown. Its logarithm is used.
    seed : int
    others : Covariates, optional
        Further covariates of deaths, in both fits.
    roads : ndarray of int64, shape (pieces,), optional
        As in `joint_deaths`.
    draws : int
    priors : Priors, optional
    k : int
        How many worst pieces are compared.
    xy, tasks : optional
        As in `joint_deaths`.

    Returns
    -------
    BothReadings
    """
    logs = np.log(np.where(traffic > 0, traffic, np.nan))[:, None]
    alone = Covariates((NAME,), logs)
    with_others = alone
    if others is not None and others.names:
        names = (*others.names, NAME)
        with_others = Covariates(names, np.column_stack([others.values, logs]))
    deaths = joint_deaths(
        pieces,
        sources,
        seed=seed,
        covariates=with_others,
        roads=roads,
        draws=draws,
        priors=priors,
        xy=xy,
        tasks=tasks,
    )
    reports = joint_deaths(
        pieces,
        sources,
        seed=seed,
        covariates=others,
        effort=alone,
        roads=roads,
        draws=draws,
        priors=priors,
        xy=xy,
        tasks=tasks,
    )
    k = min(k, len(pieces))
    first, second = (ranks(fit.relative, k).order[:k] for fit in (deaths, reports))
    shared = len(np.intersect1d(first, second))
    ratio = np.nan
    if deaths.per_year is not None and reports.per_year is not None:
        ratio = float(np.median(deaths.per_year) / np.median(reports.per_year))
    return BothReadings(deaths, reports, shared, k, ratio, _words(shared, k, ratio))


def _words(shared: int, k: int, ratio: float) -> str:
    words = (
        "Traffic kills animals and also brings people who report them, and counts can't tell the "
        f"two apart. Read either way, {shared} of the worst {k} pieces of road are the same"
    )
    if np.isnan(ratio):
        return words + "."
    return words + f"; deaths in all come out {ratio:.2f} times as many if traffic is a cause."
