"""Sparse factors and the walk along the roads: against numpy's dense algebra."""

from __future__ import annotations

import numpy as np
import pytest

from roadrisk.mortality.joint_field import road_field
from roadrisk.mortality.sparse_factor import factorise, lay_pattern
from roadrisk.roads.lixels import lay_lixels
from roadrisk.roads.pieces import Pieces, lay_pieces
from tests.roads.small import make_network


def loop_of_roads() -> Pieces:
    """A block of four streets, a stub, and a road apart."""
    net = make_network(
        [
            [(0, 0), (500, 0)],
            [(500, 0), (500, 400)],
            [(500, 400), (0, 400)],
            [(0, 400), (0, 0)],
            [(500, 0), (800, 0)],
            [(3000, 0), (3900, 0)],
            [(9000, 0), (9040, 0)],
        ]
    )
    return lay_pieces(net, lay_lixels(net, 10.0), 100.0)


@pytest.mark.parametrize("seed", [1, 2])
def test_factor_against_numpy(seed: int) -> None:
    """Against numpy.linalg: solve, determinant, and the inverse where the factor has numbers."""
    rng = np.random.default_rng(seed)
    size = 40
    a, b = rng.integers(size, size=(2, 70))
    a, b = a[a != b], b[a != b]
    pattern = lay_pattern(size, a, b)
    dense = np.zeros((size, size))
    numbers = np.zeros(len(pattern.row))
    weight = rng.uniform(-1.0, 1.0, len(a))
    np.add.at(dense, (a, b), weight)
    np.add.at(dense, (b, a), weight)
    np.add.at(numbers, pattern.entry(a, b), weight)
    own = np.abs(dense).sum(axis=1) + rng.uniform(0.1, 1.0, size)
    dense[np.diag_indices(size)] = own
    every = np.arange(size)
    numbers[pattern.entry(every, every)] = own
    factor = factorise(pattern, numbers)
    inverse = np.linalg.inv(dense)
    np.testing.assert_allclose(factor.solve(np.eye(size)), inverse, atol=1e-10)
    assert factor.log_determinant == pytest.approx(np.linalg.slogdet(dense)[1])
    diagonal, below = factor.inverse()
    np.testing.assert_allclose(diagonal, np.diag(inverse), atol=1e-10)
    np.testing.assert_allclose(below[pattern.factor_entry(a, b)], inverse[a, b], atol=1e-10)


def test_draws_have_the_matrix_as_precision() -> None:
    """Against numpy: the covariance of many draws is the inverse, within five standard errors."""
    pattern = lay_pattern(3, np.array([0, 1]), np.array([1, 2]))
    numbers = np.zeros(len(pattern.row))
    every = np.arange(3)
    numbers[pattern.entry(every, every)] = [2.0, 3.0, 4.0]
    numbers[pattern.entry(every[:2], every[1:])] = [-1.0, 0.5]
    dense = np.array([[2.0, -1.0, 0.0], [-1.0, 3.0, 0.5], [0.0, 0.5, 4.0]])
    normal = np.random.default_rng(1).standard_normal((3, 100_000))
    draws = factorise(pattern, numbers).draws(normal)
    np.testing.assert_allclose(np.cov(draws), np.linalg.inv(dense), atol=0.015)


def test_walk_is_scaled_part_by_part() -> None:
    """Against numpy's pseudo-inverse: geometric mean of marginal variances is 1 in each part."""
    pieces = loop_of_roads()
    field = road_field(pieces)
    members = np.bincount(field.component)
    assert sorted(members.tolist()) == [1, 9, 21]
    dense = field.times(np.eye(len(pieces)))
    np.testing.assert_allclose(dense, dense.T)
    for part, count in enumerate(members):
        at = field.component == part
        inner = dense[np.ix_(at, at)] - np.eye(count) / count
        if count == 1:
            assert inner == pytest.approx(0.0)
            continue
        np.testing.assert_allclose(inner.sum(axis=1), 0.0, atol=1e-10)
        variance = np.diag(np.linalg.pinv(inner))
        assert np.exp(np.log(variance).mean()) == pytest.approx(1.0)
