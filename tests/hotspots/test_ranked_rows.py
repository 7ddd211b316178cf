"""The ranked list's rows: by hand."""

from __future__ import annotations

import geopandas as gpd
import numpy as np
import pandas as pd
from shapely import LineString, MultiLineString

from roadrisk.hotspots.looking import HARDLY_CROSSED, NOT_WATCHED
from roadrisk.hotspots.ranked_rows import (
    UNWATCHED,
    _road_facts,
    with_metres_in_stretch,
    with_reach,
)
from roadrisk.roads.bands import partner_lixels, with_bands
from roadrisk.roads.lixels import lay_lixels
from tests.roads.small import make_network

RATE = "crossing_days_per_animal_year"


def test_windows_without_an_animal_in_reach_are_not_watched() -> None:
    """Near and crossing; near and not crossing, which is a 0; nobody near; a drawn path alone."""
    ranked = gpd.GeoDataFrame(
        {
            "crossing_days": [3.0, 0.0, 0.001, 0.4], "crossing_days_low": [2.0, 0, 0, 0],
            "crossing_days_high": [4.0, 0, 0, 1], RATE: [0.5, 0, 0, 0.1],
            f"{RATE}_low": [0.2, 0, 0, 0], f"{RATE}_high": [0.9, 0, 0, 1],
            "crossing_days_note": "18 animals resampled", "least_crossings": [1, 0, 0, 0],
            "animals": [2, 0, 0, 0], "look_at": [f"Look. {HARDLY_CROSSED}"] * 4,
        },
        geometry=[LineString([(0, 0), (100, 0)])] * 4, crs="EPSG:32633",
    )  # fmt: skip
    before = ranked.copy()
    got = with_reach(ranked, pd.Series([4, 1, 0, 0]))
    pd.testing.assert_frame_equal(pd.DataFrame(ranked), pd.DataFrame(before))
    assert got["animals_in_reach"].tolist() == [4, 1, 0, 0]
    assert got["crossing_days"].isna().tolist() == [False, False, True, False]
    for name in ("crossing_days_high", RATE, f"{RATE}_low", "least_crossings", "animals"):
        assert got[name].isna().tolist() == [False, False, True, False], name
    assert got["crossing_days_note"].tolist()[1:3] == ["18 animals resampled", UNWATCHED]
    assert got["look_at"][2] == f"Look. {NOT_WATCHED}"
    assert got["look_at"][1] == f"Look. {HARDLY_CROSSED}"


def test_how_much_of_a_window_lies_in_a_stretch() -> None:
    """Inside; 40 m in; a corner of two stretches; reached by smoothing alone; crossed; far off."""
    windows = [[(0, 0), (100, 0)], [(160, 0), (200, 0), (200, 60)], [(300, 0), (400, 0)],
               [(500, 0), (600, 0)], [(50, -50), (50, 50)], [(900, 0), (1000, 0)]]  # fmt: skip
    ranked = gpd.GeoDataFrame(
        {"rank": range(1, 7), "stretch": [1, 1, 1, 2, 0, 0], "rests_on": ""},
        geometry=[LineString(w) for w in windows], crs="EPSG:32633",
    )  # fmt: skip
    stretches = gpd.GeoDataFrame(
        {"stretch": [1, 2]},
        geometry=[MultiLineString([[(0, 0), (100, 0), (200, 0)], [(300, 0), (330, 0)]]),
                  MultiLineString([[(400, 0), (340, 0)]])], crs="EPSG:32633",
    )  # fmt: skip
    before = ranked.copy()
    got = with_metres_in_stretch(ranked, stretches)
    pd.testing.assert_frame_equal(pd.DataFrame(ranked), pd.DataFrame(before))
    assert got["metres_in_stretch"].round(6).tolist() == [100, 40, 60, 0, 0, 0]
    assert got["stretch"].tolist() == [1, 1, 2, 2, 0, 0]
    none = with_metres_in_stretch(ranked.assign(stretch=0), stretches.iloc[:0])
    assert none["metres_in_stretch"].tolist() == [0] * 6


def test_both_carriageways_are_listed() -> None:
    """Two one-way roads 15 m apart, in opposite directions: a window holds segments of both."""
    network = with_bands(make_network(
        [[(0, 0), (1000, 0)], [(1000, 15), (0, 15)]], ["Ring", "Ring"], oneway=[1, 1],
        owner=["State", ""], aadt=[9000.0, 11000.0], aadt_year=[2020.0, 2023.0],
        speed_limit_kmh=[80.0, np.nan],
    ))  # fmt: skip
    lixels = lay_lixels(network, 10.0)
    partner = partner_lixels(network, lixels)
    leading = int(np.flatnonzero(network.segments["band_of"].to_numpy() == "")[0])
    first = int(np.flatnonzero(lixels.segment == leading)[40])
    facts = _road_facts(network.segments, lixels, partner, first, first + 10)
    assert sorted(str(facts["segment_ids"]).split()) == sorted(network.segments["segment_id"])
    assert str(facts["segment_ids"]).split()[0] == network.segments["segment_id"][leading]
    assert (facts["owner"], facts["speed_limit_kmh"]) == ("State", 80.0)
    assert (facts["aadt"], facts["aadt_year"]) == (11000.0, 2023.0)
