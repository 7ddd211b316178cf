"""Nests: by hand."""

from __future__ import annotations

import re

import numpy as np
import pytest

from roadrisk.records import schemas
from roadrisk.records.checking import check
from roadrisk.records.study_folder import read_study
from tests.hostile.broken_folders import change, good_folder, put, with_table

HEAD = (
    "occurrenceID,eventDate,decimalLatitude,decimalLongitude,coordinateUncertaintyInMeters,"
    "organismID,recordedBy,nest_outcome,occurrenceRemarks\n"
)
NESTS = HEAD + (
    "N1,2024-06-10T20:15,38.50100,-76.10200,4,007,Ida Reed,hatched,under the gate\n"
    ",2024-06-12,38.50150,-76.10250,,,,dug up,\n"
    "N1,2024-08-01,38.50100,-76.10200,4,007,,emerged,seen again\n"
    "N4,2022-06-01,38.50100,-76.10200,4,,,,\n"
    "N5,2024-06-20,38.50180,-76.10300,4,,,who knows,\n"
)


@pytest.fixture
def folder(tmp_path):
    made = good_folder(tmp_path / "study")
    with_table("nests", NESTS)(made)
    return made


def test_nests_of_a_study(folder):
    study = read_study(folder)
    nests = study.nests
    schemas.NESTS.validate(nests)
    assert nests.crs == study.crs
    assert nests["occurrenceID"].tolist() == ["N1", "nests-3", "N5"]
    assert nests["nest_outcome"].tolist() == ["emerged", "predated", "not known"]
    assert nests["organismID"].tolist() == ["007", "", ""]
    # The usual uncertainty of a nest, where none is given.
    assert nests["coordinateUncertaintyInMeters"].tolist() == [4, 10, 4]
    assert nests["time"].iloc[0].isoformat() == "2024-06-11T00:15:00+00:00"
    back = nests.to_crs("EPSG:4326").geometry
    np.testing.assert_allclose([back.x.iloc[1], back.y.iloc[1]], [-76.1025, 38.5015], atol=1e-9)


def test_what_is_said_of_odd_rows(folder):
    said = [r for r in read_study(folder).remarks if r.file == "nests.csv"]
    left = [(r.row, r.problem) for r in said if r.kind == "left out"]
    assert sorted(left) == [
        (4, "a second row for this nest"),
        (5, "date '2022-06-01' lies outside the study period 2023-04-01 to 2025-10-31"),
    ]
    (doubt,) = [r for r in said if r.column == "nest_outcome"]
    assert "'who knows' is no known outcome" in doubt.problem
    assert [r for r in check(folder) if r.file == "nests.csv" and r.kind == "doubt"]


def test_nests_don_t_choose_the_working_system(folder):
    # By hand: nests in zone 17, the other points in zone 18.
    put("nests.csv", HEAD + "N1,2024-06-10,38.5,-81.0,4,,,,\n")(folder)
    assert read_study(folder).crs.to_epsg() == 32618


def test_a_study_without_nests(tmp_path):
    assert read_study(good_folder(tmp_path / "study")).nests is None


def test_columns_of_other_names(folder):
    put("nests.csv", "Nr,Laid,Lat,Lon,Fate\n7,2024-06-10,38.501,-76.102,eaten\n")(folder)
    change("study.toml", 'file = "nests.csv"\n', 'file = "nests.csv"\n[nests.columns]\n'
           'occurrenceID = "Nr"\neventDate = "Laid"\ndecimalLatitude = "Lat"\n'
           'decimalLongitude = "Lon"\nnest_outcome = "Fate"\n')(folder)  # fmt: skip
    (nest,) = read_study(folder).nests.to_dict("records")
    assert (nest["occurrenceID"], nest["nest_outcome"]) == ("7", "predated")


def test_reports_say_whether_a_female_is_gravid(folder):
    text = (folder / "sightings.csv").read_text()
    lines = text.splitlines()
    put("sightings.csv", "\n".join([lines[0] + ",reproductiveCondition",
        lines[1] + ",gravid", *(line + "," for line in lines[2:])]))(folder)  # fmt: skip
    study = read_study(folder)
    assert study.sightings["reproductiveCondition"].tolist() == ["gravid"] + [""] * 5
    put("sightings.csv", text)(folder)
    plain = read_study(folder).sightings
    # A report that says more is another one to whoever decided on it; the others are the same.
    same = study.sightings["fingerprint"] == plain["fingerprint"]
    assert same.tolist() == [False] + [True] * 5


ODD = (
    "N2,2024-06-12,38.50150,76.10250,4,,,,\n"  # the minus sign is missing
    "N3,2024-06-12,138.50150,-76.10250,4,,,,\n"  # no place on Earth
    "N4,2024-06-12,41.73519,-79.31728,4,,,,\n"  # far from all others
)


@pytest.mark.parametrize("rows", [NESTS + ODD, HEAD + ODD.splitlines(keepends=True)[0] * 3])
def test_doubts_about_nests_tell_no_place(folder, rows):
    # By hand: any digits of the places, as they are written or as they may have been meant.
    put("nests.csv", rows)(folder)
    said = [r for r in check(folder) if r.file == "nests.csv"]
    about = [r for r in said if "osition" in r.problem or "longitude" in r.problem]
    assert about
    for remark in about:
        assert not re.search(r"38\.50|76\.10|138|41\.7|79\.3", remark.line()), remark.line()
