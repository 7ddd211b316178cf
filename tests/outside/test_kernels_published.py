"""Kernel values against published values and another program's tables."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pandas as pd
import pytest
from scipy.sparse import coo_array, diags_array
from scipy.sparse.linalg import expm_multiply
from scipy.stats import norm

from roadrisk.hotspots.kernels import density_at, lixel_kernel
from roadrisk.hotspots.network_k import network_k
from roadrisk.roads.distances import distances_between
from roadrisk.roads.lixels import lay_lixels
from roadrisk.roads.network import Network
from roadrisk.roads.placing import PieceIndex, nearest
from tests.roads.small import make_network

UNIT = 1000.0  # the reference network is unitless; a kilometre keeps it clear of snapping


def star(arms: int, length: float) -> Network:
    turn = 2 * np.pi * np.arange(arms) / arms
    return make_network([[(0, 0), (length * np.cos(t), length * np.sin(t))] for t in turn])


def along(network: Network, arm: int, from_node: float) -> tuple[int, float]:
    """Edge and offset of a place on an arm of a star, counted from its middle."""
    middle = int(np.argmin(np.hypot(*network.node_xy.T)))
    edge = [e for e in range(network.edges) if middle in (network.edge_u[e], network.edge_v[e])][
        arm
    ]
    length = float(network.edge_length_m[edge])
    return edge, from_node if network.edge_u[edge] == middle else length - from_node


def one(network: Network, event: tuple[int, float], place: tuple[int, float],
        bandwidth_m: float, split: str) -> float:  # fmt: skip
    return float(density_at(
        network, np.array([event[0]]), np.array([event[1]]), np.ones(1), np.array([place[0]]),
        np.array([place[1]]), bandwidth_m=bandwidth_m, split=split,
    )[0])  # fmt: skip


@pytest.mark.parametrize(("s", "arrival", "other_disc", "other_cont"), [
    (0, 0.0882, 0.06615, 0.0882), (1, 0.1472, 0.0384, 0.0512), (2, 0.1794, 0.01215, 0.0162),
])  # fmt: skip
def test_three_arms(s: float, arrival: float, other_disc: float, other_cont: float) -> None:
    """Equal-split formulas of Okabe, Satoh & Sugihara 2009 (IJGIS 23:7-32) worked by hand for
    an event 2 from a node of degree 3, half-width 5 (values computed from the formulas)."""
    network = star(3, 100.0)
    event = along(network, 0, 2.0)
    cases = ((0, "continuous"), (1, "discontinuous"), (1, "continuous"))
    got = [one(network, event, along(network, arm, s), 5.0, split) for arm, split in cases]
    assert got == pytest.approx([arrival, other_disc, other_cont], abs=1e-9)


@pytest.mark.parametrize(("s", "arrival", "other"), [
    (0, 0.1323, 0.1323), (1, 0.1728, 0.0768), (2, 0.1875, 0.0243),
])  # fmt: skip
def test_three_arms_of_the_simple_kernel(s: float, arrival: float, other: float) -> None:
    """The same event under the simple kernel (values computed from the formula, same source)."""
    network = star(3, 100.0)
    event = along(network, 0, 2.0)
    got = [one(network, event, along(network, arm, s), 5.0, "simple") for arm in (0, 1)]
    assert got == pytest.approx([arrival, other], abs=1e-9)


def test_four_arms() -> None:
    """The network and points of the kernel tests in the R package spNetwork
    (JeremyGelb/spNetwork, tests/testthat/test_kernels.R); values computed from the formulas."""
    network = star(4, 5.0)
    event = along(network, 0, 3.0)
    assert one(network, event, along(network, 1, 3.0), 10, "discontinuous") == pytest.approx(
        0.0128, abs=1e-9
    )
    back = one(network, event, along(network, 0, 1.0), 5.0, "continuous")
    assert back == pytest.approx(0.12015, abs=1e-12)
    assert one(network, event, along(network, 1, 3.0), 10, "simple") == pytest.approx(
        0.0384, abs=1e-9
    )


def test_mass_equals_placed_events() -> None:
    """Three arms, event 2 from the node, half-width 5: mass 1 for both kernels (same source)."""
    network = star(3, 100.0)
    lixels = lay_lixels(network, 4.0)
    for split in ("continuous", "discontinuous"):
        rows = lixel_kernel(network, lixels, 5.0, split=split)
        assert np.asarray(rows.sum(axis=1)) == pytest.approx(1.0, abs=1e-12)


@pytest.fixture(scope="module")
def reference(open_data: Path) -> tuple[Network, np.ndarray, np.ndarray, pd.DataFrame]:
    folder = open_data / "small_network_reference"
    vertices, edges, points, table = (
        pd.read_csv(folder / f"simplenet20_{name}.csv")
        for name in ("vertices", "edges", "points", "kde_at_points")
    )
    xy = vertices[["x", "y"]].to_numpy() * UNIT
    network = make_network([
        [tuple(xy[a]), tuple(xy[b])] for a, b in zip(edges["from"], edges["to"], strict=True)
    ])  # fmt: skip
    edge, offset, distance = nearest(
        PieceIndex.build(network), points[["x", "y"]].to_numpy() * UNIT
    )
    assert distance.max() < 1e-6
    return network, edge, offset, table


@pytest.mark.parametrize(("shape", "per_sd", "column"), [
    ("epanechnikov", 5**0.5, "epanechnikov"), ("quartic", 7**0.5, "biweight"),
])  # fmt: skip
@pytest.mark.parametrize(("split", "ending"), [("continuous", "cont"), ("discontinuous", "disc")])
def test_equal_split_kernels_of_another_program(
    reference: tuple[Network, np.ndarray, np.ndarray, pd.DataFrame],
    shape: str, per_sd: float, column: str, split: str, ending: str,
) -> None:  # fmt: skip
    """R's spatstat.linnet 3.0-6, equal-split kernels at 20 points on a 10-segment network, standard
    deviation 0.1 (Ang, Baddeley & Nair 2012, Scand J Stat 39:591-617 for the network). That
    program loses the discontinuous kernel's mass at dead ends, hence reflect=False."""
    network, edge, offset, table = reference
    got = density_at(network, edge, offset, np.ones(len(edge)), edge, offset,
                     bandwidth_m=0.1 * per_sd * UNIT, shape=shape, split=split,
                     reflect=False)  # fmt: skip
    assert got * UNIT == pytest.approx(table[f"{column}_{ending}"].to_numpy(), rel=1e-9)


def path_by_path(network: Network, edge: np.ndarray, offset: np.ndarray, continuous: bool,
                 least_tail: float, sd: float) -> np.ndarray:  # fmt: skip
    """Gaussian equal-split sums at the events themselves, every path followed by itself until the
    kernel's mass that is left on it is below `least_tail`; nothing thrown back at dead ends by the
    discontinuous one."""
    arms: dict[int, list[tuple[int, int]]] = {}
    for e in range(network.edges):
        arms.setdefault(int(network.edge_u[e]), []).append((e, 0))
        arms.setdefault(int(network.edge_v[e]), []).append((e, 1))

    def share(count: int, back: bool) -> float:
        if continuous:
            return 2 / count - back
        return 0.0 if back else 1 / (count - 1)

    out = np.zeros(len(edge))
    for own, start in zip(edge.tolist(), offset.tolist(), strict=True):
        on = edge == own
        out[on] += norm.pdf(offset[on] - start, scale=sd)
        ahead = [(own, 0, start, 1.0), (own, 1, float(network.edge_length_m[own]) - start, 1.0)]
        while ahead:
            e, side, gone, weight = ahead.pop()
            if abs(weight) * norm.sf(gone / sd) < least_tail:
                continue
            here = arms[int((network.edge_v if side else network.edge_u)[e])]
            for f, entered in here:
                w = weight * share(len(here), (f, entered) == (e, side))
                if w != 0.0:
                    length = float(network.edge_length_m[f])
                    x = offset[edge == f]
                    x = length - x if entered else x
                    out[edge == f] += w * norm.pdf(gone + x, scale=sd)
                    ahead.append((f, 1 - entered, gone + length, w))
    return out


@pytest.mark.parametrize(("split", "ending"), [("continuous", "cont"), ("discontinuous", "disc")])
def test_gaussian_equal_split_kernels_of_another_program(
    reference: tuple[Network, np.ndarray, np.ndarray, pd.DataFrame], split: str, ending: str
) -> None:
    """Same source, Gaussian. Its manual (densityEqualSplit, argument epsilon = 1e-6) says that "a
    tail of the kernel with total mass less than epsilon may be deleted". With that rule, paths
    followed one by one give its table to 1e-6 (measured 3e-8); without the rule they give ours to
    1e-9. So what is left between ours and the table, 8e-6 of the value, are the table's own deleted
    tails, and not how we follow paths or cut the Gaussian."""
    network, edge, offset, table = reference
    theirs = table[f"gaussian_{ending}"].to_numpy()
    sd, continuous = 0.1 * UNIT, split == "continuous"
    by_their_rule = path_by_path(network, edge, offset, continuous, 1e-6, sd)
    assert by_their_rule * UNIT == pytest.approx(theirs, rel=1e-6)
    whole = path_by_path(network, edge, offset, continuous, 1e-13, sd)
    got = density_at(network, edge, offset, np.ones(len(edge)), edge, offset,
                     bandwidth_m=8 * sd, shape="gaussian", split=split, gaussian_cut=8.0,
                     reflect=False)  # fmt: skip
    assert got == pytest.approx(whole, rel=1e-9)
    assert got * UNIT == pytest.approx(theirs, rel=1e-5)


def heat_on(network: Network, edge: np.ndarray, offset: np.ndarray, sd: float, step: float
            ) -> np.ndarray:  # fmt: skip
    """Heat at the places of unit sources after the time sd^2 / 2, by finite volumes on pieces of
    about `step`; sources and places are shared out between the two points around them."""
    count = np.maximum(2, np.round(network.edge_length_m / step).astype(int))
    first = len(network.node_xy) + np.concatenate([[0], np.cumsum(count - 1)])
    size = network.edge_length_m / count
    chains = [
        np.concatenate([[u], np.arange(a, b), [v]])
        for u, v, a, b in zip(network.edge_u, network.edge_v, first[:-1], first[1:], strict=True)
    ]
    i, j = (np.concatenate([c[part] for c in chains]) for part in (slice(-1), slice(1, None)))
    flow, half = 1 / np.repeat(size, count), np.repeat(size, count) / 2
    volume = np.bincount(np.concatenate([i, j]), np.concatenate([half, half]))
    every = (np.concatenate([flow, flow]), (np.concatenate([i, j]), np.concatenate([j, i])))
    links = coo_array(every, shape=(first[-1], first[-1])).tocsr()
    laplace = diags_array(1 / volume) @ (links - diags_array(np.asarray(links.sum(axis=1))))
    piece = np.minimum((offset / size[edge]).astype(int), count[edge] - 1)
    low, high = (np.array([chains[e][k + n] for e, k in zip(edge, piece, strict=True)])
                 for n in (0, 1))  # fmt: skip
    part = offset / size[edge] - piece
    sources = np.bincount(low, 1 - part, first[-1]) + np.bincount(high, part, first[-1])
    heat = expm_multiply(laplace * (sd**2 / 2), sources / volume)
    return (1 - part) * heat[low] + part * heat[high]


def test_the_gaussian_continuous_kernel_solves_the_heat_equation(
    reference: tuple[Network, np.ndarray, np.ndarray, pd.DataFrame],
) -> None:
    """Against scipy: the equal-split continuous Gaussian is heat after the time sd^2 / 2
    (McSwiggan, Baddeley & Nair 2017, Scand J Stat 44, from memory). Shorter pieces come nearer.
    (The table's own column of heat lies up to 3 % from both.)"""
    network, edge, offset, _ = reference
    sd = 0.1 * UNIT
    got = density_at(network, edge, offset, np.ones(len(edge)), edge, offset, bandwidth_m=8 * sd,
                     shape="gaussian", gaussian_cut=8.0)  # fmt: skip
    coarse, fine = (np.abs(heat_on(network, edge, offset, sd, step) / got - 1).max()
                    for step in (10.0, 2.5))  # fmt: skip
    assert coarse < 2e-3
    assert fine < 1e-4


def test_mass_on_the_reference_network(
    reference: tuple[Network, np.ndarray, np.ndarray, pd.DataFrame],
) -> None:
    """Mass 1 of both equal-split kernels on that network, rows not scaled."""
    network = reference[0]
    lixels = lay_lixels(network, 20.0)
    none_open = np.zeros(len(network.node_xy), bool)
    for split in ("continuous", "discontinuous"):
        for shape in ("quartic", "epanechnikov", "gaussian"):
            rows = lixel_kernel(network, lixels, 250.0, shape=shape, split=split,
                                open_nodes=none_open)  # fmt: skip
            assert np.asarray(rows.sum(axis=1)) == pytest.approx(1.0, abs=1e-9)


@pytest.mark.parametrize(("form", "column"), [("plain", "K_none"), ("geometric", "K_Ang")])
def test_network_k_of_another_program(
    reference: tuple[Network, np.ndarray, np.ndarray, pd.DataFrame], open_data: Path,
    form: str, column: str,
) -> None:  # fmt: skip
    """R's spatstat.linnet 3.0-6: network K without correction (Okabe & Yamada 2001, Geogr. Anal.
    33:271-290) and with the geometric one (Ang, Baddeley & Nair 2012), at 101 distances."""
    network, edge, offset, _ = reference
    table = pd.read_csv(open_data / "small_network_reference" / "simplenet20_linearK.csv")
    got = network_k(network, (edge, offset), table["r"].to_numpy() * UNIT, form=form) / UNIT
    assert got == pytest.approx(table[column].to_numpy(), abs=1e-6)


def test_counts_of_pairs_by_network_distance_of_another_program(
    reference: tuple[Network, np.ndarray, np.ndarray, pd.DataFrame], open_data: Path
) -> None:
    """R's spatstat.linnet 3.0-6, uncorrected network K (Okabe & Yamada 2001, Geogr. Anal.
    33:271-290): K(r) = L / (n (n - 1)) times the ordered pairs within r of each other."""
    network, edge, offset, _ = reference
    table = pd.read_csv(open_data / "small_network_reference" / "simplenet20_linearK.csv")
    distance = distances_between(network, edge, offset)[~np.eye(len(edge), dtype=bool)] / UNIT
    within = (distance[:, None] <= table["r"].to_numpy()).sum(axis=0)
    expected = network.length_m / UNIT / (len(edge) * (len(edge) - 1)) * within
    assert expected == pytest.approx(table["K_none"].to_numpy(), abs=1e-6)


def test_network_k_on_a_star() -> None:
    """Network and events of the tests of K in the R package spNetwork (JeremyGelb/spNetwork,
    tests/testthat/test_k_functions_sf.R): four arms of 5, K(3) = 20 / 3 times 1.5 = 10."""
    network = star(4, 5.0)
    # (0, 3), (3, 0), (1, 0) and (0, 1): two events on each of two arms.
    places = [along(network, arm, d) for arm, d in ((0, 3), (1, 3), (1, 1), (0, 1))]
    edge, offset = zip(*places, strict=True)
    got = network_k(network, (np.array(edge), np.array(offset)), np.array([3.0]))
    assert got == pytest.approx([10.0])
