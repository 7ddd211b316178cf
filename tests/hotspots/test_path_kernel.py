"""The kernel by matrix, by paths and spread once: one and the same (by property)."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from roadrisk.base.seeds import generator
from roadrisk.errors import InputError
from roadrisk.hotspots.chance import compare_with_chance
from roadrisk.hotspots.kernel_shapes import SHAPES, height
from roadrisk.hotspots.kernels import density_at, lixel_kernel
from roadrisk.hotspots.path_kernel import (
    PathKernel,
    fitting_kernel,
    part_of,
    spread_events,
    spread_once,
)
from roadrisk.hotspots.strands import lay_strands
from roadrisk.hotspots.unit_sums import UnitSums
from tests.benchmarks.hot_stretches import gathered
from tests.benchmarks.lattices import lattice, lixels_of

NETWORK = lattice(150, 100.0)
LIXELS = lixels_of(NETWORK)


@pytest.mark.parametrize("split", ["continuous", "discontinuous"])
@pytest.mark.parametrize("shape", list(SHAPES))
def test_matrix_paths_and_single_spread_agree(split, shape) -> None:
    matrix = fitting_kernel(NETWORK, LIXELS, 180.0, shape=shape, split=split)
    paths = fitting_kernel(NETWORK, LIXELS, 180.0, shape=shape, split=split, asked=1)
    assert isinstance(paths, PathKernel)
    assert not isinstance(matrix, PathKernel)
    mass = np.bincount(generator(1, "test").integers(len(LIXELS), size=200), minlength=len(LIXELS))
    by_matrix = spread_events(matrix, mass.astype(float))
    assert by_matrix.sum() == pytest.approx(200, abs=1e-9)
    assert spread_events(paths, mass.astype(float)) == pytest.approx(by_matrix, abs=1e-12)
    once = spread_once(NETWORK, LIXELS, mass.astype(float), 180.0, shape=shape, split=split)
    assert once == pytest.approx(by_matrix, abs=1e-12)
    some = np.arange(40, 200, 3)
    among = part_of(paths, some).toarray()
    assert among == pytest.approx(part_of(matrix, some).toarray(), abs=1e-12)


def test_rows_of_the_matrix_are_the_density_integrated() -> None:
    """By quadrature over each lixel, where the matrix sums paths through running polynomials."""
    row = lixel_kernel(NETWORK, LIXELS, 180.0)[[500]].toarray()[0]
    edge, at = LIXELS.edge[[500]], (LIXELS.start_m[[500]] + LIXELS.end_m[[500]]) / 2
    nodes, weights = np.polynomial.legendre.leggauss(6)
    total = np.zeros(len(LIXELS))
    for x, w in zip(nodes, weights, strict=True):
        place = (LIXELS.start_m + LIXELS.end_m) / 2 + x * LIXELS.length_m / 2
        total += w * LIXELS.length_m / 2 * density_at(
            NETWORK, edge, at, np.ones(1), LIXELS.edge, place, bandwidth_m=180.0
        )  # fmt: skip
    # The kernel is no polynomial at its peak and where it ends.
    others = (np.arange(len(LIXELS)) != 500) & (total > 0)
    assert row[others] == pytest.approx(total[others], abs=1e-6)
    assert others.sum() > 50


def test_the_test_is_the_same_by_matrix_and_by_paths() -> None:
    strands = lay_strands(NETWORK, LIXELS, np.ones(len(LIXELS), bool), 2000.0)
    events = gathered(NETWORK, LIXELS, strands, 300)
    found = [
        compare_with_chance(
            events, strands, fitting_kernel(NETWORK, LIXELS, 150.0, asked=asked), LIXELS.length_m,
            bandwidth_m=150.0, least_units=3, draws=99, rng=generator(1, "test"), by_window=True,
        )
        for asked in (np.inf, 1)
    ]  # fmt: skip
    assert found[0].statistic.max() > 0
    assert found[1].statistic == pytest.approx(found[0].statistic, abs=1e-12)
    assert found[1].largest == pytest.approx(found[0].largest, abs=1e-12)
    assert (found[1].p_value == found[0].p_value).all()
    assert found[1].by_window.q_value == pytest.approx(found[0].by_window.q_value, abs=1e-9)


def test_sums_do_not_depend_on_the_number_of_processors(monkeypatch) -> None:
    strands = lay_strands(NETWORK, LIXELS, np.ones(len(LIXELS), bool), 2000.0)
    events = gathered(NETWORK, LIXELS, strands, 1500)
    found = []
    for processors in (1, 3):
        monkeypatch.setattr("roadrisk.hotspots.unit_sums.cpu_count", lambda n=processors: n)
        found.append(compare_with_chance(
            events, strands, lixel_kernel(NETWORK, LIXELS, 150.0), LIXELS.length_m,
            bandwidth_m=150.0, least_units=3, draws=199, rng=generator(1, "test"),
        ))  # fmt: skip
    assert (found[0].largest == found[1].largest).all()
    assert (found[0].statistic == found[1].statistic).all()


def test_draws_that_are_not_kept_are_made_again(monkeypatch) -> None:
    strands = lay_strands(NETWORK, LIXELS, np.ones(len(LIXELS), bool), 2000.0)
    events = gathered(NETWORK, LIXELS, strands, 300)
    found = []
    for most in (400_000_000, 100_000, 0):
        monkeypatch.setattr("roadrisk.hotspots.chance.MOST_KEPT", most)
        found.append(compare_with_chance(
            events, strands, lixel_kernel(NETWORK, LIXELS, 150.0), LIXELS.length_m,
            bandwidth_m=150.0, least_units=3, draws=119, rng=generator(1, "test"), by_window=True,
        ))  # fmt: skip
    for other in found[1:]:
        assert (found[0].largest == other.largest).all()
        assert (found[0].by_window.p_value == other.by_window.p_value).all()


def test_a_unit_counts_where_its_kernel_is_more_than_rounding() -> None:
    """By hand: three events on one road; each is capped at the peak and the largest left out."""
    network = lattice(4, 3000.0)
    lixels = lixels_of(network)
    strands = lay_strands(network, lixels, np.ones(len(lixels), bool), 2000.0)
    events = gathered(network, lixels, strands, 300)
    chosen = np.flatnonzero(np.diff(events.unit, prepend=-1))[:3]
    three = replace(
        events, lixel=np.array([100, 100, 100]), position_m=events.position_m[chosen],
        weight=np.array([5.0, 0.5, 0.25]), event=np.arange(3), unit=np.arange(3),
        kind=events.kind[chosen], block=np.arange(3),
        unit_is_observer=np.ones(3, bool), unit_names=("a", "b", "c"),
    )  # fmt: skip
    kernel = lixel_kernel(network, lixels, 200.0)
    peak = float(height(0.0, 200.0, 0, 4.0))
    sums = UnitSums(three, kernel, lixels.length_m, peak_per_m=peak, least_units=3)
    row = kernel[[100]].toarray()[0] / lixels.length_m
    expected = row * 0.75
    assert sums.of(three.lixel) == pytest.approx(
        np.where(row > 4e-6 * peak, expected, 0), abs=1e-15
    )


def test_what_fits_nowhere_says_what_to_change() -> None:
    with pytest.raises(InputError, match="smaller half-width, longer lixels"):
        fitting_kernel(NETWORK, LIXELS, 300.0, most_bytes=1e4)
