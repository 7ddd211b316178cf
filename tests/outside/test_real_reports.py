"""Reports of other people: exchanged columns are found, exact repeats are grouped.

Data (see the README beside them): deer-vehicle collisions in Scotland, NatureScot / Deer
Initiative, OGL v3, in which the columns `latitude` and `longitude` are swapped (stated there).
The groups are held against pandas' own groupby on the file's text.
"""

from __future__ import annotations

import shutil

import pandas as pd
import pytest

from roadrisk.records.study_folder import read_study
from roadrisk.roads.build import build_network
from roadrisk.roads.placing import PieceIndex
from roadrisk.sightings.repeats import join_exact_repeats
from roadrisk.sightings.screening import screen

ZONE = "Europe/London"
STUDY = f"""\
[study]
name = "Outside check"
short_name = "outside"
species = "Capreolus capreolus"
start = 2000-01-01
end = 2017-12-31
time_zone = "{ZONE}"
[sightings]
file = "reports.csv"
[sightings.columns]
occurrenceID = "objectid"
eventDate = "inc_date"
decimalLatitude = "latitude"
decimalLongitude = "longitude"
[roads.osm]
file = "roads.osm"
"""
MEND = "swapped = true"

# Two invented lanes, for a study needs roads: their extent holds the data once it is mended.
ROADS = """\
<osm version="0.6"><node id="1" version="1" lat="54.5" lon="-8.0"/>
<node id="2" version="1" lat="54.5001" lon="-8.0"/><node id="3" version="1" lat="61.0" lon="-0.5"/>
<node id="4" version="1" lat="61.0001" lon="-0.5"/>
<way id="1" version="1"><nd ref="1"/><nd ref="2"/><tag k="highway" v="residential"/></way>
<way id="2" version="1"><nd ref="3"/><nd ref="4"/><tag k="highway" v="residential"/></way></osm>
"""


@pytest.fixture(scope="module")
def raw(open_data):
    return pd.read_csv(open_data / "deer_collisions" / "collisions_sample.csv", dtype=str)


@pytest.fixture
def study_of(open_data, tmp_path):
    def make(rows=None, settings=STUDY):
        file = open_data / "deer_collisions" / "collisions_sample.csv"
        if rows is None:
            shutil.copyfile(file, tmp_path / "reports.csv")
        else:
            rows.to_csv(tmp_path / "reports.csv", index=False)
        (tmp_path / "study.toml").write_text(settings, encoding="utf-8")
        (tmp_path / "roads.osm").write_text(ROADS, encoding="utf-8")
        return read_study(tmp_path)

    return make


def doubts(study):
    network = build_network(study).network
    return screen(
        study.sightings,
        study.held,
        network=network,
        index=PieceIndex.build(network),
        profile=study.profile,
        settings=study.settings,
        photos=study.photos,
        area=study.area,
    )


def mended(settings=STUDY):
    return settings.replace("[sightings.columns]", f"{MEND}\n[sightings.columns]")


def test_a_table_with_exchanged_columns_is_found_and_mended(study_of, raw):
    stated = study_of()
    (found,) = [r for r in stated.remarks if "exchanged" in r.problem]
    assert (found.kind, found.row) == ("doubt", None)
    assert found.mend == f"write {MEND} in [sightings]"
    # Nothing is changed silently: as they stand, all reports lie outside.
    outside = doubts(stated).query("kind == 'outside-area'")
    assert outside["report_key"].nunique() == len(raw) == 3000
    study = study_of(settings=mended())
    assert not [r for r in study.remarks if "exchanged" in r.problem]
    assert doubts(study).query("kind == 'outside-area'").empty


def test_single_rows_with_exchanged_columns_are_held_with_the_file_s_own_place(study_of, raw):
    # Every fiftieth row is left as the file has it, the others are put right.
    as_stated = raw.index % 50 == 7
    right = raw.rename(columns={"latitude": "longitude", "longitude": "latitude"})[raw.columns]
    right.loc[as_stated, ["latitude", "longitude"]] = raw.loc[as_stated, ["latitude", "longitude"]]
    study = study_of(right)
    found = doubts(study).query("kind == 'swapped-coordinates'").set_index("report_key")
    wrong = raw[as_stated].set_index("objectid")
    assert sorted(found.index) == sorted(wrong.index)
    assert len(found) == 60
    there = wrong.loc[found.index].astype({"latitude": float, "longitude": float})
    assert found["proposed_longitude"].tolist() == pytest.approx(there["latitude"].tolist())
    assert found["proposed_latitude"].tolist() == pytest.approx(there["longitude"].tolist())


def test_exact_repeats_are_grouped_as_pandas_groups_the_text(study_of, raw):
    study = study_of(settings=mended())
    kept, joined = join_exact_repeats(study.sightings, ZONE)
    groups = raw.groupby(["inc_date", "latitude", "longitude"])["objectid"].agg(list)
    several = groups[groups.str.len() > 1]
    assert len(several) == 5  # there are some
    assert len(kept) == len(groups)
    assert kept["repeats"].sum() == len(raw)
    assert sorted(joined["record"]) == sorted(k for ids in several for k in ids[1:])
    leaders = kept.set_index("occurrenceID")["repeats"]
    assert leaders[[ids[0] for ids in several]].tolist() == several.str.len().tolist()
