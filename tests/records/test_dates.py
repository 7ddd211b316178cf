"""Dates: what is read, what is asked, and the hours that clocks skip or repeat."""

from __future__ import annotations

import datetime as dt
from zoneinfo import ZoneInfo

import pandas as pd
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from roadrisk.records.dates import only_order, read_dates
from tests.records.reading import read_text, said

ZONE = ZoneInfo("America/New_York")


def one(text, order=None):
    found = read_dates(pd.Series([text]), ZONE, order)
    time = found.time.iloc[0]
    return None if pd.isna(time) else time.isoformat().removesuffix("+00:00"), found


@pytest.mark.parametrize(
    ("text", "utc", "known"),
    [
        ("2025-03-04", "2025-03-04T17:00:00", False),  # noon, 5 hours behind
        ("2025-07-04", "2025-07-04T16:00:00", False),  # noon, summer time
        ("20250304", "2025-03-04T17:00:00", False),
        ("2025/03/04", "2025-03-04T17:00:00", False),
        ("2025-03-04T10:00", "2025-03-04T15:00:00", True),
        ("2025-03-04 10:00:30", "2025-03-04T15:00:30", True),
        ("2025-03-04T10:00:00Z", "2025-03-04T10:00:00", True),
        ("2025-03-04T10:00:00+02:00", "2025-03-04T08:00:00", True),
        ("2025-03-04T10:00:00-0530", "2025-03-04T15:30:00", True),
        ("2025/03/04 10:00:00+00", "2025-03-04T10:00:00", True),
        ("2025-03-04T10:00:00.250", "2025-03-04T15:00:00.250000", True),
        ("2025-03-04 9:05 PM", "2025-03-05T02:05:00", True),
        ("2025-03-04 12:30 a.m.", "2025-03-04T05:30:00", True),
        ("4 Mar 2025", "2025-03-04T17:00:00", False),
        ("04-Mar-2025 10:00", "2025-03-04T15:00:00", True),
        ("March 4th, 2025", "2025-03-04T17:00:00", False),
    ],
)
def test_dates_that_need_no_order(text, utc, known):
    # By hand; New York is 5 hours behind UTC, 4 in summer.
    time, found = one(text)
    assert time == utc
    assert found.time_known.tolist() == [known]
    assert not found.ordered.any()


@pytest.mark.parametrize(
    "text",
    ["", "2025", "2025-03", "2025-13-01", "2025-02-30", "2025-03-04T25:00", "yesterday", "45720",
     "2025-03-04T10:60", "2025-03-04 13:00 PM", "4 Mur 2025", "2025-03-04/2025-03-06",
     "0001-01-01", "9999-12-31"],
)  # fmt: skip
def test_what_is_no_date(text):
    assert one(text)[0] is None


@pytest.mark.parametrize(
    ("text", "order", "day"),
    [
        ("03/04/2025", "day-first", "2025-04-03"),
        ("03/04/2025", "month-first", "2025-03-04"),
        ("3.4.2025", "day-first", "2025-04-03"),
        ("25/03/04", "year-first", "2025-03-04"),
        ("03/04/25", "day-first", "2025-04-03"),
        ("03/04/70", "day-first", "1970-04-03"),
        ("03/04/2025 10:00", "month-first", "2025-03-04"),
    ],
)
def test_dates_in_a_stated_order(text, order, day):
    # By hand.
    time, found = one(text, order)
    assert time.startswith(day)
    assert found.ordered.all()


def test_order_is_never_guessed():
    for text in ("03/04/2025", "25/04/2025", "04/25/2025"):
        time, found = one(text)
        assert time is None
        assert found.ordered.all()
    assert one("25/04/2025", "month-first")[0] is None
    assert only_order(pd.Series(["03/04/2025", "25/04/2025"])) == "day-first"
    assert only_order(pd.Series(["03/04/2025", "04/25/2025"])) == "month-first"
    assert only_order(pd.Series(["03/04/2025"])) == "both"
    assert only_order(pd.Series(["13/04/2025", "04/25/2025"])) == "neither"


def test_clocks_that_go_back_and_forward():
    # By hand: on 2 November 2025 New York shows 01:30 twice, first with -04:00; on 9 March
    # 2025 it never shows 02:30.
    time, found = one("2025-11-02T01:30")
    assert (time, found.twice.tolist()) == ("2025-11-02T05:30:00", [True])
    assert one("2025-11-02T01:30-05:00")[1].twice.tolist() == [False]
    time, found = one("2025-03-09T02:30")
    assert (time, found.never.tolist()) == ("2025-03-09T07:00:00", [True])
    assert one("2025-03-09")[1].never.tolist() == [False]


@given(
    st.datetimes(dt.datetime(1970, 1, 1), dt.datetime(2037, 1, 1)),  # noqa: DTZ001
    st.sampled_from(["America/New_York", "Europe/Dublin", "Australia/Lord_Howe", "Asia/Kolkata"]),
)
@settings(max_examples=200, deadline=None)
def test_local_times_against_the_standard_library(local, name):
    # Outside: zoneinfo with fold = 0 (the first of two).
    zone = ZoneInfo(name)
    local = local.replace(microsecond=0, fold=0)
    expected = local.replace(tzinfo=zone).astimezone(dt.UTC)
    skipped = expected.astimezone(zone).replace(tzinfo=None) != local
    found = read_dates(pd.Series([local.isoformat()]), zone, None)
    assert found.never.tolist() == [skipped]
    if not skipped:
        assert found.time.iloc[0].to_pydatetime() == expected


def test_a_table_of_slashed_dates_is_one_error(tmp_path):
    text = "eventDate,decimalLatitude,decimalLongitude\n" + "".join(
        f"{d},38.5{i:02d},-76.1001\n"
        for i, d in enumerate(["2024-05-01", "25/04/2024", "03/04/2024"])
    )
    rows, notes = read_text(tmp_path, "sightings", text)
    assert rows is None
    (error,) = said(notes, "error")
    assert (error.row, error.column) == (3, "eventDate")
    assert "'25/04/2024'" in error.problem
    assert "2 of 3 rows" in error.problem
    assert 'date_order = "day-first"' in error.mend
    assert "only fit day-first" in error.mend
    rows, notes = read_text(tmp_path, "sightings", text, date_order="day-first")
    assert rows["time"].dt.strftime("%Y-%m-%d").tolist() == [
        "2024-05-01",
        "2024-04-25",
        "2024-04-03",
    ]


def test_clock_doubts_are_counted_once_a_file(tmp_path):
    text = "eventDate,decimalLatitude,decimalLongitude\n" + "".join(
        f"{d},38.5001,-76.1001\n"
        for d in ("2025-11-02T01:30", "2025-11-02T01:40", "2025-03-09T02:10", "2025-03-10T02:10")
    )
    rows, notes = read_text(tmp_path, "sightings", text)
    assert len(rows) == 4
    assert "2 of 4 rows" in said(notes, "doubt", "twice")[0].problem
    assert "1 of 4 rows" in said(notes, "doubt", "skip")[0].problem
