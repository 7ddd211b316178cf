"""Steps, crossings and rates: by hand on one road."""

from __future__ import annotations

import itertools

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest

from roadrisk.base.seeds import generator
from roadrisk.roads.lixels import lay_lixels
from roadrisk.roads.network import Network
from roadrisk.roads.placing import PieceIndex
from roadrisk.telemetry.crossings import Crossings, crossings_of
from roadrisk.telemetry.rates import rates_by_segment
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


def test_rates(road: Network) -> None:
    """By hand: a crosses twice in 4 days, b never in 4 days, c is out of reach, d once in 2."""
    rows = [("a", 0, 100, -20), ("a", 2, 100, 20), ("a", 4, 120, -20)]
    rows += [("b", 0, 100, 90), ("b", 4, 150, 90)]
    rows += [("c", 0, 100, 900), ("c", 4, 150, 900)]
    rows += [("d", 0, 300, -30), ("d", 2, 300, 30)]
    steps, crossings = overlaid(road, rows)
    got = rates_by_segment(
        road.segments, steps, crossings, reach_m=200.0, rng=generator(1, "r")
    ).iloc[0]
    assert (got["crossings"], got["animals_crossing"], got["animals_in_reach"]) == (3, 2, 3)
    assert got["animal_days_in_reach"] == pytest.approx(10.0)
    assert got["crossings_per_100_animal_days"] == pytest.approx(30.0)
    assert (
        got["crossings_per_100_animal_days_low"] <= 30 <= got["crossings_per_100_animal_days_high"]
    )
    # Garwood 90 % for 3: 0.8177 to 7.7537 (chi-square quantiles, from scipy).
    assert got["crossings_per_100_animal_days_poisson_low"] == pytest.approx(8.177, abs=0.01)
    assert got["crossings_per_100_animal_days_poisson_high"] == pytest.approx(77.537, abs=0.01)


def test_no_crossing_gives_an_upper_limit_and_two_animals_no_interval(road: Network) -> None:
    quiet = [("b", 0, 100, 90), ("b", 4, 150, 90), ("e", 0, 100, 80), ("e", 4, 150, 80)]
    steps, crossings = overlaid(road, quiet)
    none = rates_by_segment(
        road.segments, steps, crossings, reach_m=200.0, rng=generator(1, "r")
    ).iloc[0]
    assert none["crossings_per_100_animal_days_low"] == 0
    # Exact 90 % two-sided upper limit of a count of 0 is -ln 0.05 = 2.9957 in 8 animal-days.
    assert none["crossings_per_100_animal_days_high"] == pytest.approx(-100 * np.log(0.05) / 8)
    steps, crossings = overlaid(road, [*quiet, ("e", 5, 150, -80)])
    two = rates_by_segment(
        road.segments, steps, crossings, reach_m=200.0, rng=generator(1, "r")
    ).iloc[0]
    assert np.isnan(two["crossings_per_100_animal_days_low"])
    assert "fewer than 3 animals" in two["interval_note"]


def test_nobody_near_is_said(road: Network) -> None:
    steps, crossings = overlaid(road, [("c", 0, 100, 900), ("c", 4, 150, 900)])
    got = rates_by_segment(
        road.segments, steps, crossings, reach_m=200.0, rng=generator(1, "r")
    ).iloc[0]
    assert np.isnan(got["crossings_per_100_animal_days"])
    assert got["interval_note"] == "no tagged animal within reach"


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
