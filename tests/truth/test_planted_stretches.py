"""Planted stretches found by ours and by plain maps: the small version of the script.

Its parts by hand and against scipy and scikit-learn; false alarms and power with known truth.
"""

from __future__ import annotations

import numpy as np
import pytest
from scipy.stats import poisson
from sklearn.neighbors import KernelDensity

from roadrisk.roads.lixels import lay_lixels, places_xy
from tests.roads.small import make_network
from tests.truth.networks import tree_of_roads
from tests.truth.plain_maps import counts_in_bins, planar_density
from tests.truth.planted_stretches import OURS, Teller, plain_maps, try_all
from tests.truth.worlds import Ground, ground, line_30_km


@pytest.fixture(scope="module")
def line() -> Ground:
    return ground(line_30_km())


def test_planar_density_on_a_tree() -> None:
    """Outside: scikit-learn's Gaussian kernel density, but for what lies beyond four standard
    deviations (e^-8 of the peak for each event)."""
    network = tree_of_roads()
    lixels = lay_lixels(network, 10.0)
    rng = np.random.default_rng(1)
    lixel = rng.integers(0, len(lixels), 40)
    weight = rng.uniform(0.2, 1.0, 40)
    xy = places_xy(network, lixels.edge, (lixels.start_m + lixels.end_m) / 2)
    fitted = KernelDensity(bandwidth=200.0).fit(xy[lixel], sample_weight=weight)
    theirs = np.exp(fitted.score_samples(xy)) * weight.sum()
    ours = planar_density(network, lixels, 200.0).values(lixel, weight)[0]
    peak = 1 / (2 * np.pi * 200.0**2)
    assert ours == pytest.approx(theirs, abs=weight.sum() * np.exp(-8) * peak, rel=1e-9)
    assert ours.max() > peak


def test_counts_in_bins() -> None:
    """By hand: 310 m and twice 140 m make bins of 100, 110, 100, 140 and 140 m (whole lixels);
    outside: scipy's Poisson tail for whole counts."""
    network = make_network([[(0, 0), (310, 0)], [(310, 0), (310, 140)], [(310, 0), (310, -140)]])
    lixels = lay_lixels(network, 10.0)
    bins = counts_in_bins(network, lixels)
    long = np.flatnonzero(network.edge_length_m > 200)[0]
    on_long, others = (np.flatnonzero(on) for on in (lixels.edge == long, lixels.edge != long))
    assert sorted(np.round(bins.due * 590)) == [100, 100, 110, 140, 140]
    lixel = np.concatenate([on_long[[0, 1, 2]], others[:2]])
    value = bins.values(lixel, np.ones(5))[0][bins.at]
    assert value[on_long[0]] == pytest.approx(-poisson.logsf(2, 5 * 100 / 590))
    assert value[others[0]] == pytest.approx(-poisson.logsf(1, 5 * 140 / 590))
    assert value[on_long[-1]] == 0


def test_ends_are_measured_along_the_road_and_past_its_ends() -> None:
    """By hand: a stretch from 100 to 200 m of a road of 300 m with a road on at each end."""
    network = make_network([[(0, 0), (-200, 0)], [(0, 0), (300, 0)], [(300, 0), (300, 250)],
                            [(0, 0), (0, -400)], [(300, 0), (600, 0)]])  # fmt: skip
    on = ground(network)
    xy = places_xy(network, on.lixels.edge, (on.lixels.start_m + on.lixels.end_m) / 2)
    east = (xy[:, 1] == 0) & (xy[:, 0] > 0) & (xy[:, 0] < 300)
    here = np.flatnonzero(east & (xy[:, 0] > 100) & (xy[:, 0] < 200))
    tell = Teller(on, here)
    forward = xy[here[0], 0] < xy[here[-1], 0]
    assert tell.errors(here) == pytest.approx((0.0, 0.0))
    west = np.flatnonzero((xy[:, 1] == 0) & (xy[:, 0] < 0) & (xy[:, 0] > -50))
    got = tell.errors(np.concatenate([west, np.flatnonzero(east)]))
    assert got == pytest.approx((-150.0, 100.0) if forward else (-100.0, 150.0))
    up = np.flatnonzero((xy[:, 0] == 300) & (xy[:, 1] < 60))
    got = tell.errors(np.concatenate([here, up]))
    assert got == pytest.approx((0.0, 160.0) if forward else (-160.0, 0.0))


def test_all_have_the_same_share_of_false_alarms(line: Ground) -> None:
    """Nothing planted, 120 worlds: more than 13 shown has a chance of 0.3 %, fewer than 1 of 0.2 %
    (for each of the methods, of which this holds at a chance of a few percent in all)."""
    for name, tally in try_all(line, plain_maps(line)[1::3], 60, 500.0, 1.0, 120).items():
        assert 1 <= sum(tally.shown) <= 13, name


def test_ours_finds_more_with_better_ends(line: Ground) -> None:
    """500 m at five times the rest, 250 observers: found in most worlds, and more often than by
    either plain map of the reports as they are; of two equal methods one would lead by 10 in 40
    in one of 40 series of worlds (binomial)."""
    tallies = try_all(line, plain_maps(line)[2::2], 250, 500.0, 5.0, 40)
    ours = tallies.pop(OURS)
    assert sum(ours.found) >= 24
    for name in ("planar, sd 200 m, reports", "counts, 100 m, reports"):
        assert sum(tallies[name].found) <= sum(ours.found) - 10, name
    ends = np.array([e for e, found in zip(ours.ends, ours.found, strict=True) if found])
    assert np.median(np.abs(ends)) <= 60.0
