"""Real tables of other people, read with a study.toml alone.

Data (see the README beside them): Florida box turtles, Hocking & Donini, CC0; deer-vehicle
collisions in Scotland, NatureScot / Deer Initiative, OGL v3; GPS tracks, Mahoney & Young 2016,
doi:10.1111/2041-210X.12658, CC0, and state roads of the same place. The facts that are asked
for (numbers of rows, systems, traps) are those that the README states. The files are read in
a copied folder of the test's own; nothing of them is kept.
"""

from __future__ import annotations

import shutil

import pandas as pd
import pyogrio
import pytest

from roadrisk.mortality.carcass_deaths import no_surveys_words
from roadrisk.records.checking import check
from roadrisk.records.study_folder import read_study

HEAD = """\
[study]
name = "Outside check"
short_name = "outside"
species = "{species}"
start = {start}
end = {end}
time_zone = "{zone}"
"""

TURTLES = (
    HEAD.format(
        species="Terrapene carolina", start="2019-01-01", end="2020-12-31", zone="America/New_York"
    )
    + """
[fixes]
file = "bauri_telemetry_data_Naples_Preserve_2019-2020.csv"
[fixes.columns]
organismID = "id"
eventDate = "date"
decimalLatitude = "lat"
decimalLongitude = "lon"
[roads.osm]
file = "roads.osm"
"""
)

DEER = (
    HEAD.format(
        species="Capreolus capreolus", start="2000-01-01", end="2017-12-31", zone="Europe/London"
    )
    + """
[sightings]
file = "collisions_sample.csv"
[sightings.columns]
occurrenceID = "objectid"
eventDate = "inc_date"
decimalLatitude = "latitude"
decimalLongitude = "longitude"
[roads.osm]
file = "roads.osm"
"""
)

TRACKS = (
    HEAD.format(
        species="Canis latrans", start="2010-01-01", end="2016-12-31", zone="America/Denver"
    )
    + """
[fixes]
file = "coyote_cougar.csv"
crs = "EPSG:32612"
[fixes.columns]
organismID = "id"
eventDate = "t_"
x = "x_"
y = "y_"
[roads.agency]
file = "roads.shp"
speed_unit = "mph"
[roads.agency.columns]
name = "FULLNAME"
road_class = "DOT_CLASS"
speed_limit = "SPEED_LMT"
"""
)

# An invented lane, for a study needs roads; it lies near the points once they are mended.
LANE = """\
<osm version="0.6"><node id="1" version="1" lat="{lat}" lon="{lon}"/>
<node id="2" version="1" lat="{lat}1" lon="{lon}1"/>
<way id="1" version="1"><nd ref="1"/><nd ref="2"/><tag k="highway" v="residential"/></way></osm>
"""


@pytest.fixture
def study_of(open_data, tmp_path):
    def make(name, settings, lane=None):
        folder = tmp_path / name
        shutil.copytree(open_data / name, folder, copy_function=shutil.copyfile)
        (folder / "study.toml").write_text(settings, encoding="utf-8")
        if lane:
            (folder / "roads.osm").write_text(LANE.format(lat=lane[0], lon=lane[1]))
        return folder

    return make


def mended(folder, section, line):
    path = folder / "study.toml"
    path.write_text(
        path.read_text(encoding="utf-8").replace(f"[{section}.", f"{line}\n[{section}."),
        encoding="utf-8",
    )


# Once with roads beside the points, once with roads elsewhere, where the time zone has to tell.
@pytest.mark.parametrize("lane", [("26.165", "-81.798"), ("40.5", "-74.5")])
def test_turtles_lack_their_minus_sign(study_of, lane):
    folder = study_of("box_turtle_fixes", TURTLES, lane)
    doubts = [r for r in check(folder) if r.column == "lon"]
    assert [r.kind for r in doubts] == ["doubt"]
    assert 'longitude = "unsigned west" in [fixes]' in doubts[0].mend
    # Nothing is changed silently: the points stay where the file has them.
    stated = read_study(folder).fixes
    assert len(stated) == 1018

    mended(folder, "fixes", 'longitude = "unsigned west"')
    study = read_study(folder)
    left_out = [r for r in study.remarks if r.kind == "left out"]
    assert len(study.fixes) + len(left_out) == 1018
    assert not [r for r in study.remarks if r.column == "lon"]
    assert study.fixes["organismID"].nunique() == 10
    assert not study.fixes["time_known"].any()
    there = study.fixes.to_crs("EPSG:4326").geometry
    assert there.x.between(-81.81, -81.78).all()
    assert there.y.between(26.15, 26.18).all()
    far = [r for r in study.remarks if "far from the roads" in r.problem]
    # Zone 17 holds the points; where they and the roads are apart, the roads are believed.
    assert (study.crs.to_epsg(), len(far)) == ((32617, 0) if lane[0] == "26.165" else (32618, 1))


def test_deer_have_their_columns_exchanged(study_of, open_data):
    folder = study_of("deer_collisions", DEER, ("56.4", "-3.7"))
    doubts = [r for r in check(folder) if "exchanged" in r.problem]
    assert [(r.kind, r.row) for r in doubts] == [("doubt", None)]
    assert doubts[0].mend == "write swapped = true in [sightings]"

    mended(folder, "sightings", "swapped = true")
    study = read_study(folder)
    assert not [r for r in study.remarks if "exchanged" in r.problem]
    raw = pd.read_csv(open_data / "deer_collisions" / "collisions_sample.csv", dtype=str)
    left_out = {r.row for r in study.remarks if r.kind == "left out"}
    assert len(study.sightings) + len(left_out) == len(raw) == 3000
    # The same file also gives the British grid: both ways agree within the 10 m or so that
    # the grid shift without its correction file leaves (OSGB36 by a 7-parameter shift: 5 m).
    mapped = DEER.replace('decimalLatitude = "latitude"', 'x = "os_easting"').replace(
        'decimalLongitude = "longitude"', 'y = "os_northin"'
    )
    mapped = mapped.replace("[sightings.columns]", 'crs = "EPSG:27700"\n[sightings.columns]')
    (folder / "study.toml").write_text(mapped, encoding="utf-8")
    grid = read_study(folder)
    apart = study.sightings.to_crs(grid.crs).distance(grid.sightings)
    assert len(grid.sightings) == 3000
    assert apart.quantile(0.99) < 10
    # It has no effort: no number of deaths, and why.
    assert grid.surveys is None
    assert no_surveys_words(grid).startswith("3000 reports")


def test_tracks_and_agency_roads(study_of, open_data):
    folder = study_of("gps_tracks_and_roads", TRACKS)
    study = read_study(folder)
    assert len(study.fixes) == 5140
    assert not [r for r in study.remarks if r.kind == "left out"]
    assert study.crs.to_epsg() == 32612
    # Positions go through WGS 84 and back: to a micrometre the file's own.
    raw = pd.read_csv(open_data / "gps_tracks_and_roads" / "coyote_cougar.csv")
    assert (study.fixes.geometry.x - raw["x_"]).abs().max() < 1e-6
    assert (study.fixes.geometry.y - raw["y_"]).abs().max() < 1e-6
    assert (study.fixes["time"] == pd.to_datetime(raw["t_"])).all()
    # The road layer, against pyogrio's own reading of it.
    roads = pyogrio.read_dataframe(open_data / "gps_tracks_and_roads" / "roads.shp")
    assert len(study.agency_lines) == len(roads) == 973
    assert study.agency_lines.length.sum() == pytest.approx(roads.length.sum(), rel=1e-9)
    assert study.agency_lines["name"].tolist() == roads["FULLNAME"].fillna("").tolist()
    known = roads["SPEED_LMT"] > 0
    assert study.agency_lines["speed_limit_kmh"].notna().tolist() == known.tolist()
    mph = study.agency_lines.loc[known, "speed_limit_kmh"] / 1.609344
    assert mph.tolist() == pytest.approx(roads.loc[known, "SPEED_LMT"].tolist())
