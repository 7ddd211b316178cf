"""Surveys for carcasses as they are written: by hand."""

from __future__ import annotations

import pandas as pd
import pytest

from roadrisk.records.raw_table import Notes
from roadrisk.records.study_folder import gather, read_study
from roadrisk.records.survey_tables import read_surveys
from roadrisk.table_settings import SurveysSection
from tests.hostile.broken_folders import SIGHTINGS, change, good_folder, put
from tests.records.reading import said, study

HEAD = "eventID,eventDate,samplingProtocol,route,samplingEffort,observers,individualCount\n"


def surveys(tmp_path, text, name="surveys.csv", **section):
    path = tmp_path / name
    path.write_text(text, encoding="utf-8")
    notes = Notes(name)
    return read_surveys(path, name, SurveysSection(file=(name,), **section), study(), notes), notes


def test_what_a_survey_says(tmp_path):
    # By hand: words of protocols, effort in passes and in hours, an interval of time, a zero.
    rows, notes = surveys(
        tmp_path,
        HEAD + "S1,2024-05-01T08:00/2024-05-01T09:30,on foot,Mill Road,1.5 h,2,0\n"
        "S2,2024-05-03,Driving,Mill Road | Ford Lane,2 passes,,1\nS3,2024-05-04,Horse,R1,,1,\n",
        searched_width_m=12.0,
    )
    assert not notes.remarks
    assert rows["samplingProtocol"].tolist() == ["walk", "car", "horse"]
    assert rows["amount"].tolist() == [1, 2, 1]
    assert rows["hours"].iloc[0] == 1.5
    assert rows["hours"].isna().tolist() == [False, True, True]
    assert rows["time"].iloc[0] == pd.Timestamp("2024-05-01T12:00Z")
    assert rows["individualCount"].tolist()[:2] == [0, 1]
    assert (rows["searched_width_m"] == 12).all()
    assert rows["placed_by"].tolist() == ["route"] * 3


def test_surveys_that_were_not_done_or_lie_outside_are_left_out(tmp_path):
    rows, notes = surveys(
        tmp_path, HEAD + "S1,2024-05-01,walk,R1,0,,\nS2,2019-05-01,walk,R1,,,\n"
        "S3,2024-05-02,walk,R1,,,\n",
    )  # fmt: skip
    assert rows["eventID"].tolist() == ["S3"]
    assert len(said(notes, "left out")) == 2


@pytest.mark.parametrize(
    ("row", "column", "words"),
    [
        (",2024-05-01,walk,R1,,,", "eventID", "has no ID"),
        ("S1,,walk,R1,,,", "eventDate", "can't be read as a date"),
        ("S1,2024-05-01,,R1,,,", "samplingProtocol", "how it was done"),
        ("S1,2024-05-01,walk,,,,", "", "which road"),
        ("S1,2024-05-01,walk,R1,often,,", "samplingEffort", "no effort"),
        ("S1,2024-05-01,walk,R1,,two,", "observers", "no such number"),
        ("S1,2024-05-01,walk,R1,,,-1", "individualCount", "no such number"),
    ],
)
def test_bad_rows_are_errors(tmp_path, row, column, words):
    # A survey that can't be read would change how many deaths a carcass stands for.
    rows, notes = surveys(tmp_path, HEAD + row + "\n")
    assert rows is None
    (error,) = said(notes, "error")
    assert (error.row, error.column) == (2, column)
    assert words in error.problem
    assert error.mend


def folder_with(tmp_path, rows, sightings=""):
    folder = good_folder(tmp_path / "s")
    change("study.toml", "[animals]", '[surveys]\nfile = "surveys.csv"\n\n[animals]')(folder)
    put("surveys.csv", HEAD + rows)(folder)
    if sightings:
        first, *rest = SIGHTINGS.splitlines()
        text = [first + ",eventID", *(line + "," for line in rest)]
        put("sightings.csv", "\n".join(text) + "\n" + sightings)(folder)
    return folder


def test_one_survey_of_two_roads_and_the_same_row_twice(tmp_path):
    folder = folder_with(tmp_path, "S1,2024-05-01,walk,R12,,,\nS1,2024-05-01,walk,Mill Road,,,\n")
    assert read_study(folder).surveys["eventID"].tolist() == ["S1", "S1"]
    put("surveys.csv", HEAD + "S1,2024-05-01,walk,R12,,,\nS1,2024-05-01,walk,R12,,,\n"
        "S2,2024-05-01,walk,R12,,,\nS2,2024-05-02,walk,R13,,,\n")(folder)  # fmt: skip
    errors = [r for r in gather(folder, build_roads=False).remarks if r.kind == "error"]
    assert [(r.row, "earlier row" in r.problem) for r in errors] == [(3, True), (5, True)]


def test_carcasses_are_held_against_their_surveys(tmp_path):
    # By hand: one sighting names an unknown survey, one another day's, and a count is wrong.
    first = SIGHTINGS.splitlines()[0].split(",")

    def row(number, day, event):
        said = {"occurrenceID": number, "eventDate": day, "decimalLatitude": "38.5004",
                "decimalLongitude": "-76.1004", "vitality": "dead"}  # fmt: skip
        return ",".join([*(said.get(c, "") for c in first), event]) + "\n"

    folder = folder_with(
        tmp_path,
        "S1,2024-05-01,walk,R12,,,2\nS2,2024-05-03,walk,R12,,,1\n",
        row("c1", "2024-05-01", "S1")
        + row("c2", "2024-05-04", "S2")
        + row("c3", "2024-05-01", "X"),
    )
    read = read_study(folder)
    assert read.sightings["eventID"].tolist()[-3:] == ["S1", "S2", "X"]
    doubts = [r.problem for r in read.remarks if r.kind == "doubt" and "survey" in r.problem]
    assert len(doubts) == 3
    assert "no survey 'X'" in doubts[0]
    assert "another day, 2024-05-03" in doubts[1]
    assert "says 2 carcasses" in doubts[2]


def test_reports_that_name_surveys_without_a_table_of_them(tmp_path):
    folder = good_folder(tmp_path / "s")
    text = SIGHTINGS.splitlines()
    put("sightings.csv", "\n".join([text[0] + ",eventID", *(t + ",S1" for t in text[1:])]) + "\n")(
        folder
    )
    doubts = [r.problem for r in gather(folder, build_roads=False).remarks if r.kind == "doubt"]
    assert any("no table of surveys" in p for p in doubts)
