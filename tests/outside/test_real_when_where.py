"""Reports of other people without effort: tables by month and road, and no number of deaths.

Data (see the README of the repository's open data): deer-vehicle collisions in Scotland, NatureScot
/ Deer Initiative, OGL v3, read through the file's own columns. Months and roads are held against
pandas' own groupby on the file's text. The file names the road of a collision (`road_no`) and
comes without any road's course, so each place gets a lane of 4 m that bears that number.
"""

from __future__ import annotations

import json
from types import SimpleNamespace

import numpy as np
import pandas as pd
import pytest

from roadrisk.mortality.carcass_deaths import carcass_deaths, no_surveys_words
from roadrisk.mortality.when_where import when_table
from roadrisk.records.study_folder import read_study
from roadrisk.roads.bands import partner_lixels
from roadrisk.roads.build import build_network
from roadrisk.roads.lixels import lay_lixels
from roadrisk.roads.placing import PieceIndex
from roadrisk.sightings.counted import count_reports

NOT_SAID = "Unknown"
# Every report counts as one, so that plain counting is the truth; each lies on its own lane.
STUDY = """\
[study]
name = "Outside check"
short_name = "outside"
species = "Capreolus capreolus"
start = 2000-01-01
end = 2017-12-31
time_zone = "Europe/London"
[sightings]
file = "reports.csv"
swapped = true
default_uncertainty_m = 0.01
same_place_m = 0.001
carcass_days = 0.001
[sightings.columns]
occurrenceID = "objectid"
eventDate = "inc_date"
decimalLatitude = "latitude"
decimalLongitude = "longitude"
[placement]
near_m = 0.5
[roads.agency]
file = "lanes.geojson"
crossing_lines = "apart"
[roads.agency.columns]
name = "road_no"
"""
# 2 m to either side, in degrees of longitude at 57 degrees north.
HALF_LANE = 3.3e-5


@pytest.fixture(scope="module")
def raw(open_data):
    return pd.read_csv(open_data / "deer_collisions" / "collisions_sample.csv", dtype=str)


@pytest.fixture(scope="module")
def taken(raw):
    """The file without places so near another that two lanes would lie on one another."""
    lon, lat = raw["latitude"].astype(float), raw["longitude"].astype(float)
    cell = (lon / 0.001).round().astype(int).astype(str) + (lat / 0.001).round().astype(str)
    roads = raw["road_no"].groupby(cell).transform("nunique")
    neighbours = pd.concat([cell.rename("cell"), lon.rename("lon"), lat.rename("lat")], axis=1)
    first = neighbours.groupby("cell")[["lon", "lat"]].transform("first")
    apart = (neighbours[["lon", "lat"]] == first).all(axis=1)
    return raw[(roads == 1) & apart]


@pytest.fixture(scope="module")
def counted(taken, tmp_path_factory):
    folder = tmp_path_factory.mktemp("deer")
    taken.to_csv(folder / "reports.csv", index=False)
    (folder / "study.toml").write_text(STUDY, encoding="utf-8")
    (folder / "lanes.geojson").write_text(json.dumps(lanes(taken)), encoding="utf-8")
    study = read_study(folder)
    network = build_network(study).network
    lixels, index = lay_lixels(network, 10.0), PieceIndex.build(network)
    found = count_reports(study, study.sightings, study.fixes, network, lixels, index)
    return study, found, network, lixels, index


def lanes(taken):
    known = taken[taken["road_no"] != NOT_SAID].drop_duplicates(["latitude", "longitude"])
    features = []
    for lon, lat, name in known[["latitude", "longitude", "road_no"]].itertuples(index=False):
        x, y = float(lon), float(lat)
        line = [[x - HALF_LANE, y], [x, y], [x + HALF_LANE, y]]
        features.append({"type": "Feature", "properties": {"road_no": name},
                         "geometry": {"type": "LineString", "coordinates": line}})  # fmt: skip
    return {"type": "FeatureCollection", "features": features}


@pytest.fixture(scope="module")
def table(counted):
    study, found, network, lixels, _ = counted
    nobody = SimpleNamespace(found=SimpleNamespace(animals=[], totals_identified=False,
        segments=pd.DataFrame({"segment": []}), by_month=None, by_hour=None))  # fmt: skip
    reports = np.zeros(len(found.placed.table), bool)
    return when_table(study, found, reports, nobody, network, lixels)


def plain(taken):
    """The file's reports on a road that it names, each once: exact repeats are one report."""
    once = taken.drop_duplicates(["inc_date", "latitude", "longitude"])
    return once[once["road_no"] != NOT_SAID]


def by(table, name):
    rows = table[0][table[0]["counted_by"] == name].set_index("value")
    return rows["reports_other"][rows["reports_other"] > 0]


def test_most_of_the_file_is_in_the_study(raw, taken, counted):
    assert len(taken) > 0.9 * len(raw)
    _, found, *_ = counted
    assert len(found.placed.table) == len(plain(taken)) > 1700


def test_months_equal_a_plain_group_by(taken, table):
    months = plain(taken)["inc_month"].value_counts()
    names = pd.to_datetime(pd.Series(months.index), format="%b").dt.month.astype(str)
    expected = dict(zip(names, months.astype(float), strict=True))
    assert by(table, "month").to_dict() == pytest.approx(expected)
    # The season of the file: more in May than in any other month.
    assert by(table, "month").idxmax() == "5"


def test_roads_equal_a_plain_group_by(taken, table):
    expected = plain(taken)["road_no"].value_counts().astype(float).to_dict()
    assert len(expected) > 200
    assert by(table, "road").to_dict() == pytest.approx(expected)


def test_nothing_is_said_of_hours_crossings_and_deaths(table):
    rows, notes = table
    assert by(table, "hour").empty
    for name in ("carcasses", "crossings", "deaths"):
        assert rows[name].isna().all()
    assert (rows["reports_dead"] == 0).all()
    count = int(by(table, "road").sum().round())
    assert any(f"{count} of {count} reports have no time of day" in n for n in notes)
    assert any(f"dead or alive: {count};" in n for n in notes)


def test_no_number_of_deaths_without_effort(taken, counted):
    study, found, network, lixels, index = counted
    partner = partner_lixels(network, lixels)
    assert carcass_deaths(study, found, network, lixels, index, partner) is None
    said = no_surveys_words(study)
    assert said.startswith(f"{len(taken)} reports")
    assert "no number of deaths is worked out" in said
    assert "it is not known which roads were searched" in said
