"""Exact repeats and placed reports: by hand."""

from __future__ import annotations

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest

from roadrisk.roads.lixels import lay_lixels
from roadrisk.roads.placing import PieceIndex
from roadrisk.sightings.placed import PlacedSightings, place_sightings
from roadrisk.sightings.repeats import join_exact_repeats
from tests.roads.small import make_network

X, Y = 500_000.0, 5_000_000.0


def reports(rows: list[dict[str, object]]) -> gpd.GeoDataFrame:
    table = pd.DataFrame(
        [
            {
                "source_file": "s.csv", "source_row": i + 2, "occurrenceID": f"r{i}",
                "time": pd.Timestamp("2024-05-01 12:00", tz="UTC"), "recordedBy": "o",
                "vitality": "alive", "coordinateUncertaintyInMeters": 10.0, "x": 100.0, "y": 5.0,
            } | row
            for i, row in enumerate(rows)
        ]
    )  # fmt: skip
    points = gpd.points_from_xy(X + table.pop("x"), Y + table.pop("y"))
    return gpd.GeoDataFrame(table, geometry=points, crs="EPSG:32633")


def test_same_observer_day_place_and_state_is_one_report() -> None:
    late = pd.Timestamp("2024-05-01 20:00", tz="UTC")
    kept, joined = join_exact_repeats(
        reports([{}, {"time": late, "x": 100.3, "recordedBy": " O "}, {"vitality": "dead"},
                 {"recordedBy": "p"}, {"x": 140.0}, {"time": late + pd.Timedelta(days=1)}]),
        "UTC",
    )  # fmt: skip
    assert kept["repeats"].tolist() == [2, 1, 1, 1, 1]
    assert joined["record"].tolist() == ["r1"]
    assert joined["row"].tolist() == [3]
    assert "exact repeat of r0" in joined["reason"].iloc[0]


def test_days_are_local_days() -> None:
    """23:30 and 00:30 UTC are one day in New York and two in London's winter."""
    rows = [{"time": pd.Timestamp("2024-01-10 23:30", tz="UTC")},
            {"time": pd.Timestamp("2024-01-11 00:30", tz="UTC")}]  # fmt: skip
    assert len(join_exact_repeats(reports(rows), "America/New_York")[0]) == 1
    assert len(join_exact_repeats(reports(rows), "Europe/London")[0]) == 2


def placed(rows: list[dict[str, object]]) -> PlacedSightings:
    network = make_network(
        [[(X, Y), (X + 1000, Y)], [(X, Y + 100), (X + 1000, Y + 100)]], ["A", "B"]
    )
    return place_sightings(
        reports(rows), network, lay_lixels(network, 10.0), PieceIndex.build(network),
        near_m=30.0, units="metric",
    )  # fmt: skip


def test_every_placed_report_weighs_one() -> None:
    got = placed([{"coordinateUncertaintyInMeters": u} for u in (1.0, 30.0, 100.0, 400.0)])
    weights = np.bincount(got.placement.point, got.placement.weight)
    assert weights == pytest.approx(np.ones(4))
    assert (np.diff(got.table["weight_there"]) <= 1e-9).all()


def test_an_uncertain_report_between_two_roads_is_shared() -> None:
    got = placed([{"y": 50.0, "coordinateUncertaintyInMeters": 200.0}])
    assert got.table["weight_there"].iloc[0] == pytest.approx(0.5, abs=1e-6)


def test_too_far_for_its_uncertainty_is_left_out_with_its_distance() -> None:
    """300 m off with 10 m uncertainty: out; with 300 m (sd 122 m, reach 30 + 3 sd): placed."""
    far = {"y": 400.0}
    got = placed([far, far | {"coordinateUncertaintyInMeters": 300.0}])
    assert got.table["occurrenceID"].tolist() == ["r1"]
    assert got.left_out["reason"].tolist() == [
        "300 m from the nearest road: too far for its uncertainty"
    ]


def test_no_reports_at_all() -> None:
    got = placed([{}])
    network = make_network([[(X, Y), (X + 1000, Y)]])
    none = place_sightings(
        got.table.iloc[:0], network, lay_lixels(network, 10.0), PieceIndex.build(network),
        near_m=30.0, units="metric",
    )  # fmt: skip
    assert len(none.table) == 0
    assert len(none.placement.weight) == 0
