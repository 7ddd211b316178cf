"""Trials with placed carcasses as they are written: by hand."""

from __future__ import annotations

import numpy as np
import pytest

from roadrisk.records.raw_table import Notes
from roadrisk.records.study_folder import read_study
from roadrisk.records.table_files import read_raw
from roadrisk.records.trial_tables import read_trials
from roadrisk.table_settings import TrialsSection
from tests.hostile.broken_folders import change, good_folder, put
from tests.records.reading import said, study

HEAD = (
    "trialID,trial,samplingProtocol,size_class,look,carcasses,found,"
    "eventDate,last_seen,first_gone\n"
)


def trials(tmp_path, text, name="trials.csv", **section):
    path = tmp_path / name
    path.write_text(text, encoding="utf-8")
    notes = Notes(name)
    part = TrialsSection(file=(name,), **section)
    return read_trials(read_raw(path, name, part, notes), part, study(), notes), notes


def test_three_kinds_of_trials(tmp_path):
    # By hand: a batch and a single carcass, a second look, days from dates, still there, a width.
    rows, notes = trials(
        tmp_path,
        HEAD + "a,detection,walking,adult,,20,14,,,\nb,,car,,2,,no,,,\n"
        "c,persistence,,,,,,2024-05-01,2024-05-03,2024-05-06\nd,,,,,,,2024-05-01,2024-05-15,\n"
        "e,removal,,,,,,2024-05-01,,2024-05-02\nf,width,,,,30,24,,,\n",
    )
    assert not notes.remarks
    assert rows["trial"].tolist() == [
        "detection", "detection", "persistence", "persistence", "persistence", "width",
    ]  # fmt: skip
    assert rows["samplingProtocol"].tolist()[:2] == ["walk", "car"]
    assert rows["size"].tolist()[:2] == ["large", ""]
    assert rows["look"].tolist()[:2] == [1, 2]
    assert rows["found"].tolist()[:2] == [14, 0]
    assert rows["last_seen_days"].tolist()[2:5] == [2, 14, 0]
    np.testing.assert_array_equal(rows["first_gone_days"].to_numpy()[2:5], [5, np.nan, 1])


def test_size_by_length_and_days_as_numbers(tmp_path):
    rows, _ = trials(
        tmp_path, "trial,samplingProtocol,length_mm,found\ndetection,car,60,1\n"
        "detection,car,140,0\ndetection,car,,0\n", small_below_mm=80,
    )  # fmt: skip
    assert rows["size"].tolist() == ["small", "large", ""]
    rows, _ = trials(tmp_path, "trialID,last_seen_days,first_gone_days\na,0,1.5\nb,14,\n")
    assert rows["trial"].tolist() == ["persistence"] * 2
    assert rows["last_seen_days"].tolist() == [0, 14]


@pytest.mark.parametrize(
    ("row", "column", "words"),
    [
        ("a,catapult,walk,,,,1,,,", "trial", "no kind of trial"),
        ("a,detection,,,,,1,,,", "samplingProtocol", "how it was searched"),
        ("a,detection,walk,,,,,,,", "found", "how many were found"),
        ("a,detection,walk,,,3,4,,,", "found", "more were found"),
        ("a,detection,walk,,0,3,1,,,", "look", "whole number"),
        ("a,detection,walk,giant,,3,1,,,", "size_class", "no size class"),
        ("a,detection,walk,,,3,some,,,", "found", "no number of carcasses"),
        ("a,persistence,,,,,,2024-05-01,,", "last_seen", "neither when"),
        ("a,persistence,,,,,,2024-05-04,2024-05-08,2024-05-06", "first_gone", "before it was seen"),
        ("a,persistence,,,,,,,2024-05-03,2024-05-06", "eventDate", "when it was laid out"),
        ("a,persistence,,,,,,2024-05-01,soon,2024-05-06", "last_seen", "can't be read as a date"),
    ],
)  # fmt: skip
def test_bad_rows_are_errors(tmp_path, row, column, words):
    # A trial that can't be read would change every number of deaths.
    rows, notes = trials(tmp_path, HEAD + row + "\n")
    assert rows is None
    errors = said(notes, "error")
    assert {(e.row, e.column) for e in errors} >= {(2, column)}
    assert any(words in e.problem for e in errors)
    assert all(e.mend for e in errors)


def test_trials_reach_the_study(tmp_path):
    folder = good_folder(tmp_path / "s")
    change("study.toml", "[animals]", '[trials]\nfile = "trials.csv"\n\n[animals]')(folder)
    put("trials.csv", HEAD + "a,detection,walk,,,20,14,,,\n")(folder)
    assert read_study(folder).trials["found"].tolist() == [14]
