"""Animals caught at roads: told apart and weighted, by hand and in a simulated study."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pyproj
import pytest

from roadrisk.base.seeds import generator
from roadrisk.roads.grid import PieceIndex
from roadrisk.telemetry.capture import (
    capture_known,
    capture_weights,
    caught_at_road,
    time_near_roads,
)
from roadrisk.telemetry.movement_tracks import MovementTrack, isotropic_error
from tests.roads.small import make_network

CRS = "EPSG:32633"
EAST, NORTH = 500_000.0, 5_000_000.0


@pytest.fixture(scope="module")
def index() -> PieceIndex:
    """A road of 2 km from west to east."""
    return PieceIndex.build(make_network([[(EAST - 1000, NORTH), (EAST + 1000, NORTH)]]))


def places(away_m: list[float]) -> pd.DataFrame:
    back = pyproj.Transformer.from_crs(CRS, "EPSG:4326", always_xy=True)
    lon, lat = back.transform(np.full(len(away_m), EAST), NORTH + np.array(away_m))
    return pd.DataFrame({"capture_longitude": lon, "capture_latitude": lat})


def track(away_m: list[float], hours: list[float]) -> MovementTrack:
    xy = np.column_stack([np.full(len(away_m), EAST), NORTH + np.array(away_m)])
    return MovementTrack("a", np.array(hours), xy, isotropic_error(np.full(len(away_m), 5.0)))


def test_caught_within_the_distance_of_a_road(index: PieceIndex) -> None:
    animals = places([0.0, 99.0, -99.0, 101.0, 5000.0])
    assert list(caught_at_road(animals, index, CRS, 100.0)) == [True, True, True, False, False]


def test_unknown_place_of_capture_is_no_road(index: PieceIndex) -> None:
    animals = places([0.0, np.nan, 10.0])
    animals.loc[2, "capture_latitude"] = np.nan
    assert list(caught_at_road(animals, index, CRS, 100.0)) == [True, False, False]
    assert list(capture_known(animals)) == [True, False, False]
    nowhere = animals.assign(capture_longitude=np.nan)
    assert not caught_at_road(nowhere, index, CRS, 100.0).any()


def test_time_near_roads_counts_days_alike(index: PieceIndex) -> None:
    """Day 1: all four near; day 2: one of two; day 3: away. (1 + 1/2 + 0) / 3."""
    one = track([10, 20, 30, 40, 10, 300, 300], [1, 2, 3, 4, 30, 31, 60])
    assert time_near_roads([one, track([], [])], index, 100.0) == pytest.approx(
        [0.5, np.nan], nan_ok=True
    )


def test_keep_and_leave_out() -> None:
    caught = np.array([True, False, True])
    kept, left = capture_weights(caught, "keep"), capture_weights(caught, "leave out")
    assert list(kept.weight) == [1, 1, 1]
    assert "2 animals of 3 were caught at a road and kept" in kept.words[0]
    assert "too high" in kept.words[0]
    assert list(left.weight) == list(kept.left_out) == [0, 1, 0]
    assert "too low" in left.words[0]


def test_weights_by_hand() -> None:
    """u_r = 0.6 and u_o = 0.1: p = 0.1 / (1 - 0.6 + 0.1) = 0.2 of all weight for two of six."""
    caught = np.array([True, True, False, False, False, False])
    near = np.array([0.5, 0.7, 0.1, 0.2, 0.0, 0.1])
    found = capture_weights(caught, "weight", time_near=near)
    assert found.identified
    assert found.time_near == pytest.approx(0.2)
    assert found.weight == pytest.approx([0.6, 0.6, 1.2, 1.2, 1.2, 1.2])
    # What the weights are made to do: 20 % caught near roads, 20 % of the time there.
    assert np.average(near, weights=found.weight) == pytest.approx(0.2)
    assert "count 0.6 each, the others 1.2" in found.words[0]
    assert "too narrow" in found.words[0]


def test_none_caught_at_a_road_are_all_alike() -> None:
    found = capture_weights(np.zeros(3, bool), "weight", known=np.array([True, False, False]))
    assert list(found.weight) == [1, 1, 1]
    assert found.words[-1] == "Where 2 animals were caught is not known."


@pytest.mark.parametrize(("caught", "near"), [
    ([True, False], None), ([True, True], [0.5, 0.5]), ([True, False], [0.5, np.nan]),
    ([True, False], [1.0, 0.0]),
])  # fmt: skip
def test_weights_that_can_t_be_had(caught: list[bool], near: list[float] | None) -> None:
    """All count alike, and it is said."""
    given = None if near is None else np.array(near)
    found = capture_weights(np.array(caught), "weight", time_near=given)
    assert not found.identified
    assert (found.weight == 1).all()
    assert "not identified" in found.words[0]
    assert "belongs beside" in found.words[0]


def test_search_along_roads_in_a_simulated_study() -> None:
    """Ten times the search near roads: kept is too high, left out too low, weighted right.

    Each animal spends its own share of its time near roads and crosses in proportion to the
    square of it. Means over 300 studies of 40 animals were 2.04, 0.59 and 0.98 of the truth,
    standard errors 0.02.
    """
    rng = generator(2, "tests.capture")
    near = rng.beta(0.6, 2.4, 4000)
    rate = 30 * near**2
    chance_road, chance_else = 10 * near, 1 - near
    chance = chance_road + chance_else
    ratios = []
    for _ in range(300):
        who = rng.choice(4000, 40, p=chance / chance.sum())
        caught = rng.random(40) < chance_road[who] / chance[who]
        seen = rng.binomial(60, near[who]) / 60
        weights = [
            capture_weights(caught, how, time_near=seen).weight
            for how in ("keep", "leave out", "weight")
        ]
        ratios.append([np.average(rate[who], weights=w) / rate.mean() for w in weights])
    kept, left_out, weighted = np.mean(ratios, axis=0)
    assert kept > 1.8
    assert left_out < 0.8
    assert weighted == pytest.approx(1.0, abs=0.08)
