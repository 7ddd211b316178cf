"""The model district by district: against the undivided one, and the same however it is worked."""

from __future__ import annotations

import numpy as np
import pytest

from roadrisk.base.tasks import InProcess
from roadrisk.mortality.district_fit import DistrictFitter
from roadrisk.mortality.district_model import cut_apart, lay_model
from roadrisk.mortality.joint_covariates import Covariates
from roadrisk.mortality.joint_districts import Division
from roadrisk.mortality.joint_field import road_field
from roadrisk.mortality.joint_layout import lay_out
from roadrisk.mortality.joint_model import JointDeaths, joint_deaths
from roadrisk.mortality.joint_posterior import Fitter
from roadrisk.mortality.sources import Source
from tests.mortality.made_deaths import Lattice, lattice

DIVIDED = Division(above=0, most=60, sampled=10_000)


def seen(town: Lattice, seed: int) -> list[Source]:
    """Surveys on a third of the streets, crossings about the middle, reports everywhere."""
    rng = np.random.default_rng(seed)
    km = town.pieces.length_km
    away = np.hypot(*(town.xy - town.xy.mean(axis=0)).T)
    rate = 1.0 + 6.0 * np.exp(-((away / 300.0) ** 2))
    walked = np.where(town.road % 3 == 0, 8 * km, 0.0)
    near = np.where(away < 500.0, 4 * km, 0.0)
    return [
        Source("surveys", rng.poisson(rate * walked * 0.4) * 1.0, walked,
               np.log(rng.beta(40, 60, (len(km), 100)))),
        Source("crossings", rng.poisson(rate * near * rng.gamma(1.0, 1.0, len(km))) * 1.0, near,
               rng.normal(0.0, 0.3, 100), overdispersed=True),
        Source("reports", rng.poisson(rate * km * 2) * 1.0, 8 * km, None),
    ]  # fmt: skip


def test_one_district_is_the_undivided_fit() -> None:
    """Against the undivided fit, which shares no algebra with it: bound, slope and border."""
    town = lattice(7)
    sources, size = seen(town, 1), len(town.xy)
    rng = np.random.default_rng(2)
    x, effort = rng.normal(size=(size, 1)), rng.normal(size=(size, 1))
    layout = lay_out(sources, road_field(town.pieces), x, effort, town.road)
    parts = cut_apart(town.pieces, np.zeros(size, dtype=np.int64), InProcess(1))
    model = lay_model(parts, sources, x, effort, town.road, InProcess(1))
    assert model.border.name == layout.border_name
    assert model.border.scales == layout.scales
    scales = np.linspace(0.4, 1.1, len(layout.scales))
    whole = Fitter(layout).fit(scales)
    found = DistrictFitter(model.districts, model.border, InProcess(1)).fit(scales)
    assert found.bound == pytest.approx(whole.bound, abs=2e-3)
    np.testing.assert_allclose(found.slope, whole.slope, atol=0.1)
    np.testing.assert_allclose(found.border, whole.border, atol=5e-3)


def test_slope_of_districts_is_that_of_their_bound() -> None:
    """By differences, over several districts with and without each source."""
    town = lattice(9)
    sources = seen(town, 3)
    nothing = np.zeros((len(town.xy), 0))
    label = (town.xy[:, 0] > 600.0).astype(np.int64) + 2 * (town.xy[:, 1] > 600.0)
    model = lay_model(
        cut_apart(town.pieces, label, InProcess(1)), sources, nothing, nothing, town.road,
        InProcess(1),
    )  # fmt: skip
    fitter = DistrictFitter(model.districts, model.border, InProcess(1))
    scales = np.full(len(model.border.scales), 0.6)
    middle = fitter.fit(scales)
    for k in range(len(scales)):
        ends = []
        for sign in (-1, 1):
            moved = scales.copy()
            moved[k] *= np.exp(sign * 0.05)
            ends.append(fitter.fit(moved, middle).bound)
        assert middle.slope[k] == pytest.approx((ends[1] - ends[0]) / 0.1, abs=0.15)


def divided(town: Lattice, sources: list[Source], **more: object) -> JointDeaths:
    return joint_deaths(
        town.pieces, sources, seed=5, roads=town.road, draws=120, xy=town.xy, division=DIVIDED,
        **more,  # type: ignore[arg-type]
    )  # fmt: skip


def test_the_same_however_many_work_on_it() -> None:
    """By definition: threads change nothing, a seed another time neither."""
    town = lattice(9)
    sources = seen(town, 1)
    one, two = (divided(town, sources, tasks=InProcess(n)) for n in (1, 3))
    assert one.rate is not None
    assert two.rate is not None
    assert one.rate.dtype == np.float32
    np.testing.assert_array_equal(one.rate, two.rate)
    assert one.words == two.words


def test_districts_agree_with_the_undivided_roads() -> None:
    """Against the undivided fit: totals, places and widths, over draws of both."""
    town = lattice(12)
    sources = seen(town, 4)
    whole = joint_deaths(town.pieces, sources, seed=5, roads=town.road, draws=200)
    cut = divided(town, sources)
    assert whole.rate is not None
    assert cut.rate is not None
    assert "8 districts" in cut.words[-1]
    ends = [np.quantile(found.per_year, [0.05, 0.5, 0.95]) for found in (whole, cut)]
    np.testing.assert_allclose(ends[1], ends[0], rtol=0.15)
    places = [np.log(np.median(found.rate, axis=1)) for found in (whole, cut)]
    assert np.corrcoef(places)[0, 1] > 0.9
    widths = [
        np.log(np.divide(*np.quantile(found.rate, [0.95, 0.05], axis=1))) for found in (whole, cut)
    ]
    assert np.median(widths[1]) == pytest.approx(np.median(widths[0]), rel=0.2)


@pytest.mark.parametrize("which", [[0], [2], [], [0, 2]])
def test_poor_worlds_run_in_districts(which: list[int]) -> None:
    """By hand: reports alone tell no number; nothing known draws from the priors."""
    town = lattice(6)
    sources = [seen(town, 1)[k] for k in which]
    found = divided(town, sources)
    assert (found.rate is None) == (0 not in which)
    assert np.isfinite(found.relative).all()
    mean = town.pieces.length_km @ found.relative.astype(np.float64) / town.pieces.length_km.sum()
    np.testing.assert_allclose(mean, 1.0, rtol=1e-4)


def test_covariates_and_bounds_in_districts() -> None:
    """By hand: nothing found is a bound; what explains deaths gives each piece its like."""
    town = lattice(8)
    sources = seen(town, 6)
    empty = [Source("surveys", np.zeros(len(town.xy)), sources[0].exposure, sources[0].log_q)]
    assert divided(town, [*empty, sources[2]]).bound_only
    away = np.hypot(*(town.xy - town.xy.mean(axis=0)).T)[:, None]
    found = divided(town, sources, covariates=Covariates(("distance",), away))
    assert found.covariates == ("distance",)
    middle = np.median(found.similar, axis=1)
    assert np.corrcoef(middle, away[:, 0])[0, 1] < -0.8
