"""All sources of evidence brought into one model, with what may explain deaths or reports."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd

from roadrisk.mortality.carcass_source import carcass_source
from roadrisk.mortality.crossing_route import source_of_crossings
from roadrisk.mortality.death_table import screened_rates
from roadrisk.mortality.draw_sums import by_rows
from roadrisk.mortality.joint_covariates import Covariates, usable
from roadrisk.mortality.joint_districts import Division
from roadrisk.mortality.joint_model import DRAWS, joint_deaths
from roadrisk.mortality.report_sources import report_sources
from roadrisk.mortality.traffic_twice import NAME as TRAFFIC
from roadrisk.mortality.traffic_twice import both_readings
from roadrisk.roads.along import places_xy
from roadrisk.roads.habitat_covariates import habitat_shares

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from roadrisk.base.tasks import Tasks
    from roadrisk.mortality.carcass_deaths import CarcassDeaths
    from roadrisk.mortality.crossing_route import CrossingRoute
    from roadrisk.mortality.joint_model import JointDeaths
    from roadrisk.mortality.sources import Source
    from roadrisk.mortality.traffic_twice import BothReadings
    from roadrisk.roads.network import Ints, Lixels, Network
    from roadrisk.roads.pieces import Pieces
    from roadrisk.sightings.counted import CountedReports
    from roadrisk.study import Study
    from roadrisk.telemetry.frequencies import Frequencies

    Bools = NDArray[np.bool_]
    Floats = NDArray[np.float64]

# Traffic explains nothing where most of it is a guess by road class.
_COUNTED_SHARE = 0.5
NOT_COUNTED = (
    "Nobody counted the traffic on these roads, so it is not asked whether more die where there is "
    "more of it."
)
COUNTED_ON_FEW = (
    "Traffic was counted on less than half of these roads, so it is not asked whether more die "
    "where there is more of it."
)
ALL_THE_SAME = (
    "Traffic is the same wherever it was counted, so it can't tell where more die than elsewhere."
)
TOO_FEW = (
    "Too little was counted to tell whether more die where there is more traffic, so traffic "
    "explains nothing here."
)
NO_REPORTS = (
    "No reports of the public count, so traffic is read as a cause of deaths only, not as what "
    "brings eyes."
)
_READINGS = ("traffic explains deaths", "traffic explains reports")
READING_COLUMNS = [
    "reading", "deaths_per_year", "deaths_per_year_low", "deaths_per_year_high", "worst_shared",
    "worst",
]  # fmt: skip


@dataclass(frozen=True, eq=False)
class Joined:
    """The one model, and what stands beside it.

    Attributes
    ----------
    result : JointDeaths
    sources : tuple of Source
    carcasses, reports_dead : Source or None, Source
        Two of them.
    screened : ndarray, shape (pieces,)
        Network screening by Empirical Bayes.
    readings : pandas.DataFrame
        As in `findings.DeathTables`.
    notes : tuple of str
    """

    result: JointDeaths
    sources: tuple[Source, ...]
    carcasses: Source | None
    reports_dead: Source
    screened: Floats
    readings: pd.DataFrame
    notes: tuple[str, ...]

    @property
    def heard(self) -> Bools:
        """Pieces that a source which counted anything watched, shape (pieces,)."""
        watched = [s.exposure > 0 for s in self.sources if s.counted > 0]
        nowhere = np.zeros(len(self.screened), bool)
        return np.asarray(np.logical_or.reduce([nowhere, *watched]))


def join_sources(
    study: Study,
    route: CrossingRoute,
    carcasses: CarcassDeaths | None,
    frequencies: Frequencies,
    counted: CountedReports,
    surveyed: Bools,
    in_reach: Bools,
    network: Network,
    lixels: Lixels,
    pieces: Pieces,
    *,
    tasks: Tasks | None = None,
) -> Joined:
    """Fit the one model to carcasses, crossings and public reports.

    Parameters
    ----------
    study : Study
    route : CrossingRoute
    carcasses : CarcassDeaths or None
    frequencies : Frequencies
    counted : CountedReports
    surveyed : ndarray of bool, shape (placed reports,)
        Made by surveys of the study.
    in_reach : ndarray of bool, shape (pieces,)
        Pieces that a tagged animal came near.
    network : Network
    lixels : Lixels
    pieces : Pieces
    tasks : Tasks, optional
        As for `joint_deaths`.

    Returns
    -------
    Joined
    """
    settings = study.settings
    seed = settings.study.seed
    segment = lixels.segment[pieces.middle]
    typical = by_rows(
        route.chance, lambda some: np.exp(np.log(np.maximum(some, 1e-12)).mean(axis=1)), segment
    )
    dead, alive = report_sources(counted, surveyed, pieces, typical, settings.study.years)
    found = None if carcasses is None else carcass_source(carcasses, pieces)
    crossed = source_of_crossings(route, study, frequencies, lixels, pieces, in_reach)
    public = tuple(s for s in (dead, alive) if s.counted > 0)
    heard = (*(() if found is None else (found,)), crossed, *public)
    sources = tuple(s for s in heard if s.watched)
    road = pd.factorize(network.segments["road"].to_numpy(object)[segment])[0].astype(np.int64)
    middle = pieces.middle
    xy = places_xy(network, pieces.edge, (lixels.start_m[middle] + lixels.end_m[middle]) / 2)
    # Many roads have as many draws as the study asks for: they take most of the memory.
    draws = DRAWS if len(pieces) <= Division().above else settings.mortality.draws
    habitat, habitat_words = _habitat(study, network, lixels, pieces)
    traffic, traffic_words = _traffic(network, segment)
    of_deaths, twice = habitat, None
    if traffic is not None:
        both = _with_traffic(habitat, traffic)
        if TRAFFIC not in usable(both, [s for s in sources if s.counted > 0])[0].names:
            traffic_words = TOO_FEW
        elif public:
            twice = both_readings(
                pieces, sources, traffic, seed=seed, others=habitat, roads=road, draws=draws,
                k=settings.mortality.worst_places, xy=xy, tasks=tasks,
            )  # fmt: skip
        else:
            of_deaths, traffic_words = both, NO_REPORTS
    if twice is not None:
        result = twice.of_deaths
    else:
        result = joint_deaths(
            pieces, sources, seed=seed, covariates=of_deaths, roads=road, draws=draws, xy=xy,
            tasks=tasks,
        )  # fmt: skip
    nothing = np.zeros((len(pieces), 0))
    used, _ = usable(habitat, [s for s in sources if s.known])
    x = np.asarray(used.values).reshape(len(pieces), -1) if used.names else nothing
    screened, words = screened_rates(sources, pieces.length_km, x)
    said = traffic_words if twice is None else twice.words
    notes = (*habitat_words, *result.words, *_none_of(dead, alive), said, words)
    return Joined(result, sources, found, dead, screened, _readings(twice), notes)


def _habitat(
    study: Study, network: Network, lixels: Lixels, pieces: Pieces
) -> tuple[Covariates | None, tuple[str, ...]]:
    if study.habitat is None or study.settings.habitat is None or study.habitat.empty:
        return None, ()
    within = study.settings.habitat.within_m
    shares = habitat_shares(network, lixels, pieces, study.habitat, within_m=within)
    return Covariates(shares.names, shares.values), (
        f"Habitat within {within:g} m of each piece of road ({', '.join(shares.names)}) may "
        "explain where more animals die, if there are deaths enough to ask.",
    )


def _traffic(network: Network, segment: Ints) -> tuple[Floats | None, str]:
    """Return counted traffic of every piece; None, and why, where it can't explain anything."""
    counted = network.segments["aadt"].to_numpy(np.float64)[segment]
    known = np.isfinite(counted) & (counted > 0)
    if not known.any():
        return None, NOT_COUNTED
    if known.mean() < _COUNTED_SHARE:
        return None, COUNTED_ON_FEW
    if len(np.unique(counted[known])) < 2:
        return None, ALL_THE_SAME
    return np.where(known, counted, np.nan), ""


def _with_traffic(habitat: Covariates | None, traffic: Floats) -> Covariates:
    logs = np.log(traffic)[:, None]
    if habitat is None:
        return Covariates((TRAFFIC,), logs)
    values = habitat.values  # noqa: PD011  (no table)
    return Covariates((*habitat.names, TRAFFIC), np.column_stack([values, logs]))


def _none_of(dead: Source, alive: Source) -> tuple[str, ...]:
    """Say which reports of the public there are none of."""
    missing = [s.name for s in (dead, alive) if not s.counted > 0]
    if not missing:
        return ()
    return (f"No {' and no '.join(missing)} lie on these roads and count.",)


def _readings(twice: BothReadings | None) -> pd.DataFrame:
    if twice is None:
        return pd.DataFrame(columns=READING_COLUMNS)
    rows = []
    for name, fit in zip(_READINGS, (twice.of_deaths, twice.of_reports), strict=True):
        ends = (np.nan,) * 3
        if fit.per_year is not None:
            low, middle, high = np.quantile(fit.per_year, [0.05, 0.5, 0.95])
            best = float(np.clip(middle * fit.to_best, low, high))
            ends = (best, float(low), float(high))
        rows.append((name, *ends, twice.shared_worst, twice.k))
    return pd.DataFrame(rows, columns=READING_COLUMNS)
