"""Effort of reporters by month and by road: by hand, and by recovering a made public."""

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
import shapely

from roadrisk.records import schemas
from roadrisk.roads.placing import PieceIndex
from roadrisk.sightings.reporters import MONTH_COLUMNS, PLACE_COLUMNS, reporter_effort
from roadrisk.species import GENERIC, built_in_profile
from tests.roads.small import make_network
from tests.sightings.made_reports import reports

CRS = "EPSG:32633"
X, Y = 390_000.0, 5_784_000.0
PROFILE = built_in_profile(GENERIC)
MAY = pd.Timestamp("2024-05-10T10:00", tz="UTC")


@pytest.fixture(scope="module")
def roads():
    """Two roads of 1 km and one of 500 m, 2 km apart."""
    lines = [[(X, Y), (X + 1000, Y)], [(X, Y + 2000), (X + 1000, Y + 2000)],
             [(X, Y + 4000), (X + 500, Y + 4000)]]  # fmt: skip
    network = make_network(lines)
    return network, PieceIndex.build(network)


def others(xy, **columns):
    """Reports of anything else at places [m]."""
    xy = np.asarray(xy, float).reshape(-1, 2)
    n = len(xy)
    base = {
        "source_file": "other.csv", "source_row": np.arange(n) + 2,
        "occurrenceID": [f"o{i}" for i in range(n)], "eventDate": "", "time": MAY,
        "time_known": True, "coordinateUncertaintyInMeters": 20.0,
        "scientificName": "Rana ficta", "recordedBy": "", "route": "", "route_measure": np.nan,
        "side": "",
    }  # fmt: skip
    table = gpd.GeoDataFrame({**base, **columns}, geometry=shapely.points(xy), crs=CRS)
    return schemas.conform(table, schemas.BACKGROUND)


def effort(roads, some, background=None):
    return reporter_effort(
        some, background, *roads, profile=PROFILE, near_m=30.0, zone="Europe/Warsaw"
    )


def test_months_and_roads_by_hand(roads):
    """Three people on one road in May, one of them twice; one nameless on another in July."""
    seen = reports([[X + 100, Y + 5], [X + 200, Y]], crs=CRS, recordedBy=["Ada ", "ada"])
    elsewhere = others(
        [[X + 300, Y], [X + 400, Y], [X + 50, Y + 2000]], recordedBy=["Bo", "Cy", ""],
        time=[MAY, MAY, pd.Timestamp("2024-06-30T23:30", tz="UTC")],  # July in the study's zone
    )  # fmt: skip
    found = effort(roads, seen, elsewhere)
    assert tuple(found.by_month.columns) == MONTH_COLUMNS
    assert found.by_month.to_numpy().tolist() == [
        ["2024-05", 3, 0, 4, 2], ["2024-06", 0, 0, 0, 0], ["2024-07", 0, 1, 1, 0],
    ]  # fmt: skip
    assert tuple(found.by_place.columns) == PLACE_COLUMNS
    rows = found.by_place.drop(columns=["segment_id", "road"]).to_numpy().tolist()
    assert sorted(rows) == [
        [500, 0, 0, 0, 0, 0, 0, 0], [1000, 0, 1, 1, 0, 0, 1, 0], [1000, 3, 0, 4, 2, 3, 4, 2],
    ]  # fmt: skip


def test_a_report_that_both_tables_hold_counts_once(roads):
    seen = reports([[X, Y]], crs=CRS, recordedBy="Ada")
    both = others([[X, Y], [X, Y]], recordedBy="Ada", occurrenceID=["r0", "o9"],
                  scientificName=[PROFILE.scientific_name] * 2)  # fmt: skip
    row = effort(roads, seen, both).by_month.iloc[0]
    assert row["reports_of_anything"] == 2
    assert row["reports_of_species"] == 2


def test_far_from_any_road_counts_in_its_month_only(roads):
    """A radius of 245 m is a standard deviation of 100 m: 30 m and 300 m count, more doesn't."""
    seen = reports([[X + 500, Y + 329], [X + 500, Y + 331]], crs=CRS,
                   coordinateUncertaintyInMeters=244.77)  # fmt: skip
    found = effort(roads, seen)
    assert found.by_place["reports_of_anything"].sum() == 1
    assert found.by_month["reports_of_anything"].sum() == 2
    assert "1 lie too far" in found.notes[0]


def test_the_species_alone_is_said_to_be_no_measure_of_effort(roads):
    seen = reports([[X, Y]], crs=CRS)
    assert "can't tell few animals from few people" in effort(roads, seen).notes[1]
    assert "were there to see it" in effort(roads, seen, others([[X, Y]])).notes[1]


def test_no_reports_at_all(roads):
    found = effort(roads, reports(np.empty((0, 2)), crs=CRS))
    assert found.by_month.empty
    assert found.by_place["reports_of_anything"].tolist() == [0, 0, 0]


def test_no_table_and_no_sentence_holds_a_name(roads):
    seen = reports([[X, Y]], crs=CRS, recordedBy="Wilhelmina Reedwater")
    found = effort(roads, seen, others([[X, Y]], recordedBy="Otto Sedgemoor"))
    said = found.by_month.to_csv() + found.by_place.to_csv() + " ".join(found.notes)
    for name in ("Wilhelmina", "Reedwater", "Otto", "Sedgemoor"):
        assert name.casefold() not in said.casefold()


def test_a_made_public_is_recovered(roads):
    """Truth: 30 people, 600 reports, each on a known road in a known month."""
    rng = np.random.default_rng(3)
    who, road, month = rng.integers(0, 30, 600), rng.integers(0, 3, 600), rng.integers(4, 11, 600)
    at = rng.uniform(5, 495, 600)
    xy = np.column_stack([X + at, Y + 2000 * road + rng.normal(0, 5, 600)])
    time = [pd.Timestamp(2024, m, 15, 12, tz="UTC") for m in month]
    table = {"recordedBy": [f"Person {w}" for w in who], "time": time}
    half = np.arange(600) < 200

    def pick(keep):
        return {k: np.array(v, dtype=object)[keep].tolist() for k, v in table.items()}

    found = effort(roads, reports(xy[half], crs=CRS, **pick(half)),
                   others(xy[~half], **pick(~half)))  # fmt: skip
    truth = pd.DataFrame({"who": who, "road": road, "month": month, "species": half})
    by = truth.groupby("month")
    assert found.by_month["reporters"].tolist() == by["who"].nunique().tolist()
    assert found.by_month["reports_of_species"].tolist() == by["species"].sum().tolist()
    place = roads[0].segments.geometry.apply(lambda g: round((g.coords[0][1] - Y) / 2000))
    by_road = truth.groupby("road")["who"].nunique().reindex(place).tolist()
    assert found.by_place["reporters"].tolist() == by_road
