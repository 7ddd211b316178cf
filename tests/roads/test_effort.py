"""Survey effort on lixels: by hand, on roads 10 m a lixel."""

from __future__ import annotations

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
from shapely import LineString

from roadrisk.errors import InputError
from roadrisk.roads.effort import RoadEffort, effort_on_roads
from roadrisk.roads.lixels import lay_lixels, places_xy
from roadrisk.roads.placing import PieceIndex
from tests.roads.small import make_network

# A square with a tail: A (0, 0), B (1000, 0), C (1000, 1000), D (0, 1000), tail B to (2000, 0).
SQUARE = make_network(
    [[(0, 0), (1000, 0)], [(1000, 0), (1000, 1000)], [(1000, 1000), (0, 1000)],
     [(0, 1000), (0, 0)], [(1000, 0), (2000, 0)]]
)  # fmt: skip
LIXELS = lay_lixels(SQUARE, 10.0)
XY = places_xy(SQUARE, LIXELS.edge, (LIXELS.start_m + LIXELS.end_m) / 2)
AGENCY = gpd.GeoDataFrame(
    {"route": ["R 1", "R 1"], "begin_measure": [0.0, 2.0], "end_measure": [1.0, 1.0]},
    geometry=[LineString([(0, 0), (1000, 0)]), LineString([(2000, 0), (1000, 0)])],
    crs=SQUARE.crs,
)


def laid(*rows: dict[str, object], partner: np.ndarray | None = None) -> RoadEffort:
    base = {"source_file": "e.csv", "time": pd.NaT, "placed_by": "line", "route": "",
            "begin_measure": np.nan, "end_measure": np.nan, "amount": 1.0,
            "amount_unit": "passes", "geometry": None}  # fmt: skip
    table = gpd.GeoDataFrame(
        [{**base, "source_row": n + 2, **row} for n, row in enumerate(rows)],
        geometry="geometry", crs=SQUARE.crs,
    )  # fmt: skip
    return effort_on_roads(
        table, SQUARE, LIXELS, PieceIndex.build(SQUARE),
        np.arange(len(LIXELS)) if partner is None else partner, AGENCY, within_m=30.0,
    )  # fmt: skip


def ends(*xy: tuple[float, float], **more: object) -> dict[str, object]:
    return {"placed_by": "ends", "geometry": LineString(xy), **more}


def metres(got: RoadEffort, row: int = 0) -> np.ndarray:
    return got.amount.toarray()[row]


def test_a_line_gives_its_metres_times_its_passes() -> None:
    """By hand: 300 m beside the first road, three times: 30 m on each of 30 lixels."""
    got = metres(laid({"geometry": LineString([(200, 4), (500, 4)]), "amount": 3.0}))
    on = (XY[:, 0] > 200) & (XY[:, 0] < 500) & (XY[:, 1] < 1)
    assert got[on] == pytest.approx(30.0)
    assert got.sum() == pytest.approx(900.0)


def test_distance_and_hours_are_shared_out_along_the_piece() -> None:
    """By hand: 6 km along a piece of 300 m are 20 passes; an hour over 300 m is 1/30 a lixel."""
    line = LineString([(200, 0), (500, 0)])
    got = laid({"geometry": line, "amount": 6000.0, "amount_unit": "metres"})
    assert metres(got).sum() == pytest.approx(6000.0)
    assert metres(got).max() == pytest.approx(200.0)
    got = laid({"geometry": line, "amount_unit": "hours"})
    assert got.unit == "hours"
    assert metres(got).max() == pytest.approx(1 / 30)


def test_ends_are_joined_by_the_shortest_way() -> None:
    """By hand: from the tail's middle round the corner B up to (1000, 300): 500 m and 300 m, with
    half a lixel where it ends; on one road the piece between."""
    got = metres(laid(ends((1500, 0), (1000, 295))))
    assert got.sum() == pytest.approx(795.0)
    assert got[(XY[:, 0] > 1000) & (XY[:, 0] < 1500)].sum() == pytest.approx(500.0)
    assert got[np.abs(XY - [1000, 295]).sum(axis=1).argmin()] == pytest.approx(5.0)
    assert metres(laid(ends((1500, 0), (1800, 0)))).sum() == pytest.approx(300.0)
    # Two corners on: both ways round are longer than one along A-B.
    assert metres(laid(ends((10, 0), (990, 0)))).sum() == pytest.approx(980.0)
    assert metres(laid(ends((0, 100), (1000, 100)))).sum() == pytest.approx(1200.0)


def test_measures_of_a_route_with_lines_drawn_either_way() -> None:
    """By hand: R1 runs 0 to 2 km; 0.9 to 1.2 km is 100 m of one line and 200 m of the other."""
    got = metres(laid({"placed_by": "route", "route": "r1", "begin_measure": 1.2,
                       "end_measure": 0.9}))  # fmt: skip
    on = (XY[:, 1] < 1) & (XY[:, 0] > 900) & (XY[:, 0] < 1200)
    assert got[on] == pytest.approx(10.0)
    assert got.sum() == pytest.approx(300.0)
    whole = metres(laid({"placed_by": "route", "route": "R 1"}))
    assert whole.sum() == pytest.approx(2000.0)


def test_the_following_carriageway_counts_on_the_leading_one() -> None:
    partner = np.zeros(len(LIXELS), np.int64)
    got = metres(laid({"geometry": LineString([(200, 0), (500, 0)])}, partner=partner))
    assert got[0] == pytest.approx(300.0)


def test_rows_on_no_road_are_left_out_with_their_reason() -> None:
    far = {"geometry": LineString([(0, 300), (600, 400)])}
    far["geometry"] = LineString([(400, 300), (600, 400)])
    got = laid(
        far, ends((1500, 0), (500, 500)), {"placed_by": "route", "route": "R9"},
        {"placed_by": "route", "route": "R1", "begin_measure": 7.0, "end_measure": 8.0},
        {"geometry": LineString([(200, 0), (500, 0)])},
    )  # fmt: skip
    assert [(r.row, r.kind) for r in got.remarks] == [(n, "left out") for n in (2, 3, 4, 5)]
    assert "no road lies within 30 m" in got.remarks[0].problem
    assert "500 m from the nearest road" in got.remarks[1].problem
    assert "no route 'R9'" in got.remarks[2].problem
    assert "no measures from 7 to 8" in got.remarks[3].problem
    assert metres(got, 4).sum() == pytest.approx(300.0)
    with pytest.raises(InputError, match="no road lies within 30 m"):
        laid(far)


def test_roads_by_name_or_number() -> None:
    """By hand: two roads in one row, one by name, one by the second of its numbers."""
    network = make_network(
        [[(0, 0), (1000, 0)], [(1000, 0), (1000, 500)], [(1000, 0), (2000, 0)]],
        names=["Mill Road", "", "Ford Lane"], ref=["", "L 7;B 12", ""],
    )  # fmt: skip
    lixels = lay_lixels(network, 10.0)
    base = {"source_file": "s.csv", "time": pd.NaT, "placed_by": "route", "begin_measure": np.nan,
            "end_measure": np.nan, "amount": 1.0, "amount_unit": "passes",
            "geometry": None}  # fmt: skip
    table = gpd.GeoDataFrame(
        [{**base, "source_row": 2, "route": "mill road | B12"},
         {**base, "source_row": 3, "route": "Ford Lane"},
         {**base, "source_row": 4, "route": "Ford Lane; Nowhere"}],
        geometry="geometry", crs=network.crs,
    )  # fmt: skip
    got = effort_on_roads(
        table, network, lixels, PieceIndex.build(network), np.arange(len(lixels)), None,
        within_m=30.0,
    )  # fmt: skip
    assert got.amount.toarray().sum(axis=1) == pytest.approx([1500.0, 1000.0, 0.0])
    assert "no road of that name" in got.remarks[0].problem
