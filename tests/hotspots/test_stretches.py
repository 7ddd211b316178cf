"""Stretches that stand out: by hand."""

from __future__ import annotations

from dataclasses import replace

import geopandas as gpd
import numpy as np
import pytest

from roadrisk.hotspots.chance import Chance
from roadrisk.hotspots.events import ALIVE, DEAD, Events
from roadrisk.hotspots.scan import Run
from roadrisk.hotspots.stretches import describe_stretches, join_stretches
from roadrisk.hotspots.window_chance import WindowChance
from roadrisk.roads.lixels import lixel_geometry
from roadrisk.roads.places import Places
from tests.roads.small import make_network
from tests.truth.worlds import Ground, events_of, ground


def described(on: Ground, number: np.ndarray, p: np.ndarray, events: Events,
              runs: list[Run | None]) -> gpd.GeoDataFrame:  # fmt: skip
    window = WindowChance(np.zeros(len(p), np.int64), np.ones(1), np.zeros(1, bool), np.ones(1))
    chance = Chance(-p, p, np.zeros(1), window)
    return describe_stretches(
        on.network, on.lixels, lixel_geometry(on.network, on.lixels), number, chance, events, runs,
        Places(on.network, None, "metric"),
    )  # fmt: skip


def test_joined_through_a_junction_and_numbered_by_length() -> None:
    on = ground(make_network(
        [[(0, 0), (1000, 0)], [(1000, 0), (2000, 0)], [(1000, 0), (1000, 1000)]],
        ["West", "East", "North"],
    ))  # fmt: skip
    lixels = on.lixels
    p = np.ones(len(lixels))
    middle = (lixels.start_m + lixels.end_m) / 2
    roads = on.network.segments["road"].to_numpy()[lixels.segment]
    at_node = np.argmin(np.hypot(*(on.network.node_xy - [1000, 0]).T))
    from_node = np.where(on.network.edge_u[lixels.edge] == at_node, middle,
                         on.network.edge_length_m[lixels.edge] - middle)  # fmt: skip
    p[from_node < 50] = 0.01  # three arms of 50 m that meet
    p[(roads == "North") & (from_node > 800) & (from_node < 900)] = 0.03
    number = join_stretches(on.network, lixels, p, 0.05)
    assert number.max() == 2
    assert (number[from_node < 50] == 1).all()
    rng = np.random.default_rng(1)
    where = np.flatnonzero(number == 1)[[0, 4, 8]]
    events = events_of(on, where, [(True, "o"), (True, "o"), (False, "a")], rng)
    table = described(on, number, p, events, [None, None])
    assert table["length_m"].round(6).tolist() == [150.0, 100.0]
    assert table["animals"].tolist() == [1, 0]
    assert table["observers"].tolist() == [1, 0]
    assert table["reports"].tolist() == [2.0, 0.0]
    assert table["p_value"].tolist() == [0.01, 0.03]
    assert (table.geometry.geom_type == "MultiLineString").all()
    assert np.allclose(table.length, table["length_m"])
    assert table["ends_note"].str.startswith("no ends found").all()
    assert np.isnan(table["ends_p_value"]).all()


def test_none_gives_an_empty_table_with_its_columns() -> None:
    on = ground(make_network([[(0, 0), (1000, 0)]]))
    none = join_stretches(on.network, on.lixels, np.ones(len(on.lixels)), 0.05)
    events = events_of(on, np.zeros(0, int), [], np.random.default_rng(1))
    table = described(on, none, np.ones(100), events, [])
    assert len(table) == 0
    assert {"stretch", "road", "length_m", "p_value", "animals"} <= set(table.columns)
    assert table.crs == on.network.crs


def test_what_a_stretch_holds_beside_its_chance() -> None:
    """By hand: three of four events on 100 of 1,000 m, one of them dead; the fourth on the
    other 900 m, so it has 27 times as many a metre."""
    on = ground(make_network([[(0, 0), (1000, 0)]], ["Main"]))
    who = [(True, f"o{i}") for i in range(4)]
    events = events_of(on, np.array([40, 45, 49, 90]), who, np.random.default_rng(1))
    events = replace(events, kind=np.array([ALIVE, DEAD, ALIVE, ALIVE]))
    number = np.zeros(len(on.lixels), np.int64)
    number[40:50] = 1
    run = Run(np.arange(40, 50), 100.0, 3.0, 0.4, 5.0, 0.01)
    row = described(on, number, np.where(number > 0, 0.01, 1.0), events, [run]).iloc[0]
    assert row["times_around"] == pytest.approx(27.0)
    assert (row["reports_alive"], row["reports_dead"], row["reports_other"]) == (2.0, 1.0, 0.0)
    assert np.isnan(row["crossing_days"])
    assert (row["owner"], row["aadt"], row["speed_limit_kmh"]) == ("", "", "")
