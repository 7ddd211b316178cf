"""The kernel that a study asks for: it is used, named truthfully, and corrected where asked."""

from __future__ import annotations

from math import pi, sqrt

import numpy as np
import pytest
import shapely

from roadrisk.errors import InputError
from roadrisk.hotspot_settings import HotspotsSection
from roadrisk.hotspots.chance import compare_with_chance
from roadrisk.hotspots.edge_correction import expected_density
from roadrisk.hotspots.kernel_choice import kernel_of_study, kernel_words
from roadrisk.hotspots.kernels import lixel_kernel
from roadrisk.hotspots.straight_kernel import straight_lixel_kernel
from roadrisk.roads.lixels import lay_lixels
from tests.roads.small import make_network
from tests.truth.worlds import events_of, ground

CROSS = [[(0, 0), (300, 0)], [(300, 0), (600, 0)], [(300, 0), (300, 200)], [(300, 0), (300, -50)]]


def of(**settings: object) -> HotspotsSection:
    return HotspotsSection.model_validate({"bandwidth_m": 100.0, **settings})


@pytest.mark.parametrize("shape", ["quartic", "epanechnikov", "gaussian"])
@pytest.mark.parametrize("kernel", ["continuous", "discontinuous", "simple", "straight"])
def test_the_kernel_asked_for_is_the_one_used(kernel: str, shape: str) -> None:
    """Against the kernels themselves."""
    network = make_network(CROSS)
    lixels = lay_lixels(network, 10.0)
    got = kernel_of_study(network, lixels, of(kernel=kernel, kernel_shape=shape))
    if kernel == "straight":
        expected = straight_lixel_kernel(network, lixels, 100.0, shape=shape)
    else:
        expected = lixel_kernel(network, lixels, 100.0, shape=shape, split=kernel)
    assert abs(got.share - expected).max() < 1e-15
    peak = {"quartic": 15 / 16, "epanechnikov": 3 / 4, "gaussian": 4 / sqrt(2 * pi)}[shape] / 100
    assert got.peak_per_m == pytest.approx(peak, rel=1e-4)
    mass = np.asarray(got.share.sum(axis=1))
    if kernel == "simple":
        assert mass.max() > 1.5
        assert "look worse than they are" in got.notes[0]
    else:
        assert mass == pytest.approx(1.0, abs=1e-9)
        assert bool(got.notes) == (kernel == "straight")


@pytest.mark.parametrize("kernel", ["continuous", "discontinuous"])
def test_correction_at_the_border_only(kernel: str) -> None:
    """By hand: three arms are cut by the area's border, the fourth ends inside. Even events show
    twice of what half a kernel shows at the cuts; nothing changes away from them."""
    network = make_network(CROSS)
    lixels = lay_lixels(network, 2.0)
    area = shapely.box(0, -100, 600, 200)
    settings = of(kernel=kernel, edge_correction=True, study_area="a.gpkg", bandwidth_m=60.0)
    got = kernel_of_study(network, lixels, settings, area=area)
    plain = lixel_kernel(network, lixels, 60.0, split=kernel)
    xy = network.node_xy
    cut = np.isin(np.arange(len(xy)), np.flatnonzero(
        (xy[:, 0] == 0) | (xy[:, 0] == 600) | (xy[:, 1] == 200)
    ))  # fmt: skip
    middle = (lixels.start_m + lixels.end_m) / 2
    away = np.full(len(lixels), np.inf)
    back = network.edge_length_m[lixels.edge] - middle
    for end, from_end in ((network.edge_u, middle), (network.edge_v, back)):
        here = cut[end[lixels.edge]]
        away[here] = np.minimum(away[here], from_end[here])
    far = away > 60
    assert abs((got.share - plain)[:, far]).max() < 1e-12
    even = expected_density(got.share, lixels.length_m)
    usual = expected_density(plain, lixels.length_m)
    assert even == pytest.approx(usual, abs=1e-12)
    mass = np.asarray(got.share.sum(axis=1))
    assert mass[away < 1.5] == pytest.approx(np.log(2), abs=0.02)
    assert mass.max() > 1.02
    assert "3 roads are cut" in got.notes[0]
    assert "does not count exactly once" in got.notes[0]


def test_correction_where_no_road_is_cut() -> None:
    network = make_network(CROSS)
    lixels = lay_lixels(network, 10.0)
    settings = of(edge_correction=True, study_area="a.gpkg")
    got = kernel_of_study(network, lixels, settings, area=shapely.box(-99, -99, 999, 999))
    assert abs(got.share - lixel_kernel(network, lixels, 100.0)).max() < 1e-12
    assert "nothing was corrected" in got.notes[0]
    with pytest.raises(InputError, match="outline"):
        kernel_of_study(network, lixels, settings)


def test_the_bands_of_a_dual_carriageway_are_one_road_for_straight_lines() -> None:
    roads = make_network([[(0, 0), (1000, 0)], [(0, 20), (1000, 20)]])
    lixels = lay_lixels(roads, 10.0)
    leading = lixels.edge == 0
    got = kernel_of_study(roads, lixels, of(kernel="straight"), counted=leading)
    assert got.share[:, ~leading].nnz == 0
    assert np.asarray(got.share.sum(axis=1)) == pytest.approx(1.0, abs=1e-12)


@pytest.mark.parametrize(
    ("settings", "says"),
    [
        ({}, "Equal-split continuous network kernel, quartic, half-width 100 m"),
        ({"kernel": "discontinuous", "kernel_shape": "epanechnikov"},
         "Equal-split discontinuous network kernel, Epanechnikov, half-width 100 m"),
        ({"kernel": "simple"}, "one event counts more than once"),
        ({"kernel": "straight", "kernel_shape": "gaussian"},
         "Gaussian, half-width 100 m (4 standard deviations of 25 m)"),
        ({"edge_correction": True, "study_area": "a.gpkg"}, "mass is then not 1"),
        ({"bandwidth_from": "records"}, "(chosen from the records"),
    ],
)  # fmt: skip
def test_the_kernel_is_named_truthfully(settings: dict[str, object], says: str) -> None:
    words = kernel_words(of(**settings))
    assert says in words
    assert ("straight" in words) == (settings.get("kernel") == "straight")


def test_one_observer_counts_as_one_event_of_the_chosen_shape() -> None:
    """By hand: five observers with a hundred reports each on one lixel of a long road. The largest
    is left out; each of the others is capped at the Gaussian's own peak, 4 / sqrt(2 pi) / h, which
    is 1.7 times the quartic's. The draws' mean, 4 events on 3 km at most, is taken off."""
    on = ground(make_network([[(0, 0), (3000, 0)]]))
    rng = np.random.default_rng(1)
    who = [(True, f"o{i % 5}") for i in range(500)]
    events = events_of(on, [150] * 500, who, rng)
    for shape, height in (("gaussian", 4 / sqrt(2 * pi)), ("quartic", 15 / 16)):
        kernel = kernel_of_study(on.network, on.lixels, of(kernel_shape=shape))
        chance = compare_with_chance(
            events, on.strands, kernel.share, on.lixels.length_m, bandwidth_m=100.0, least_units=3,
            draws=99, rng=rng, peak_per_m=kernel.peak_per_m,
        )  # fmt: skip
        expected = 4 * height / 100
        assert expected - 0.01 < chance.statistic.max() <= expected * (1 + 1e-4)
