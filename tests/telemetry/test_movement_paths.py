"""Crossings of drawn paths: on networks, at bridges, with precision, whatever the threads."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats

from roadrisk.base.seeds import generator
from roadrisk.roads.grid import PieceIndex
from roadrisk.roads.network import Network
from roadrisk.telemetry import movement_draws
from roadrisk.telemetry.movement_draws import Drawn, draw_crossings
from roadrisk.telemetry.movement_fit import WIDTH, TrackFit
from roadrisk.telemetry.movement_paths import walk
from roadrisk.telemetry.movement_process import transition
from roadrisk.telemetry.movement_random import normal, seeded
from roadrisk.telemetry.movement_roads import (
    MANY,
    carriageway_widths,
    on_road,
    road_field,
    with_raster,
)
from roadrisk.telemetry.movement_tracks import (
    ActiveClock,
    MovementTrack,
    isotropic_error,
    nodes_of,
)
from roadrisk.telemetry.movement_visits import new_visit, visit_room
from tests.roads.small import make_network

CLOCK = ActiveClock(((8.0, 18.0),))
TAU, TAU_V, SIGMA = 9.0, 0.4, 28.0


def _fit(track: MovementTrack, centre: tuple[float, float] = (0.0, 0.0)) -> TrackFit:
    """All candidates alike: a known process with a known centre."""
    par = np.zeros((1, WIDTH))
    par[0, :5] = np.log(TAU), np.log(TAU_V), np.log(SIGMA), 0.0, 0.0
    return TrackFit(
        par, np.ones(1, np.int64), np.ones(1), np.array(centre), 1e-3, np.array([1.0, 0, 0]), 1.0
    )


def _draw(network: Network, width: float, days: int, draws: int, **more: float) -> Drawn:
    """Paths of an animal whose home's middle is (0, 0), with two vague fixes."""
    index = PieceIndex.build(network)
    field = road_field(network, index, np.full(len(network.segments), width))
    track = MovementTrack(
        "a", np.array([8.0, 24.0 * days + 8]), np.zeros((2, 2)), isotropic_error(np.full(2, 1e5))
    )
    nodes = nodes_of(track, CLOCK, 1000.0)
    chosen = np.zeros(draws, np.int64)
    return draw_crossings(track, nodes, _fit(track), chosen, field, index.origin, 5, **more)


def _simulated(distance: float, width: float, days: int, draws: int) -> np.ndarray:
    """Count crossings of y = -distance on a fine walk of the same process, (draws, days)."""
    rng = generator(9, f"fine {distance} {width}")
    step = 0.004
    f11, f12, f21, f22, q11, q12, q22 = transition(step, 1 / TAU, 1 / TAU_V)
    root = np.linalg.cholesky(np.array([[q11, q12], [q12, q22]]))
    x = rng.standard_normal(draws) * SIGMA
    v = rng.standard_normal(draws) * SIGMA / np.sqrt(TAU * TAU_V)
    out, side = np.zeros((draws, days)), np.zeros(draws)
    for k in range(round(days * 10 / step)):
        noise = root @ rng.standard_normal((2, draws)) * SIGMA
        x, v = f11 * x + f12 * v + noise[0], f21 * x + f22 * v + noise[1]
        away = x + distance
        now = np.where(away > width / 2, 1, np.where(away < -width / 2, -1, side))
        out[:, int(k * step // 10)] += (now * side) < 0
        side = now
    return out


@pytest.mark.parametrize(("distance", "width"), [(10.0, 6.0), (45.0, 8.0)])
def test_free_paths_cross_as_a_fine_simulation_does(distance: float, width: float) -> None:
    """Two ways: refined halving and a simulation at steps of 15 seconds, 10 days, 800 paths."""
    days, draws = 10, 800
    network = make_network([[(-4000.0, -distance), (4000.0, -distance)]])
    drawn = _draw(network, width, days, draws, precision_m=0.3)
    fine = _simulated(distance, width, days, draws)
    total = np.bincount(drawn.draw, minlength=draws)
    error = np.hypot(total.std(), fine.sum(axis=1).std()) / np.sqrt(draws)
    assert total.mean() == pytest.approx(fine.sum(axis=1).mean(), abs=4 * error)
    crossed = np.unique(np.column_stack([drawn.draw, drawn.day]), axis=0)
    on_days = np.bincount(crossed[:, 0], minlength=draws)
    fine_days = (fine > 0).sum(axis=1)
    error = np.hypot(on_days.std(), fine_days.std()) / np.sqrt(draws)
    assert on_days.mean() == pytest.approx(fine_days.mean(), abs=4 * error)


def test_coarser_windings_hardly_matter() -> None:
    """Convergence: half a metre (the default) against a decimetre; 400 paths, error about 2 %."""
    network = make_network([[(-4000.0, -10.0), (4000.0, -10.0)]])
    coarse, fine = (len(_draw(network, 6.0, 40, 400, precision_m=p).draw) for p in (0.5, 0.1))
    assert coarse == pytest.approx(fine, rel=0.06)
    assert coarse > 1000


def test_how_a_road_is_drawn_changes_nothing() -> None:
    """Invariance: one piece or many, either way round, in two edges that meet at a side road."""
    rows = [
        [[(-400.0, -10.0), (400.0, -10.0)]],
        [[(float(x), -10.0) for x in range(400, -401, -7)] + [(-400.0, -10.0)]],
        [
            [(-400.0, -10.0), (300.0, -10.0)],
            [(300.0, -10.0), (400.0, -10.0)],
            [(300.0, -10.0), (300.0, -300.0)],
        ],
    ]
    drawn = [_draw(make_network(lines), 6.0, 30, 300).draw for lines in rows]
    counts = np.array([np.bincount(d, minlength=300) for d in drawn])
    # Which pieces of path are halved depends on the grid, so the random numbers differ.
    error = np.sqrt(2 * counts.var(axis=1).mean() / 300)
    assert counts.mean() > 10
    np.testing.assert_allclose(counts.mean(axis=1), counts[0].mean(), atol=4 * error)


def test_no_crossing_at_a_bridge() -> None:
    """By hand: the same road, its middle part a bridge; nothing but the ends counts."""
    lines = [
        [(-400.0, -10.0), (0.0, -10.0)],
        [(0.0, -10.0), (500.0, -10.0)],
    ]
    network = make_network(lines, ["A", "A"], bridge=[False, True], level=[0, 1])
    drawn = _draw(network, 6.0, 30, 100)
    bridge = network.segments["bridge"].to_numpy()
    assert len(drawn.draw) > 100
    assert not bridge[drawn.segment].any()
    whole = len(_draw(make_network([[(-400.0, -10.0), (500.0, -10.0)]]), 6.0, 30, 100).draw)
    assert len(drawn.draw) == pytest.approx(whole / 2, rel=0.1)


def test_a_closed_road_keeps_the_count_even() -> None:
    """Topology: from inside a ring of road to outside takes an odd number of crossings."""
    angle = np.linspace(0, 2 * np.pi, 25)
    ring = [(float(60 * np.cos(a)), float(60 * np.sin(a))) for a in angle[:-1]]
    network = make_network([[*ring, ring[0]]])
    index = PieceIndex.build(network)
    field = road_field(network, index, np.array([5.0]))
    hours = np.array([8.0, 24 * 3 + 12.0, 24 * 8 + 10.0])
    for place, odd in (((0.0, 0.0), 0), ((120.0, 0.0), 1)):
        track = MovementTrack(
            "a", hours, np.array([[0.0, 0.0], [20.0, 0.0], place]), isotropic_error(np.ones(3))
        )
        nodes = nodes_of(track, CLOCK, 1000.0)
        drawn = draw_crossings(
            track, nodes, _fit(track), np.zeros(200, np.int64), field, index.origin, 6
        )
        assert np.all(np.bincount(drawn.draw, minlength=200) % 2 == odd)


def test_width_makes_crossings_rarer_and_lies_on_the_carriageway() -> None:
    network = make_network([[(-4000.0, -10.0), (4000.0, -10.0)]])
    narrow, wide = (len(_draw(network, w, 30, 100).draw) for w in (3.0, 24.0))
    assert wide < 0.8 * narrow
    index = PieceIndex.build(network)
    field = with_raster(
        road_field(network, index, np.array([6.0])),
        np.array([3900.0, -100.0]), np.array([4100.0, 100.0]),
    )  # fmt: skip
    places = [on_road(field, 4000.0, y) for y in (-3.01, -2.99, 0.0, 2.99, 3.01, 90.0)]
    assert places == [False, True, True, True, False, False]


def test_streams_do_not_depend_on_each_other() -> None:
    """Seeds: draw 7 is the same whether 8 or 80 are drawn; another key gives another path."""
    network = make_network([[(-4000.0, -10.0), (4000.0, -10.0)]])
    few, many = (_draw(network, 6.0, 20, n) for n in (8, 80))
    np.testing.assert_array_equal(few.at_h[few.draw == 7], many.at_h[many.draw == 7])
    words = np.empty(4, np.uint64)
    seeded(1, 2, words)
    numbers = np.array([normal(words) for _ in range(200_000)])
    # The whole shape, by scipy's normal distribution, and both tails beyond the last strip
    # (chance 2.6e-4: 51.6 expected, deviation 7.2).
    assert stats.kstest(numbers, "norm").pvalue > 1e-3
    assert abs((np.abs(numbers) > 3.6541528853610088).sum() - 51.6) < 4 * 7.2
    seeded(2, 2, words)
    assert normal(words) != numbers[0]


def test_pieces_told_by_the_raster_change_nothing(monkeypatch: pytest.MonkeyPatch) -> None:
    """By hand: to the last digit what looking into the grid gives, at bends, junctions, bridges."""
    network = make_network(
        [
            [(-300, 4), (-20, -3), (10, 6), (300, 0)],
            [(10, 6), (14, 200)],
            [(10, 6), (-9, -200)],
            [(-60, -80), (80, 90)],
            [(-300, 31), (300, 29)],
        ],
        level=[0, 0, 0, 1, 0],
        bridge=[False, False, False, True, False],
    )
    told = _draw(network, 6.0, 12, 40)
    assert len(told.draw) > 400

    def untold(*given: object) -> object:
        field = with_raster(*given)  # type: ignore[arg-type]
        assert (field.near[..., 0] >= 0).any()
        assert (field.near == MANY).any()
        return field._replace(near=np.full_like(field.near, MANY))

    monkeypatch.setattr(movement_draws, "with_raster", untold)
    for a, b in zip(told, _draw(network, 6.0, 12, 40), strict=True):
        np.testing.assert_array_equal(a, b)


def test_a_stay_that_begins_on_the_road_is_no_crossing() -> None:
    """By hand: from the middle of the carriageway to clear ground; then across and back."""
    network = make_network([[(-400.0, 0.0), (400.0, 0.0)]])
    index = PieceIndex.build(network)
    field = road_field(network, index, np.array([6.0]))
    visit, visit_at = visit_room()
    events, at = np.empty((8, 4), np.int64), np.empty((8, 2))
    words = np.empty(4, np.uint64)
    seeded(1, 1, words)
    used, here = 0, np.array([390.0, -1.0, 0.0, 0.0])
    new_visit(visit, visit_at, False)
    # Almost no noise: straight from place to place.
    for y in (9.0, -1.0, 2.0, -9.0, 9.0, 1.0, 9.0):
        there = np.array([390.0, y, 0.0, 0.0])
        used = walk(
            here, there, 1.0, 0.0, 0, 0.0, np.inf, np.zeros(2), 1e-4, 0.0, 1e-4, 0.5, field,
            np.full((24, 12), -1.0), np.empty((24, 5)), np.empty(24, np.int64), words, visit,
            visit_at, 0, events, at, used,
        )  # fmt: skip
        here = there
    assert used == 2


def test_widths_from_lanes_class_or_data() -> None:
    network = make_network(
        [[(0.0, float(y)), (50.0, float(y))] for y in range(4)],
        ["a", "b", "c", "d"], lanes=[2.0, np.nan, np.nan, 4.0],
        road_class=["primary", "primary_link", "", "primary"],
    )  # fmt: skip
    table = network.segments.sort_values("name").assign(width_m=[np.nan, np.nan, np.nan, 9.0])
    np.testing.assert_allclose(carriageway_widths(table), [6.5, 7.5, 6.0, 9.0])


def test_more_crossings_than_there_is_room_for() -> None:
    """By hand: many crossings a draw take more room, and change no draw before or after."""
    network = make_network([[(-300.0, y), (300.0, y)] for y in np.arange(-60.0, 61.0, 6.0)])
    many = _draw(network, 1.0, 20, 30)
    assert len(many.draw) > 64 * 30 + 1024
    few = _draw(network, 1.0, 20, 1)
    first = many.draw == 0
    assert first.sum() == len(few.draw)
    for whole, part in zip(many, few, strict=True):
        np.testing.assert_array_equal(whole[first], part)
    assert (np.diff(many.draw) >= 0).all()
    assert np.bincount(many.draw, minlength=30).min() > 0
