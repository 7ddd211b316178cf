"""Reports, animals and deaths beside pandas, scikit-learn, scipy, lifelines and statsmodels."""

from __future__ import annotations

import warnings
from typing import Any

import lifelines
import numpy as np
import pandas as pd
from scipy import stats
from scipy.sparse import coo_array
from scipy.sparse.csgraph import connected_components
from sklearn.neighbors import BallTree
from statsmodels.discrete.discrete_model import NegativeBinomial

from roadrisk.base.seeds import generator
from roadrisk.mortality.empirical_bayes import safety_function
from roadrisk.mortality.persistence import fit_persistence
from roadrisk.mortality.survival import kaplan_meier
from roadrisk.roads.network import Floats
from roadrisk.sightings.linking_marks import Marks
from roadrisk.sightings.linking_pairs import count_by_rule
from roadrisk.sightings.repeats import join_exact_repeats
from roadrisk.telemetry.kernel_range import kernel_utilisation
from tests.benchmarks.beside import Case, Step
from tests.benchmarks.review_speed import many_reports

NEAR_M, WITHIN_DAYS = 50.0, 10.0


def linking(reports: int) -> Case:
    """Only the geometry: near in place and time, one state; groups of single linkage."""
    many = many_reports(reports, 40.0 * reports, max(reports // 500, 3))
    time = (many.table["time"].astype("int64") / 86_400e9).to_numpy()
    time = (many.table["time"] - pd.Timestamp("2021-01-01", tz="UTC")).dt.total_seconds() / 86_400
    order = np.argsort(time.to_numpy(), kind="stable")
    xy, days = many.on_road_xy[order], time.to_numpy()[order]
    state = many.table["vitality"].map({"alive": 0, "dead": 1, "uncertain": 2})
    state = state.to_numpy(np.int64)[order]
    none, nothing = np.full(reports, -1, np.int64), np.zeros(reports)
    no = np.zeros(reports, np.bool_)
    marks = Marks(
        xy[:, 0].copy(), xy[:, 1].copy(), nothing, no, days, np.floor(days), no, state, none,
        nothing, nothing, nothing, np.full((reports, 3), -1, np.int64), nothing, none, no, none,
        none, none,
    )  # fmt: skip

    def theirs() -> int:
        found = 0
        for kind in range(3):
            mine = np.flatnonzero(state == kind)
            if not len(mine):
                continue
            rows = BallTree(xy[mine]).query_radius(xy[mine], NEAR_M)
            one = np.repeat(np.arange(len(mine)), [len(r) for r in rows])
            two = np.concatenate(rows)
            soon = np.abs(days[mine[one]] - days[mine[two]]) <= WITHIN_DAYS
            links = coo_array((np.ones(soon.sum()), (one[soon], two[soon])), (len(mine),) * 2)
            found += int(connected_components(links, directed=False)[0])
        return found

    def same(ours: int, others: int) -> None:
        assert ours == others

    return Case(lambda: count_by_rule(marks, NEAR_M, WITHIN_DAYS), theirs, same)


def repeats(reports: int) -> Case:
    many = many_reports(reports, 40.0 * reports, max(reports // 500, 3))
    again = generator(1, "again").integers(reports, size=reports)
    table = many.table.iloc[again].drop(columns="repeats").reset_index(drop=True)

    def theirs() -> int:
        keys = pd.DataFrame({
            "x": table.geometry.x.round(), "y": table.geometry.y.round(),
            "day": table["time"].dt.tz_convert("UTC").dt.date,
            "who": table["recordedBy"].str.strip().str.casefold(), "state": table["vitality"],
        })  # fmt: skip
        return len(table[~keys.duplicated()].reset_index(drop=True))

    def same(ours: Any, others: int) -> None:
        assert len(ours[0]) == others

    return Case(lambda: join_exact_repeats(table, "UTC"), theirs, same)


def home_range(fixes: int) -> Case:
    rng = generator(1, "home")
    xy = rng.normal(0, 80.0, (fixes, 2))
    xy -= xy.mean(axis=0)
    # A covariance that is round: scipy's kernel takes the shape of the data's.
    xy = xy @ np.linalg.inv(np.linalg.cholesky(np.cov(xy.T))).T * 80.0
    sd = 80.0 * fixes ** (-1 / 6)
    grid = kernel_utilisation(xy, sd)
    x, y = np.meshgrid(grid.x_m, grid.y_m)
    cell = float(np.diff(grid.x_m[:2])[0] * np.diff(grid.y_m[:2])[0])

    def theirs() -> Floats:
        density = stats.gaussian_kde(xy.T, bw_method=sd / 80.0)
        return np.asarray(density(np.stack([x.ravel(), y.ravel()])).reshape(x.shape) * cell)

    def same(ours: Any, others: Floats) -> None:
        # Ours is each cell's mass, theirs its middle's density times its area.
        assert abs(ours.mass - others).max() < 2e-3 * others.max()

    return Case(lambda: kernel_utilisation(xy, sd), theirs, same)


def persistence(carcasses: int) -> Case:
    rng = generator(1, "carcasses")
    checks = np.array([0, 1, 2, 3, 4, 7, 10, 14, 21, 28], float)
    gone = rng.weibull(0.8, carcasses) * 6.0
    at = np.searchsorted(checks, gone)
    low = checks[np.minimum(at, len(checks)) - 1]
    high = np.append(checks, np.inf)[at]
    fitters = (
        lifelines.ExponentialFitter, lifelines.WeibullFitter, lifelines.LogNormalFitter,
        lifelines.LogLogisticFitter,
    )  # fmt: skip

    def theirs() -> list[float]:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            return [f().fit_interval_censoring(low, high).log_likelihood_ for f in fitters]

    def same(ours: Any, others: list[float]) -> None:
        table = ours.table.set_index("family")["log_likelihood"]
        names = ["exponential", "weibull", "lognormal", "loglogistic"]
        np.testing.assert_allclose(table[names], others, atol=1e-4 * carcasses)

    return Case(lambda: fit_persistence(low, high, seed=1), theirs, same)


def survival(animals: int) -> Case:
    rng = generator(1, "survival")
    entry = rng.integers(0, 200, animals).astype(float)
    leave = entry + rng.integers(1, 400, animals)
    entry[: max(animals // 10, 5)] = 0.0
    died = rng.random(animals) < 0.4

    def theirs() -> pd.Series[float]:
        fitted = lifelines.KaplanMeierFitter().fit(leave, died, entry=entry)
        return fitted.survival_function_["KM_estimate"]

    def same(ours: pd.DataFrame, others: pd.Series[float]) -> None:
        np.testing.assert_allclose(ours["survival"], others.reindex(ours["time"]), atol=1e-9)

    return Case(lambda: kaplan_meier(entry, leave, died), theirs, same)


def rates(sites: int) -> Case:
    rng = generator(1, "sites")
    covariates = rng.standard_normal((sites, 2))
    exposure = rng.uniform(0.2, 3.0, sites)
    mean = exposure * np.exp(0.4 + covariates @ [0.5, -0.3])
    y = rng.poisson(mean * rng.gamma(1.5, 1 / 1.5, sites)).astype(float)
    design = np.column_stack([np.ones(sites), covariates])

    def theirs() -> Floats:
        model = NegativeBinomial(y, design, offset=np.log(exposure))
        return np.asarray(model.fit(disp=0, method="bfgs", maxiter=1000, gtol=1e-6).params)

    def same(ours: Any, others: Floats) -> None:
        np.testing.assert_allclose(ours.coefficients, others[:3], atol=1e-3)
        np.testing.assert_allclose(ours.overdispersion, others[3], atol=1e-3)

    return Case(lambda: safety_function(y, exposure, covariates), theirs, same)


STEPS = (
    Step("exact repeats", "pandas duplicated", repeats, "reports", 300, "the same number stays",
         why="ours also counts and lists every repeat with the report it repeats and the reason"),
    Step("reports of one animal by a rule", "scikit-learn BallTree, scipy components", linking,
         "reports", 300, "the same number of animals", big=1_000_000),
    Step("home range", "scipy gaussian_kde", home_range, "fixes", 20,
         "2e-3 of the largest (cell's mass beside its middle)"),
    Step("persistence of carcasses", "lifelines", persistence, "carcasses", 40,
         "log-likelihood 1e-4 a carcass"),
    Step("survival of tagged animals", "lifelines", survival, "animals", 20, "1e-9"),
    Step("negative binomial rates", "statsmodels", rates, "sites", 100, "1e-3"),
)  # fmt: skip
