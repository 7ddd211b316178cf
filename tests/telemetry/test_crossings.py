"""Steps, crossings and reach: by hand on one road."""

from __future__ import annotations

import itertools

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest

from roadrisk.roads.lixels import lay_lixels
from roadrisk.roads.network import Network
from roadrisk.roads.placing import PieceIndex
from roadrisk.telemetry.crossings import Crossings, crossings_of
from roadrisk.telemetry.reach import reach_by_segment
from roadrisk.telemetry.steps import Steps, steps_of
from tests.roads.small import make_network

X, Y = 500_000.0, 5_000_000.0


def fixes(rows: list[tuple[str, float, float, float]]) -> gpd.GeoDataFrame:
    """(animal, day, x, y) with x, y in metres from the road's west end."""
    start = pd.Timestamp("2024-05-01 12:00", tz="UTC")
    return gpd.GeoDataFrame(
        {
            "organismID": [r[0] for r in rows],
            "time": [start + pd.Timedelta(days=r[1]) for r in rows],
        },
        geometry=gpd.points_from_xy([X + r[2] for r in rows], [Y + r[3] for r in rows]),
        crs="EPSG:32633",
    )


def overlaid(
    network: Network, rows: list[tuple[str, float, float, float]]
) -> tuple[Steps, Crossings]:
    steps = steps_of(fixes(rows), 7.0)
    lixels = lay_lixels(network, 10.0)
    return steps, crossings_of(steps, network, lixels, PieceIndex.build(network))


@pytest.fixture
def road() -> Network:
    return make_network([[(X, Y), (X + 1000, Y)]])


def test_there_and_back_is_two_crossings(road: Network) -> None:
    _, crossings = overlaid(road, [("a", 0, 100, -20), ("a", 2, 100, 20), ("a", 4, 120, -20)])
    assert crossings.table["lixel"].tolist() == [10, 11]
    assert crossings.table.geometry.x.to_list() == pytest.approx([X + 100, X + 110])


def test_a_fix_on_the_road_is_crossed_once(road: Network) -> None:
    """Sides -, on, +: one crossing; sides -, on, -: none or two, never one."""
    _, through = overlaid(road, [("a", 0, 50, -20), ("a", 1, 50, 0), ("a", 2, 50, 20)])
    _, back = overlaid(road, [("a", 0, 50, -20), ("a", 1, 50, 0), ("a", 2, 60, -20)])
    assert len(through.table) == 1
    assert len(back.table) in (0, 2)


def test_long_steps_don_t_count_but_are_counted(road: Network) -> None:
    steps, crossings = overlaid(road, [("a", 0, 50, -20), ("a", 8, 50, 20), ("a", 9, 60, -20)])
    assert steps.too_long == 1
    assert len(crossings.table) == 1


def test_no_step_from_one_animal_to_the_next(road: Network) -> None:
    steps, crossings = overlaid(road, [("a", 0, 50, -20), ("b", 1, 50, 20)])
    assert len(steps.table) == 0
    assert steps.too_long == 0
    assert len(crossings.table) == 0


def test_passing_below_a_bridge_is_no_crossing() -> None:
    network = make_network(
        [[(X, Y), (X + 500, Y)], [(X + 500, Y), (X + 600, Y)], [(X + 600, Y), (X + 1000, Y)]],
        bridge=[False, True, False], level=[0, 1, 0],
    )  # fmt: skip
    _, crossings = overlaid(network, [("a", 0, 550, -20), ("a", 1, 550, 20), ("a", 2, 430, -20)])
    assert crossings.off_ground == 1
    assert len(crossings.table) == 1


def test_animals_and_days_within_reach(road: Network) -> None:
    """By hand: a for 4 days, b for 4, d for 2; c stays 900 m away."""
    rows = [("a", 0, 100, -20), ("a", 2, 100, 20), ("a", 4, 120, -20)]
    rows += [("b", 0, 100, 90), ("b", 4, 150, 90)]
    rows += [("c", 0, 100, 900), ("c", 4, 150, 900)]
    rows += [("d", 0, 300, -30), ("d", 2, 300, 30)]
    steps, _ = overlaid(road, rows)
    got = reach_by_segment(road.segments, steps, reach_m=200.0)
    assert got["animals_in_reach"].tolist() == [3]
    assert got["animal_days_in_reach"].tolist() == pytest.approx([10.0])
    nobody, _ = overlaid(road, [("c", 0, 100, 900), ("c", 4, 150, 900)])
    assert reach_by_segment(road.segments, nobody, reach_m=200.0).to_numpy().tolist() == [[0, 0]]


def test_cutting_a_road_moves_no_crossing() -> None:
    """Property: the same crossings whether the road is drawn in one piece or in ten."""
    rng = np.random.default_rng(5)
    rows = [("a", float(i), float(x), float(y))
            for i, (x, y) in enumerate(rng.normal([500, 0], [100, 30], (300, 2)))]  # fmt: skip
    bend = [(X + 100 * i, Y + 5 * np.sin(i)) for i in range(11)]
    whole = make_network([bend])
    cut = make_network([[a, b] for a, b in itertools.pairwise(bend)])
    places = [sorted(overlaid(n, rows)[1].table.geometry.x.round(6)) for n in (whole, cut)]
    assert places[0] == places[1]
    assert len(places[0]) > 100
