"""The simulated animals do what their description says, and their crossings are counted right."""

from __future__ import annotations

import hashlib

import numpy as np
import pytest

from roadrisk.base.seeds import generator
from tests.truth import walk_tracks, walkers
from tests.truth.walk_paths import crossings_along
from tests.truth.walk_scoring import Road, Truth
from tests.truth.walkers import CLOCK, DAYS, HABITS, PLACES, World

ANIMALS = 30
FROZEN = "81941905f0364695"


@pytest.fixture(scope="module")
def worlds() -> dict[tuple[str, str], World]:
    return {
        (kind, version): walkers.world(
            kind, version, "one road", ANIMALS, generator(5, f"walkers {kind} {version}")
        )
        for kind in walkers.KINDS
        for version in walkers.VERSIONS
    }


def _truth(of: World) -> Truth:
    return walk_tracks.truth_of(of, walk_tracks.tracks(of, 1, generator(5, "fixes"), bursts=False))


def _area_95_ha(path: np.ndarray) -> float:
    """Area of the circle about the mean place that holds 95 % of the time."""
    away = np.hypot(*(path - path.mean(axis=0)).T)
    return float(np.pi * np.quantile(away, 0.95) ** 2 / 1e4)


def test_habits_and_places_are_frozen() -> None:
    """Changed habits would make tables from different days incomparable."""
    held = repr((HABITS, PLACES, CLOCK, DAYS, walkers.ROAD_WIDTH_M))
    assert hashlib.blake2s(held.encode(), digest_size=8).hexdigest() == FROZEN


def test_walker_keeps_to_about_1_2_ha(worlds: dict[tuple[str, str], World]) -> None:
    """Known truth: the home range that the module promises; 60 animals, spread about 0.3 ha."""
    paths = [p for v in walkers.VERSIONS for p in worlds["walker", v].path[:, ::10].astype(float)]
    assert np.median([_area_95_ha(path) for path in paths]) == pytest.approx(1.2, abs=0.15)


def test_walker_winds_and_rests(worlds: dict[tuple[str, str], World]) -> None:
    of = worlds["walker", "rare"]
    moved = np.linalg.norm(np.diff(of.path.astype(float), axis=1), axis=2)
    assert 0.15 < (moved > 0).mean() < 0.40
    assert moved[moved > 0].mean() == pytest.approx(1.2, abs=0.1)
    a_day = np.linalg.norm(np.diff(of.path[:, ::600].astype(float), axis=1), axis=2)
    assert 20 < np.median(a_day) < 50


def test_commuter_lives_in_two_patches(worlds: dict[tuple[str, str], World]) -> None:
    """Time in two places: the two halves of its path lie 100 to 200 m apart (pull shifts a bit)."""
    apart = []
    for path in worlds["commuter", "rare"].path[:, ::60].astype(float):
        centred = path - path.mean(axis=0)
        side = centred @ np.linalg.svd(centred, full_matrices=False)[2][0] > 0
        gap = np.linalg.norm(path[side].mean(axis=0) - path[~side].mean(axis=0))
        days_in_patch = np.diff(np.flatnonzero(np.diff(side))) / 10
        apart.append((gap, np.sum(days_in_patch > 2)))
    gaps, stays = np.array(apart).T
    assert np.all((gaps > 80) & (gaps < 210))
    assert np.median(stays) >= 4


def test_frequent_cross_more_often_than_rare(worlds: dict[tuple[str, str], World]) -> None:
    for kind in walkers.KINDS:
        rare, frequent = (_truth(worlds[kind, v]).crossing_days.mean() for v in walkers.VERSIONS)
        assert 1 < rare < 0.5 * frequent


def test_avoider_crosses_less_but_does_cross(worlds: dict[tuple[str, str], World]) -> None:
    """Turning back three times in four leaves about a quarter of the crossings."""
    walker = _truth(worlds["walker", "frequent"]).total_crossings.mean()
    avoider = _truth(worlds["avoider", "frequent"]).total_crossings.mean()
    assert 0.15 < avoider / walker < 0.4


def test_avoider_never_shuns_clear_ground(worlds: dict[tuple[str, str], World]) -> None:
    """Home ranges on clear ground are the walker's: only the road is shunned."""
    areas = [
        np.median([_area_95_ha(p) for p in worlds[kind, "rare"].path[:, ::10].astype(float)])
        for kind in ("walker", "avoider")
    ]
    assert areas[1] == pytest.approx(areas[0], rel=0.25)


def test_crossings_of_a_hand_drawn_path() -> None:
    """By hand: carriageway from y = -3 to 3; touching, turning on it and resting don't count."""
    xy = np.array([
        [0, 10], [0, 1], [4, 5],          # onto the road and back: none
        [8, -2.9], [8, 2], [12, -2],      # to and fro on the road
        [20, -6],                         # clear of the far edge: one, last met the line at x=10
        [30, 6],                          # over in one step: one, at x=25
    ], dtype=float)  # fmt: skip
    frames = np.array([[-100.0, 0.0, 1.0, 0.0]])
    step, road, along = crossings_along(xy, frames, 3.0)
    assert step.tolist() == [6, 7]
    assert road.tolist() == [0, 0]
    assert along.tolist() == pytest.approx([110.0, 125.0])


def test_crossings_do_not_depend_on_the_road_frame() -> None:
    """Turning path and road together changes nothing; the other direction mirrors `along`."""
    rng = generator(1, "turned")
    xy = np.cumsum(rng.standard_normal((3000, 2)), axis=0)
    angle = 0.7
    turn = np.array([[np.cos(angle), np.sin(angle)], [-np.sin(angle), np.cos(angle)]])
    straight = crossings_along(xy, np.array([[0.0, 0.0, 1.0, 0.0]]), 1.0)
    turned = crossings_along(xy @ turn, np.array([[0.0, 0.0, np.cos(angle), np.sin(angle)]]), 1.0)
    back = crossings_along(xy, np.array([[0.0, 0.0, -1.0, 0.0]]), 1.0)
    assert len(straight[0]) > 5
    for other, sign in ((turned, 1), (back, -1)):
        assert other[0].tolist() == straight[0].tolist()
        np.testing.assert_allclose(other[2] * sign, straight[2], atol=1e-9)


def test_truth_counts_days_segments_and_span() -> None:
    """By hand: crossings before the first fix and after the last are outside; days are distinct."""
    road = Road(
        np.array([[0.0, 0, 100, 0]]), 6.0, np.array([0, 0]), np.array([0.0, 50]),
        np.array([50.0, 100]), np.array([True, True]),
    )  # fmt: skip
    still = np.zeros((1, DAYS * 600 + 1, 2), dtype=np.float32)
    time = np.array([1.0, 24 + 9, 24 + 10, 24 * 5 + 9, 24 * 119 + 23])
    along = np.array([10.0, 10, 60, 60, 60])
    of = World(road, still, np.zeros(1), np.zeros(5, int), np.zeros(5, int), time, along)
    truth = _truth(of)
    assert truth.crossing_days.tolist() == [2]
    assert truth.total_crossings.tolist() == [3]
    assert truth.segment_days.tolist() == [[1, 2]]


def test_animals_stand_still_outside_the_clock(worlds: dict[tuple[str, str], World]) -> None:
    of = worlds["walker", "rare"]
    night = walk_tracks.position(of, 0, np.array([18.0, 21.0, 24.0, 31.9, 32.0]))
    assert np.ptp(night, axis=0).tolist() == [0, 0]
    assert np.all((of.time_hours % 24 > 8) & (of.time_hours % 24 <= 18))


@pytest.mark.parametrize("bursts", [False, True])
@pytest.mark.parametrize("spacing", walkers.SPACINGS_DAYS)
def test_fixes_carry_the_stated_error(
    worlds: dict[tuple[str, str], World], spacing: int, bursts: bool
) -> None:
    """Known truth: standardised errors have variance 1 (about 1,000 values or more: +-0.2)."""
    of = worlds["commuter", "frequent"]
    seen = walk_tracks.tracks(of, spacing, generator(2, "fixes"), bursts=bursts)
    real = np.concatenate(
        [walk_tracks.position(of, a, seen.time_hours[seen.animal == a]) for a in range(ANIMALS)]
    )
    z = (np.column_stack([seen.x, seen.y]) - real) / seen.sd_m[:, None]
    assert z.var() == pytest.approx(1, abs=0.2)
    assert np.all(np.diff(seen.time_hours)[np.diff(seen.animal) == 0] > 0)
    per_animal = len(seen.x) / ANIMALS
    assert per_animal == {1: 120, 3: 41, 7: 18}[spacing] + 88 * bursts


@pytest.mark.parametrize("layout", walkers.LAYOUTS)
def test_roads_have_ten_ranked_segments(layout: str) -> None:
    road = walkers.road_of(layout, generator(3, layout))
    length = (road.segment_to_m - road.segment_from_m)[road.ranked]
    assert len(length) == 10
    assert np.all((length >= 20) & (length <= 50))
    lines = road.segment_lines()
    np.testing.assert_allclose(
        np.linalg.norm(lines[:, 1] - lines[:, 0], axis=1), road.segment_to_m - road.segment_from_m
    )
    middle = (road.segment_from_m + road.segment_to_m) / 2
    assert road.segment_at(road.segment_road, middle).tolist() == list(range(road.segments))


def test_same_seed_same_world() -> None:
    first, second = (
        walkers.world("avoider", "frequent", "two roads", 3, generator(9, "again"))
        for _ in range(2)
    )
    np.testing.assert_array_equal(first.path, second.path)
    np.testing.assert_array_equal(first.time_hours, second.time_hours)
    assert set(first.crossed_road) <= {0, 1}
