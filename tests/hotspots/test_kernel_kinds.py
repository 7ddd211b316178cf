"""Kinds and shapes of kernels: closed forms worked by hand, and properties."""

from __future__ import annotations

from math import erf, exp, pi, sqrt

import numpy as np
import pytest
import shapely
from hypothesis import given
from hypothesis import strategies as st
from scipy import integrate

from roadrisk.hotspots.edge_correction import expected_density, nodes_at_border
from roadrisk.hotspots.kernel_shapes import GAUSSIAN_CUT, SHAPES, half_width_m, height, mass_to
from roadrisk.hotspots.kernels import density_at, lixel_kernel
from roadrisk.roads.lixels import lay_lixels, places_xy
from roadrisk.roads.network import Network
from roadrisk.roads.placing import PieceIndex, nearest
from tests.roads.small import make_network
from tests.roads.strategies import STEADY, Line, cut_elsewhere, road_lines

KINDS = ("continuous", "discontinuous", "simple")


def quartic(d: float, h: float) -> float:
    return 15 / 16 / h * (1 - (d / h) ** 2) ** 2 if d < h else 0.0


def epanechnikov(d: float, h: float) -> float:
    return 3 / 4 / h * (1 - (d / h) ** 2) if d < h else 0.0


def gaussian(d: float, h: float) -> float:
    s = h / 4
    return exp(-(d**2) / (2 * s**2)) / (s * sqrt(2 * pi)) / erf(4 / sqrt(2)) if d < h else 0.0


HEIGHTS = {"quartic": quartic, "epanechnikov": epanechnikov, "gaussian": gaussian}
shapes = pytest.mark.parametrize("shape", list(HEIGHTS))


def one(network: Network, event: tuple[int, float], place: tuple[int, float],
        bandwidth_m: float, **options: object) -> float:  # fmt: skip
    return float(density_at(
        network, np.array([event[0]]), np.array([event[1]]), np.ones(1), np.array([place[0]]),
        np.array([place[1]]), bandwidth_m=bandwidth_m, **options,
    )[0])  # fmt: skip


def random_network(rng: np.random.Generator) -> Network:
    """Four to nine junctions with dead ends, rings, parallel roads and short edges."""
    count = int(rng.integers(4, 10))
    xy = rng.uniform(0, 300, (count, 2))
    lines = [[tuple(xy[i]), tuple(xy[rng.integers(0, i)])] for i in range(1, count)]
    for _ in range(int(rng.integers(0, 5))):
        a, b = rng.integers(0, count, 2)
        lines.append([tuple(xy[a]), tuple(rng.uniform(0, 300, 2)), tuple(xy[b])])
    return make_network(lines)


@shapes
def test_shapes_have_mass_one_and_their_integral(shape: str) -> None:
    """By hand and by quadrature."""
    code, h = SHAPES[shape], 70.0
    assert mass_to(h, h, code, GAUSSIAN_CUT) == pytest.approx(0.5, abs=1e-12)
    assert mass_to(99.0, h, code, GAUSSIAN_CUT) == pytest.approx(0.5, abs=1e-12)
    for d in (0.0, 13.0, 41.0, 69.9, 70.0, 90.0):
        assert height(d, h, code, GAUSSIAN_CUT) == pytest.approx(HEIGHTS[shape](d, h), abs=1e-12)
        area = integrate.quad(lambda x: HEIGHTS[shape](x, h), 0, min(d, h), epsabs=1e-12)[0]
        assert mass_to(d, h, code, GAUSSIAN_CUT) == pytest.approx(area, abs=1e-9)


@shapes
def test_half_width_gives_the_standard_deviation(shape: str) -> None:
    """By quadrature; the Gaussian loses a little of its spread where it is cut."""
    h = half_width_m(10.0, shape)
    f = HEIGHTS[shape]
    variance = 2 * integrate.quad(lambda x: x * x * f(x, h), 0, h)[0]
    assert sqrt(variance) == pytest.approx(10.0, rel=1e-3 if shape == "gaussian" else 1e-6)


@shapes
@pytest.mark.parametrize("kind", KINDS)
def test_on_a_line_all_kinds_are_the_plain_kernel(shape: str, kind: str) -> None:
    """By hand."""
    road = make_network([[(0, 0), (1000, 0)]])
    for d in (0.0, 12.0, 40.0, 79.0, 80.0, 95.0):
        got = one(road, (0, 500.0), (0, 500.0 + d), 80.0, shape=shape, split=kind)
        assert got == pytest.approx(HEIGHTS[shape](d, 80.0), abs=1e-12)


@shapes
def test_on_a_ring(shape: str) -> None:
    """By hand: the equal-split kernels come both ways round, the simple one the shorter way."""
    ring = make_network([[(0, 0), (10, 0), (10, 10), (0, 10), (0, 0)]])
    f = HEIGHTS[shape]
    places = (0, 12.0), (0, 27.0)
    for kind in KINDS:
        expected = f(15, 30) + (f(25, 30) if kind != "simple" else 0.0)
        assert one(ring, *places, 30.0, shape=shape, split=kind) == pytest.approx(
            expected, abs=1e-12
        )


@shapes
def test_before_a_dead_end(shape: str) -> None:
    """By hand: event 3 m and place 1 m before it."""
    road = make_network([[(0, 0), (100, 0)]])
    f, places = HEIGHTS[shape], ((0, 3.0), (0, 1.0))
    both = f(2, 10) + f(4, 10)
    cut = np.array([True, True])
    for options, expected in (
        ({"split": "continuous"}, both),
        ({"split": "discontinuous"}, both),
        ({"split": "discontinuous", "reflect": False}, f(2, 10)),
        ({"split": "simple"}, f(2, 10)),
        ({"split": "continuous", "open_nodes": cut}, f(2, 10)),
        ({"split": "discontinuous", "open_nodes": cut}, f(2, 10)),
    ):
        assert one(road, *places, 10.0, shape=shape, **options) == pytest.approx(
            expected, abs=1e-12
        )


@shapes
def test_on_a_star_of_five_arms(shape: str) -> None:
    """By hand: event 20 m and place 30 m from the middle, on two arms and on one."""
    turn = 2 * np.pi * np.arange(5) / 5
    star = make_network([[(0, 0), (500 * np.cos(t), 500 * np.sin(t))] for t in turn])
    middle = int(np.argmin(np.hypot(*star.node_xy.T)))

    def at(edge: int, d: float) -> tuple[int, float]:
        return edge, d if star.edge_u[edge] == middle else float(star.edge_length_m[edge]) - d

    f = HEIGHTS[shape]
    across = {"continuous": 2 / 5 * f(50, 90), "discontinuous": f(50, 90) / 4, "simple": f(50, 90)}
    back = {"continuous": f(10, 90) - 3 / 5 * f(50, 90), "discontinuous": f(10, 90),
            "simple": f(10, 90)}  # fmt: skip
    for kind in KINDS:
        got = one(star, at(0, 20), at(3, 30), 90.0, shape=shape, split=kind)
        assert got == pytest.approx(across[kind], abs=1e-9)
        got = one(star, at(0, 20), at(0, 30), 90.0, shape=shape, split=kind)
        assert got == pytest.approx(back[kind], abs=1e-9)


def test_mass_of_the_simple_kernel_at_a_junction() -> None:
    """By hand: 1 + (n - 2) times the part of the kernel beyond the node."""
    turn = 2 * np.pi * np.arange(3) / 3
    star = make_network([[(0, 0), (100 * np.cos(t), 100 * np.sin(t))] for t in turn])
    lixels = lay_lixels(star, 4.0)
    rows = np.asarray(lixel_kernel(star, lixels, 5.0, split="simple").sum(axis=1))
    beyond = 0.5 - mass_to(2.0, 5.0, SHAPES["quartic"], GAUSSIAN_CUT)
    assert beyond == pytest.approx(0.16308, abs=1e-12)
    middle = int(np.argmin(np.hypot(*star.node_xy.T)))
    near = [lixels.first[e] if star.edge_u[e] == middle else lixels.first[e + 1] - 1
            for e in range(3)]  # fmt: skip
    assert rows[near] == pytest.approx(1.16308, abs=1e-12)


@shapes
def test_mass_is_one_on_200_random_networks(shape: str) -> None:
    """Property: both equal-split kernels spread exactly one event, before any scaling of rows
    (an array of no open nodes switches that off)."""
    rng = np.random.default_rng([7, SHAPES[shape]])
    worst = 0.0
    for _ in range(200):
        network = random_network(rng)
        lixels = lay_lixels(network, 25.0)
        none_open = np.zeros(len(network.node_xy), bool)
        h = float(rng.uniform(20, 120))
        for kind in ("continuous", "discontinuous"):
            rows = lixel_kernel(network, lixels, h, shape=shape, split=kind, open_nodes=none_open)
            worst = max(worst, float(np.abs(np.asarray(rows.sum(axis=1)) - 1).max()))
    assert worst < 1e-9


@shapes
@pytest.mark.parametrize("kind", KINDS)
def test_lixel_shares_are_the_integrated_kernel(shape: str, kind: str) -> None:
    """By quadrature, on a network with a ring and a dead end."""
    network = make_network([
        [(0, 0), (60, 0)], [(60, 0), (90, 40)], [(60, 0), (80, -30)], [(90, 40), (80, -30)],
    ])  # fmt: skip
    lixels = lay_lixels(network, 10.0)
    source = 3
    row = lixel_kernel(network, lixels, 95.0, shape=shape, split=kind)[[source]].toarray()[0]
    event = int(lixels.edge[source]), float((lixels.start_m + lixels.end_m)[source] / 2)
    for i in range(len(lixels)):
        steps = np.linspace(lixels.start_m[i], lixels.end_m[i], 2001)
        middle = (steps[1:] + steps[:-1]) / 2
        many = density_at(
            network, np.array([event[0]]), np.array([event[1]]), np.ones(1),
            np.full(2000, lixels.edge[i]), middle, bandwidth_m=95.0, shape=shape, split=kind,
        )  # fmt: skip
        assert row[i] == pytest.approx(many.mean() * lixels.length_m[i], abs=2e-6)


def reached(d: float, h: float, shape: str) -> float:
    """Kernel from 0 to a distance, in closed form."""
    t = min(max(d / h, 0.0), 1.0)
    if shape == "quartic":
        return 15 / 16 * (t - 2 * t**3 / 3 + t**5 / 5)
    if shape == "epanechnikov":
        return 3 / 4 * (t - t**3 / 3)
    return erf(4 * t / sqrt(2)) / erf(4 / sqrt(2)) / 2


@shapes
def test_lixel_shares_in_closed_form(shape: str) -> None:
    """By hand, to 1e-9, what a run uses: on a line, a ring, before a dead end, and on a star of 4
    arms, each lixel's share is a difference of two values of the kernel's integral."""

    def piece(low: float, high: float, h: float) -> float:
        return reached(high, h, shape) - reached(low, h, shape)

    line = make_network([[(0, 0), (1000, 0)]])
    lixels = lay_lixels(line, 10.0)
    for kind in KINDS:
        rows = lixel_kernel(line, lixels, 80.0, shape=shape, split=kind).toarray()
        assert rows[50, 50] == pytest.approx(2 * piece(0, 5, 80), abs=1e-9)
        assert rows[50, 53] == pytest.approx(piece(25, 35, 80), abs=1e-9)
        assert rows[50, 58] == pytest.approx(piece(75, 80, 80), abs=1e-9)
        thrown_back = 0.0 if kind == "simple" else piece(45, 55, 80)
        assert rows[3, 1] == pytest.approx(piece(15, 25, 80) + thrown_back, abs=1e-9)

    ring = make_network([[(0, 0), (10, 0), (10, 10), (0, 10), (0, 0)]])
    lixels = lay_lixels(ring, 10.0)
    for kind in KINDS:
        rows = lixel_kernel(ring, lixels, 30.0, shape=shape, split=kind).toarray()
        both_ways = piece(5, 15, 30) + (0.0 if kind == "simple" else piece(25, 30, 30))
        assert rows[1, 2] == pytest.approx(both_ways, abs=1e-9)

    star = make_network([[(0, 0), (100, 0)], [(0, 0), (0, 100)], [(0, 0), (-100, 0)],
                         [(0, 0), (0, -100)]])  # fmt: skip
    lixels = lay_lixels(star, 10.0)
    middle = int(np.argmin(np.hypot(*star.node_xy.T)))
    near = [int(lixels.first[e]) if star.edge_u[e] == middle else int(lixels.first[e + 1]) - 1
            for e in range(4)]  # fmt: skip
    beyond = piece(5, 15, 60)
    for kind, across, back in (
        ("continuous", 2 / 4, 2 / 4 - 1), ("discontinuous", 1 / 3, 0.0), ("simple", 1.0, 0.0),
    ):  # fmt: skip
        rows = lixel_kernel(star, lixels, 60.0, shape=shape, split=kind).toarray()
        assert rows[near[0], near[2]] == pytest.approx(across * beyond, abs=1e-9)
        own = 2 * piece(0, 5, 60) + back * beyond
        assert rows[near[0], near[0]] == pytest.approx(own, abs=1e-9)


@STEADY
@given(road_lines(), st.data())
def test_where_the_map_cuts_its_lines_changes_no_kernel(lines: list[Line], data: st.DataObject
                                                       ) -> None:  # fmt: skip
    """Property: lines cut inside, turned and shuffled give the same values at the same places."""
    one_way, other = make_network(lines), make_network(data.draw(cut_elsewhere(lines)))
    rng = np.random.default_rng(data.draw(st.integers(0, 2**32 - 1)))
    edge = rng.choice(one_way.edges, 12, p=one_way.edge_length_m / one_way.length_m)
    offset = rng.random(12) * one_way.edge_length_m[edge]
    there, then, away = nearest(PieceIndex.build(other), places_xy(one_way, edge, offset))
    assert away.max() < 1e-9
    shape = data.draw(st.sampled_from(list(HEIGHTS)))
    for kind in KINDS:
        a, b = (
            density_at(network, e[:5], x[:5], np.arange(1.0, 6.0), e, x, bandwidth_m=90.0,
                       shape=shape, split=kind)
            for network, e, x in ((one_way, edge, offset), (other, there, then))
        )  # fmt: skip
        assert a == pytest.approx(b, abs=1e-9)
        a, b = (lixel_kernel(network, lay_lixels(network, 10.0), 90.0, shape=shape, split=kind)
                for network in (one_way, other))  # fmt: skip
        assert abs(a - b).max() < 1e-9


def test_even_events_show_an_even_density_up_to_the_cut() -> None:
    """By hand: a road cut at both ends keeps half of the kernel there; corrected, even
    everywhere. One corrected event weighs ln 2 at the cut (the integral of K / (1/2 + Q)) and more
    than 1 further in."""
    road = make_network([[(0, 0), (1000, 0)]])
    lixels = lay_lixels(road, 1.0)
    area = shapely.box(0, -50, 1000, 50)
    cut = nodes_at_border(road, area)
    assert cut.all()
    kernel = lixel_kernel(road, lixels, 100.0, open_nodes=cut)
    share = expected_density(kernel, lixels.length_m)
    middle = (lixels.start_m + lixels.end_m) / 2
    inside = [0.5 + mass_to(float(min(d, 1000 - d)), 100.0, 0, GAUSSIAN_CUT) for d in middle]
    assert share == pytest.approx(np.array(inside), abs=1e-4)
    even = (kernel.T @ np.full(1000, 2.0)) / lixels.length_m / share
    assert even == pytest.approx(2.0, abs=1e-12)
    first = kernel[[0]].toarray()[0]
    assert first.sum() == pytest.approx(0.5 + 0.5 * 15 / 16 / 100, abs=1e-4)
    assert (first / share).sum() == pytest.approx(np.log(2), abs=0.01)
    further_in = integrate.quad(
        lambda y: quartic(abs(y - 40.5), 100) / (0.5 + mass_to(y, 100.0, 0, 0.0)), 0, 140.5
    )[0]
    assert further_in > 1.02
    assert (kernel[[40]].toarray()[0] / share).sum() == pytest.approx(further_in, abs=1e-3)


def test_a_kernel_thrown_back_everywhere_needs_no_correction() -> None:
    """By hand: the continuous kernel is symmetric, so even events show an even density."""
    rng = np.random.default_rng(3)
    network = random_network(rng)
    lixels = lay_lixels(network, 1.0)
    share = expected_density(lixel_kernel(network, lixels, 60.0), lixels.length_m)
    assert share == pytest.approx(1.0, abs=0.02)


def test_dead_ends_inside_the_area_are_no_cuts() -> None:
    """By hand: one road leaves the area, a stub ends in it."""
    network = make_network([[(0, 0), (100, 0)], [(100, 0), (200, 0)], [(100, 0), (100, 40)]])
    cut = nodes_at_border(network, shapely.box(-100, -100, 200, 100))
    assert network.node_xy[cut].tolist() == [[200.0, 0.0]]
