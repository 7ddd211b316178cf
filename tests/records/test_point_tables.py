"""Fixes and sightings: which rows stay, which go and why, and what is doubted."""

from __future__ import annotations

import datetime as dt

import numpy as np
import pandas as pd
import pyproj
import pytest

from roadrisk.records import schemas, words
from roadrisk.records.point_tables import place
from tests.records.reading import read_path, read_text, said, study

HEAD = (
    "organismID,eventDate,decimalLatitude,decimalLongitude,coordinateUncertaintyInMeters,method\n"
)
SIGHTING = "occurrenceID,eventDate,decimalLatitude,decimalLongitude,coordinateUncertaintyInMeters"


def sightings(tmp_path, rows, more="", **section):
    text = SIGHTING + (f",{more}" if more else "") + "\n"
    text += "".join(f"s{i},2024-05-01,38.5001,-76.1001,20,{row}\n" for i, row in enumerate(rows))
    return read_text(tmp_path, "sightings", text, **section)


def test_fixes_that_stay_and_go(tmp_path):
    # By hand.
    rows, notes = read_text(
        tmp_path,
        "fixes",
        HEAD
        + "007,2024-05-01T09:30,38.50120,-76.10010,5,homing\n"
        + "007,2024-05-01T09:30,38.50120,-76.10010,6,gps\n"  # the same again
        + "007,2024-05-01T09:31,38.50120,-76.10010,5,homing\n"
        + ",2024-05-02,38.50120,-76.10010,5,homing\n"  # no animal
        + "007,,38.50120,-76.10010,5,homing\n"  # no date
        + "007,soon,38.50120,-76.10010,5,homing\n"
        + "007,2019-05-01,38.50120,-76.10010,5,homing\n"  # outside the period
        + "007,2024-05-04,38.50120,-76.10010,,homing\n"
        + "007,2024-05-05,38.50120,-76.10010,0,homing\n"
        + "007,2024-05-06,38.50120,-76.10010,some,homing\n",
        default_uncertainty_m=12.5,
    )
    assert rows["source_row"].tolist() == [2, 4, 9, 10, 11]
    assert rows["coordinateUncertaintyInMeters"].tolist() == [5, 5, 12.5, 12.5, 12.5]
    assert {r.row: r.problem for r in said(notes, "left out")} == {
        3: "the same animal, time and place as an earlier row",
        5: "no organismID",
        6: "no date",
        7: "date 'soon' can't be read",
        8: "date '2019-05-01' lies outside the study period 2023-01-01 to 2025-12-31",
    }
    assert {r.row for r in said(notes, "doubt")} == {5, 7, 8, 9}
    (doubt,) = said(notes, "doubt", "uncertainty")
    assert "3 of 10 rows" in doubt.problem
    assert "12.5 m" in doubt.problem


def test_what_is_larger_than_it_can_be_is_doubted(tmp_path):
    """Half the way round the Earth is 20 004 km (WGS 84 meridian); 1e308 stopped a run once."""
    text = f"{SIGHTING},length_mm\n" + "".join(
        f"s{far},2024-05-01,38.5001,-76.1001,{far},{length}\n"
        for far, length in (("1e308", "1e300"), ("20000000", "100000"))
    )
    rows, notes = read_text(tmp_path, "sightings", text)
    assert rows["coordinateUncertaintyInMeters"].tolist() == [2e7, 2e7]
    (doubt,) = said(notes, "doubt", "uncertainty")
    assert (doubt.row, "20000 km" in doubt.problem) == (2, True)
    assert rows["length_mm"].fillna(0).tolist() == [0, 1e5]


def test_the_period_is_counted_in_local_days(tmp_path):
    # By hand: 04:30 UTC on 1 January is still 31 December in New York.
    text = "eventDate,decimalLatitude,decimalLongitude\n" + "".join(
        f"{d},38.5001,-76.1001\n"
        for d in (
            "2023-01-01T00:00", "2023-01-01T04:30Z", "2025-12-31T23:59", "2026-01-01T04:30Z",
            "2026-01-01",
        )
    )  # fmt: skip
    rows, _ = read_text(tmp_path, "sightings", text)
    assert rows["source_row"].tolist() == [2, 4, 5]


def test_the_future_is_left_out(tmp_path):
    later = dt.date.today() + dt.timedelta(days=3)  # noqa: DTZ011
    path = tmp_path / "t.csv"
    path.write_text(
        "eventDate,decimalLatitude,decimalLongitude\n"
        f"2024-05-01,38.5001,-76.1001\n{later},38.5001,-76.1001\n"
    )
    rows, notes = read_path(path, "sightings", about=study(end=later + dt.timedelta(days=30)))
    assert rows["source_row"].tolist() == [2]
    assert "in the future" in said(notes, "left out")[0].problem
    assert "in the future" in said(notes, "doubt", "future")[0].problem


def test_sightings_without_ids_get_file_and_row(tmp_path):
    text = SIGHTING + "\n,2024-05-01,38.5001,-76.1001,20\nA,2024-05-01,38.5001,-76.1001,20\n"
    rows, notes = read_text(tmp_path, "sightings", text, name="reports.csv")
    assert rows["occurrenceID"].tolist() == ["reports-2", "A"]
    assert len(said(notes, "doubt", "1 of 2 rows have no occurrenceID")) == 1


@pytest.mark.parametrize(
    ("word", "value"),
    [
        ("alive", "alive"), ("Live", "alive"), ("DOR", "dead"), ("Found dead", "dead"),
        ("killed", "dead"), ("D.O.R", None), ("dead.", "dead"), ("mixedLot", "mixedLot"),
        ("?", "uncertain"), ("", "notAssessed"), ("notAssessed", "notAssessed"), ("flat", None),
    ],
)  # fmt: skip
def test_vitality_words(tmp_path, word, value):
    # By hand; Darwin Core's recommended values for the term vitality.
    rows, notes = sightings(tmp_path, [word, "alive"], "vitality")
    assert rows["vitality"].iloc[0] == (value or "notAssessed")
    assert len(said(notes, "doubt", "no known vitality")) == (value is None)


def test_unknown_vitality_is_one_doubt_a_word(tmp_path):
    _, notes = sightings(tmp_path, ["flat", "flat", "{rows} {0}", "dead"], "vitality")
    doubts = said(notes, "doubt", "no known vitality")
    assert sorted(r.problem for r in doubts) == [
        "'flat' is no known vitality; 2 of 4 rows were taken as notAssessed.",
        "'{rows} {0}' is no known vitality; 1 of 4 rows were taken as notAssessed.",
    ]


def test_absences_are_no_animals(tmp_path):
    rows, notes = sightings(
        tmp_path,
        ["present", "absent", "notDetected", "Detected", "", "perhaps"],
        "occurrenceStatus",
    )
    assert rows["occurrenceID"].tolist() == ["s0", "s3", "s4", "s5"]
    assert len(said(notes, "left out", "nothing was there")) == 2
    assert [r.row for r in said(notes, "doubt", "perhaps")] == [7]


@pytest.mark.parametrize(
    ("name", "other"),
    [
        ("Terrapene carolina", False),
        ("terrapene carolina", False),
        ("Terrapene carolina carolina (Linnaeus, 1758)", False),
        ("Terrapene_carolina", False),
        ("T. carolina", False),
        ("Terrapene", False),
        ("Terrapene sp.", False),
        ("Terrapene carolina?", False),
        ("Terrapene ornata?", True),
        ("Terrapene Merrem, 1820", False),
        ("", False),
        ("Box turtle", False),
        ("eastern box turtle", False),
        ("turtle", False),
        ("Terrapene ornata", True),
        ("Chrysemys picta", True),
        ("Chelydra serpentina", True),
        ("Trachemys scripta elegans", True),
        ("Painted turtle", False),
    ],
)
def test_species_names(tmp_path, name, other):
    # By hand.
    assert words.other_species(name, "Terrapene carolina", "box turtle") is other
    rows, notes = sightings(tmp_path, [f'"{name}"', "Terrapene carolina"], "scientificName")
    assert len(rows) == 2 - other
    assert len(said(notes, "left out", "another species")) == other
    assert len(said(notes, "doubt", "not the study's species")) == other


def test_sex_and_texts(tmp_path):
    rows, _ = sightings(
        tmp_path,
        ["F,ann,walking,http://x", "♂,,,", "juvenile,,,"],
        "sex,recordedBy,behavior,associatedMedia",
    )
    assert rows["sex"].tolist() == ["female", "male", "juvenile"]
    assert rows["recordedBy"].tolist() == ["ann", "", ""]
    assert rows["associatedMedia"].iloc[0] == "http://x"


@pytest.mark.parametrize(
    "name", ["3-Apr", "Apr-03", "2025-03-04", "2025-03-04 00:00:00", "1.20E+05"]
)
def test_ids_that_a_spreadsheet_spoiled(tmp_path, name):
    rows, notes = read_text(
        tmp_path, "fixes", HEAD + f"{name},2024-05-01,38.5001,-76.1001,5,gps\n" * 2
    )
    assert rows["organismID"].tolist() == [name]
    (doubt,) = said(notes, "doubt", "spreadsheet")
    assert (doubt.row, doubt.column) == (2, "organismID")
    assert "as text" in doubt.mend


@pytest.mark.parametrize("name", ["007", "A-3", "3-A", "12", "E12", "2025-A", "1E", "May"])
def test_ids_that_are_sound(tmp_path, name):
    _, notes = read_text(tmp_path, "fixes", HEAD + f"{name},2024-05-01,38.5001,-76.1001,5,gps\n")
    assert not notes.remarks


def test_columns_by_any_case_and_mapping(tmp_path):
    text = "Tier,EVENTDATE, decimallatitude ,decimalLongitude\n7,2024-05-01,38.5001,-76.1001\n"
    rows, notes = read_text(tmp_path, "fixes", text, columns={"organismID": "tier"})
    assert rows["organismID"].tolist() == ["7"]
    assert not said(notes, "error")


def test_placing_in_the_working_system(tmp_path):
    # Outside: pyproj. A row by route has an empty point.
    text = (
        "organismID,eventDate,decimalLatitude,decimalLongitude,route,route_measure\n"
        "1,2024-05-01,38.5001,-76.1001,,\n2,2024-05-01,,,R12,3.5\n"
    )
    rows, _ = read_text(tmp_path, "fixes", text)
    crs = pyproj.CRS.from_epsg(32618)
    table, lost = place("fixes", [rows], crs)
    turn = pyproj.Transformer.from_crs("EPSG:4326", crs, always_xy=True)
    x, y = turn.transform(-76.1001, 38.5001)
    assert (table.geometry.x.iloc[0], table.geometry.y.iloc[0]) == pytest.approx((x, y), abs=1e-6)
    assert table.geometry.iloc[1].is_empty
    assert not lost.any()
    assert list(table.columns) == list(schemas.FIXES.columns)
    assert table.crs == crs
    assert str(table["time"].dtype) == "datetime64[ns, UTC]"


def test_empty_tables_have_all_columns():
    crs = pyproj.CRS.from_epsg(32618)
    for kind, schema in (("fixes", schemas.FIXES), ("sightings", schemas.SIGHTINGS)):
        table, lost = place(kind, [], crs)
        assert len(table) == len(lost) == 0
        assert list(table.columns) == list(schema.columns)
        assert table.crs == crs


def test_many_rows_at_once(tmp_path):
    # A known truth: 20,000 rows with 5 % of each kind of dirt; the counts come out.
    n = 20_000
    rng = np.random.default_rng(4)
    frame = pd.DataFrame(
        {
            "occurrenceID": [f"r{i}" for i in range(n)],
            "eventDate": "2024-05-01",
            "decimalLatitude": np.round(rng.uniform(38.4, 38.6, n), 5).astype(str),
            "decimalLongitude": np.round(rng.uniform(-76.2, -76.0, n), 5).astype(str),
        }
    )
    kind = rng.permutation(n) % 20
    frame.loc[kind == 0, "decimalLatitude"] = ""
    frame.loc[kind == 1, ["decimalLatitude", "decimalLongitude"]] = "0"
    frame.loc[kind == 2, "eventDate"] = "1924-05-01"
    swap = kind == 3
    frame.loc[swap, ["decimalLatitude", "decimalLongitude"]] = frame.loc[
        swap, ["decimalLongitude", "decimalLatitude"]
    ].to_numpy()
    path = tmp_path / "t.csv"
    frame.to_csv(path, index=False)
    rows, notes = read_path(path, "sightings")
    assert rows["occurrenceID"].tolist() == frame.loc[kind > 3, "occurrenceID"].tolist()
    left = pd.Series([r.problem for r in said(notes, "left out")]).str.slice(0, 8)
    assert left.value_counts().tolist() == [1000] * 4
    # Doubts on rows stop at twenty and then count.
    assert len(said(notes, "doubt", "exchanged")) == 21
