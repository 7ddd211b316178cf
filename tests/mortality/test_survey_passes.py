"""Which road was searched when: by hand, on roads 10 m a lixel."""

from __future__ import annotations

from types import SimpleNamespace
from zoneinfo import ZoneInfo

import geopandas as gpd
import numpy as np
import pandas as pd
from shapely import LineString

from roadrisk.mortality.survey_passes import days_since_1970, searched_places
from roadrisk.roads.lixels import lay_lixels
from roadrisk.roads.placing import PieceIndex
from roadrisk.table_settings import SurveysSection
from tests.roads.small import make_network

NETWORK = make_network(
    [[(0, 0), (1000, 0)], [(1000, 0), (2000, 0)]], names=["Mill Road", "Ford Lane"]
)
LIXELS = lay_lixels(NETWORK, 10.0)


def searched(*rows, partner=None):
    base = {"source_file": "s.csv", "samplingProtocol": "walk", "placed_by": "route", "route": "",
            "begin_measure": np.nan, "end_measure": np.nan, "amount": 1.0,
            "amount_unit": "passes", "geometry": None}  # fmt: skip
    table = gpd.GeoDataFrame(
        [{**base, "source_row": n + 2, "eventID": f"S{n}", **row} for n, row in enumerate(rows)],
        geometry="geometry", crs=NETWORK.crs,
    )  # fmt: skip
    table["time"] = pd.to_datetime(table["time"], utc=True)
    settings = SimpleNamespace(
        surveys=SurveysSection(file=("s.csv",)),
        study=SimpleNamespace(zone=ZoneInfo("America/New_York")),
    )
    study = SimpleNamespace(surveys=table, settings=settings, agency_lines=None)
    partner = np.arange(len(LIXELS)) if partner is None else partner
    return searched_places(study, NETWORK, LIXELS, PieceIndex.build(NETWORK), partner)


def test_places_with_the_same_searches_share_a_schedule():
    # By hand: Mill Road twice, Ford Lane once and in two passes on the second date, 300 m of
    # nothing: three schedules for three sets of searches.
    got = searched(
        {"route": "Mill Road | Ford Lane", "time": "2024-05-01T12:00Z"},
        {"route": "Mill Road", "time": "2024-06-01T03:00Z", "samplingProtocol": "car"},
        {"placed_by": "line", "geometry": LineString([(0, 2), (300, 2)]),
         "time": "2024-06-05T12:00Z", "amount": 2.0},
    )  # fmt: skip
    middle = (LIXELS.start_m + LIXELS.end_m) / 2 + 1000 * (LIXELS.edge == 1)
    for place, want in ((100, ["walk", "car", "walk", "walk"]), (600, ["walk", "car"]),
                        (1500, ["walk"])):  # fmt: skip
        looks = got.looks[got.schedule[np.abs(middle - place).argmin()]]
        assert list(looks.protocol) == want
        assert (np.diff(looks.day) >= 0).all()
    assert len(got.looks) == 3
    # The second is of May in the study's zone; effort is metres times passes.
    assert got.months == ("2024-05", "2024-06")
    assert got.metres.sum(axis=1).tolist() == [3000.0, 600.0]
    assert got.covered.shape == (3, len(LIXELS))


def test_a_lixel_counts_as_searched_by_half_of_it():
    # By hand: a line over 300 m and 4 m covers 30 lixels, one over 306 m covers 31.
    for length, want in ((304, 30), (306, 31)):
        line = LineString([(0, 0), (length, 0)])
        got = searched({"placed_by": "line", "geometry": line, "time": "2024-05-01"})
        assert got.ever.sum() == want


def test_rows_of_one_survey_that_overlap_are_one_look_and_two_surveys_are_two():
    line = {"placed_by": "line", "geometry": LineString([(0, 0), (300, 0)]), "time": "2024-05-01"}
    more = {**line, "geometry": LineString([(200, 0), (500, 0)])}
    got = searched({**line, "eventID": "A"}, {**more, "eventID": "A"})
    assert {len(looks.protocol) for looks in got.looks} == {1}
    got = searched(line, line)
    assert {len(looks.protocol) for looks in got.looks} == {2}


def test_surveys_can_be_taken_out():
    got = searched(
        {"route": "Mill Road", "time": "2024-05-01"},
        {"route": "Ford Lane", "time": "2024-05-02", "samplingProtocol": "horse"},
    )
    left = got.only(np.array([True, False]))
    assert left.ever.sum() == 100
    assert got.ever.sum() == 200
    assert left.metres.sum() == got.metres.sum()


def test_a_survey_of_no_road_is_left_out():
    got = searched({"route": "Mill Road", "time": "2024-05-01"},
                   {"route": "Nowhere", "time": "2024-05-01"})  # fmt: skip
    (remark,) = got.remarks
    assert (remark.kind, remark.row) == ("left out", 3)


def test_days():
    time = pd.Series(pd.to_datetime(["1970-01-02T12:00Z"], utc=True))
    assert days_since_1970(time).tolist() == [1.5]
