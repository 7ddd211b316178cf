"""Starting a study: empty, or around a table that is there."""

from __future__ import annotations

import dataclasses
import tomllib

import geopandas as gpd
import numpy as np
import pytest
from openpyxl import Workbook

from roadrisk.errors import InputError, OutputError
from roadrisk.records.columns import TERMS
from roadrisk.records.new_study import propose, write_empty, write_from
from roadrisk.records.settings_file import NAME
from roadrisk.records.site_schemas import SITE_TABLES
from roadrisk.records.study_folder import read_study
from roadrisk.settings import settings_from
from tests.hostile.broken_folders import OSM

FILL = {
    'name = ""': 'name = "Reed Hollow"',
    'short_name = ""': 'short_name = "reed"',
    'species = ""': 'species = "Terrapene carolina"',
    'time_zone = ""': 'time_zone = "America/New_York"',
    'file = "roads.osm.pbf"': 'file = "roads.osm"',
}


def fill(folder):
    path = folder / NAME
    text = path.read_text(encoding="utf-8")
    for old, new in FILL.items():
        assert text.count(f"\n{old}") == 1
        text = text.replace(f"\n{old}", f"\n{new}")
    path.write_text(text, encoding="utf-8")
    (folder / "roads.osm").write_text(OSM, encoding="utf-8")


def test_an_empty_study_validates_once_it_is_filled_in(tmp_path):
    written = write_empty(tmp_path / "new study")
    assert [p.name for p in written] == [
        NAME, "animals.csv", "fixes.csv", "sightings.csv", "traffic.csv", "surveys.csv",
        "trials.csv", "nests.csv", "prices.csv",
    ]  # fmt: skip
    folder = tmp_path / "new study"
    with pytest.raises(InputError):
        settings_from(tomllib.loads((folder / NAME).read_text(encoding="utf-8")))
    fill(folder)
    settings_from(tomllib.loads((folder / NAME).read_text(encoding="utf-8")))
    for name in ("animals", "fixes", "sightings", "traffic", "surveys", "trials", "nests"):
        (line,) = (folder / f"{name}.csv").read_text(encoding="utf-8").splitlines()
        assert set(line.split(",")) <= set(TERMS[name])
    # Until rows are there, that is what is missing, and nothing else.
    with pytest.raises(InputError) as caught:
        read_study(folder)
    assert {r.file for r in caught.value.remarks} == {"animals.csv", "fixes.csv", "sightings.csv"}
    assert all("no rows" in r.problem for r in caught.value.remarks)


def test_every_commented_key_is_a_key(tmp_path):
    # Taking the # away from every optional line gives settings that validate.
    write_empty(tmp_path)
    fill(tmp_path)
    lines = []
    for line in (tmp_path / NAME).read_text(encoding="utf-8").splitlines():
        bare = line.removeprefix("# ")
        lines.append(bare if bare.startswith("[") or bare.split(" ")[1:2] == ["="] else line)
    settings = settings_from(tomllib.loads("\n".join(lines)))
    assert settings.traffic is not None
    assert settings.roads.agency is not None
    assert settings.roads.agency.columns["aadt"] == "AADT"
    assert settings.hotspots.rows == 30
    assert settings.prices is not None
    assert settings.structures.least_rise_m == 0.5
    assert all(getattr(settings, kind) is not None for kind in SITE_TABLES)
    assert settings.mitigation.budget == 250_000
    assert settings.mitigation.effect.fence_and_passages.likely == 0.8


def test_nothing_is_overwritten(tmp_path):
    (tmp_path / "fixes.csv").write_text("mine")
    with pytest.raises(OutputError, match=r"fixes\.csv"):
        write_empty(tmp_path)
    assert [p.name for p in tmp_path.iterdir()] == ["fixes.csv"]
    with pytest.raises(OutputError, match="is a file"):
        write_empty(tmp_path / "fixes.csv")


REPORTS = (
    "Report No;Date seen;Lat;Long;Observer;Alive or dead;Notes;Weather\n"
    "12;25/04/2024;38,5001;-76,1001;ann;alive;by the gate;wet\n"
    "13;03/05/2024;38,5002;-76,1002;bob;DOR;;dry\n"
)


def test_reports_of_the_public(tmp_path):
    # By hand.
    file = tmp_path / "mäusebusch reports.csv"
    file.write_text(REPORTS, encoding="utf-8")
    found = propose(file)
    assert found.table == "sightings"
    assert {m.term: m.theirs for m in found.matches} == {
        "occurrenceID": "Report No",
        "eventDate": "Date seen",
        "decimalLatitude": "Lat",
        "decimalLongitude": "Long",
        "vitality": "Alive or dead",
        "recordedBy": "Observer",
        "occurrenceRemarks": "Notes",
    }
    assert all(m.why for m in found.matches)
    assert {m.term: m.example for m in found.matches}["vitality"] == "alive"
    assert found.unused == ("Weather",)
    assert (found.coordinates, found.delimiter, found.rows) == ("degrees", ";", 2)
    assert (found.date_order, found.ask_date_order) == ("day-first", False)
    assert (str(found.first_day), str(found.last_day)) == ("2024-04-25", "2024-05-03")

    folder = tmp_path / "study"
    written = write_from(folder, found)
    assert [p.name for p in written] == [NAME, file.name]
    fill(folder)
    study = read_study(folder)
    assert study.sightings["vitality"].tolist() == ["alive", "dead"]
    assert study.sightings["occurrenceID"].tolist() == ["12", "13"]
    with pytest.raises(OutputError, match="already holds"):
        write_from(folder, found)


def test_dates_that_prove_no_order_are_asked_for(tmp_path):
    file = tmp_path / "t.csv"
    file.write_text(REPORTS.replace("25/04", "05/04"), encoding="utf-8")
    found = propose(file)
    assert (found.date_order, found.ask_date_order) == (None, True)
    folder = tmp_path / "study"
    write_from(folder, dataclasses.replace(found, date_order="day-first"))
    fill(folder)
    path = folder / NAME
    text = path.read_text(encoding="utf-8")
    path.write_text(text.replace("start = 2024-01-01", "start = 2023-01-01"), encoding="utf-8")
    assert read_study(folder).sightings["time"].dt.month.tolist() == [4, 5]


def test_tracking_in_a_workbook_with_metres(tmp_path):
    book = Workbook()
    book.active.title = "2024"
    book.active.append(["Turtle ID", "When", "UTM E", "UTM N", "accuracy m"])
    rng = np.random.default_rng(1)
    for i in range(12):
        x, y = 400000 + rng.uniform(0, 500), 4262000 + rng.uniform(0, 500)
        book.active.append([f"T{i % 3}", f"2024-05-{i + 1:02d}T08:30", x, y, 5])
    file = tmp_path / "tracking.xlsx"
    book.save(file)
    found = propose(file)
    assert found.table == "fixes"
    assert {m.term: m.theirs for m in found.matches} == {
        "organismID": "Turtle ID",
        "eventDate": "When",
        "x": "UTM E",
        "y": "UTM N",
        "coordinateUncertaintyInMeters": "accuracy m",
    }
    assert next(m for m in found.matches if m.term == "eventDate").why == "its values are dates"
    assert (found.coordinates, found.crs, found.sheet) == ("projected", None, "2024")
    folder = tmp_path / "study"
    write_from(folder, dataclasses.replace(found, crs="EPSG:32618"))
    fill(folder)
    study = read_study(folder)
    assert len(study.fixes) == 12
    assert study.fixes.geometry.x.between(400000, 400500).all()


@pytest.mark.parametrize(
    ("text", "table", "terms"),
    [
        (
            "Animal ID,Sex,Weight (g),Frequency\n1,F,410,150.1\n2,M,400,150.2\n",
            "animals",
            {
                "organismID": "Animal ID", "sex": "Sex", "mass_g": "Weight (g)",
                "tag_channel": "Frequency",
            },
        ),
        (
            "Animal,Weight (g),Frequency,Lat,Long\n1,410,150.1,38.5,-76.1\n2,400,150.2,38.5,-76\n",
            "animals",
            {
                "organismID": "Animal", "mass_g": "Weight (g)", "tag_channel": "Frequency",
                "decimalLatitude": "Lat", "decimalLongitude": "Long",
            },
        ),
        (
            "Road name,AADT,Count year\nReed Road,2400,2023\n",
            "traffic",
            {"name": "Road name", "aadt": "AADT", "aadt_year": "Count year"},
        ),
        (
            "id,date,Route ID,Milepost,status\n1,2024-05-01,R12,3.5,dead\n2,2024-05-02,R12,4,DOR\n",
            "sightings",
            {
                "occurrenceID": "id", "eventDate": "date", "route": "Route ID",
                "route_measure": "Milepost", "vitality": "status",
            },
        ),
    ],
)  # fmt: skip
def test_other_tables(tmp_path, text, table, terms):
    file = tmp_path / "t.csv"
    file.write_text(text)
    found = propose(file)
    assert found.table == table
    assert {m.term: m.theirs for m in found.matches} == terms


def test_a_shapefile_comes_with_its_companions(tmp_path):
    points = gpd.GeoDataFrame(
        {"animal": ["1", "1", "2", "2"], "date": ["2024-05-01"] * 4},
        geometry=gpd.points_from_xy([-76.1] * 4, [38.5, 38.51, 38.52, 38.53]),
        crs="EPSG:4326",
    )
    points.to_file(tmp_path / "p.shp")
    found = propose(tmp_path / "p.shp")
    assert (found.table, found.coordinates) == ("fixes", "geometry")
    write_from(tmp_path / "study", found)
    fill(tmp_path / "study")
    assert len(read_study(tmp_path / "study").fixes) == 4


def test_a_table_that_lies_in_the_folder_stays_there(tmp_path):
    file = tmp_path / "t.csv"
    file.write_text(REPORTS, encoding="utf-8")
    assert [p.name for p in write_from(tmp_path, propose(file))] == [NAME]
    assert file.read_text(encoding="utf-8") == REPORTS


def test_names_of_columns_stay_text_in_toml(tmp_path):
    # Hostile: quotes, backslashes and line ends in a header come back as they were.
    file = tmp_path / "t.csv"
    name = 'date "seen" \\ [x]\n= 1'
    quoted = '"' + name.replace('"', '""') + '"'
    file.write_text(f"id,{quoted},lat,lon\n1,2024-05-01,38.5001,-76.1001\n", encoding="utf-8")
    found = propose(file)
    write_from(tmp_path / "study", found)
    data = tomllib.loads((tmp_path / "study" / NAME).read_text(encoding="utf-8"))
    assert data["sightings"]["columns"]["eventDate"] == name


@pytest.mark.parametrize("content", [b"", b"\0\1\2", b"a,b\n"])
def test_what_is_no_table(tmp_path, content):
    file = tmp_path / "t.csv"
    file.write_bytes(content)
    with pytest.raises(InputError):
        propose(file)
    with pytest.raises(InputError):
        propose(tmp_path / "missing.csv")
