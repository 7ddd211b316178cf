"""Districts and their factors: by hand, and against numpy's dense algebra."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import sparse
from scipy.sparse.csgraph import connected_components

from roadrisk.mortality.districts import lay_districts
from roadrisk.mortality.front_factor import (
    Mesh,
    factor_mesh,
    lay_mesh,
    solve_mesh,
    solve_upper,
)
from roadrisk.mortality.front_inverse import invert_mesh
from tests.mortality.made_deaths import Lattice, lattice


def parts_of(town: Lattice, label: np.ndarray) -> int:
    same = label[town.a] == label[town.b]
    links = sparse.coo_array(
        (np.ones(same.sum()), (town.a[same], town.b[same])), (len(label), len(label))
    )
    return int(connected_components(links, directed=False)[0])


@pytest.mark.parametrize("placed", [True, False])
def test_districts_hang_together_and_are_small(placed: bool) -> None:
    """By definition: at most so many pieces, each in one part, few links cut."""
    town = lattice(20)
    label = lay_districts(len(town.xy), town.a, town.b, 100, town.xy if placed else None)
    sizes = np.bincount(label)
    assert sizes.max() <= 100
    assert sizes.min() >= 20
    assert parts_of(town, label) == len(sizes)
    assert np.mean(label[town.a] != label[town.b]) < 0.2
    assert (np.diff(np.unique(label, return_index=True)[1]) > 0).all()


def test_parts_of_the_network_stay_apart() -> None:
    """By hand: two roads that don't meet, one of four pieces and one of two, and a piece alone."""
    a, b = np.array([0, 1, 2, 4]), np.array([1, 2, 3, 5])
    assert lay_districts(7, a, b, 10).tolist() == [0, 0, 0, 0, 1, 1, 2]
    assert lay_districts(7, a, b, 2).tolist() == [0, 0, 1, 1, 2, 2, 3]


def test_a_star_is_cut_too() -> None:
    """By hand: many roads that meet in one piece can't all hang together in small districts."""
    leaves = np.arange(1, 60)
    label = lay_districts(60, np.zeros(59, dtype=np.int64), leaves, 20)
    assert np.bincount(label).max() <= 20


def dense(mesh: Mesh, local: np.ndarray, link: np.ndarray, road: np.ndarray) -> np.ndarray:
    out = np.zeros((mesh.first[-1],) * 2)
    for i in range(len(mesh.piece)):
        at = spots(mesh, i)
        out[np.ix_(at, at)] += local[i]
    for k in range(len(mesh.a)):
        u = mesh.first[mesh.piece[mesh.a[k]]] + np.arange(mesh.fields)
        v = mesh.first[mesh.piece[mesh.b[k]]] + np.arange(mesh.fields)
        out[u, v] += link[k]
        out[v, u] += link[k]
    for group in mesh.roads:
        at = mesh.first[group] + np.arange(mesh.slots)
        out[at, at] += road
    return out


def spots(mesh: Mesh, i: int) -> np.ndarray:
    at = mesh.first[mesh.piece[i]] + np.arange(mesh.fields)
    if not mesh.slots:
        return at
    return np.concatenate([at, mesh.first[mesh.road[i]] + np.arange(mesh.slots)])


@pytest.mark.parametrize(("fields", "slots"), [(1, 0), (3, 0), (2, 2)])
def test_fronts_against_numpy(fields: int, slots: int) -> None:
    town, rng = lattice(8), np.random.default_rng(4)
    size, width = len(town.xy), fields + slots
    mesh = lay_mesh(fields, slots, size, town.a, town.b, town.road, int(town.road.max()) + 1)
    x = rng.normal(size=(size, width, width))
    local = x @ x.transpose(0, 2, 1)
    local[:, np.arange(fields), np.arange(fields)] += 7.0
    link, road = -rng.random((len(town.a), fields)), np.ones(slots)
    whole = dense(mesh, local, link, road)
    panel, pivots = factor_mesh(mesh, local, link, road)
    assert np.log(pivots).sum() == pytest.approx(np.linalg.slogdet(whole)[1], rel=1e-12)
    right = rng.normal(size=(len(whole), 5))
    answer = right.copy()
    solve_mesh(mesh, panel, pivots, answer)
    np.testing.assert_allclose(answer, np.linalg.solve(whole, right), atol=1e-12)
    inverse = np.linalg.inv(whole)
    within, beside = invert_mesh(mesh, panel, pivots)
    for i in range(size):
        np.testing.assert_allclose(within[i], inverse[np.ix_(spots(mesh, i), spots(mesh, i))])
    start = mesh.first[mesh.piece]
    for f in range(fields):
        np.testing.assert_allclose(
            beside[:, f], inverse[start[mesh.a] + f, start[mesh.b] + f], atol=1e-14
        )
    root = np.diag(1.0 / np.sqrt(pivots))
    solve_upper(mesh, panel, root)
    np.testing.assert_allclose(root @ root.T, inverse, atol=1e-12)
