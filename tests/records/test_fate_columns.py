"""What became of tagged animals, as field sheets say it: by hand."""

from __future__ import annotations

import pandas as pd

from tests.records.reading import said
from tests.records.test_attribute_tables import animals

HEAD = "organismID,fate,fateDate,fateCause"


def test_words_dates_and_causes(tmp_path):
    rows, notes = animals(
        tmp_path,
        "A,Alive,2024-10-01,\nB,found dead,2024-06-03,Vehicle collision\nC,died,2024-07-01,fox\n"
        "D,signal lost,,\nE,,,\nF,dead,2024-08-01,\n",
        head=HEAD,
    )
    assert rows["fate"].tolist() == ["alive", "dead", "dead", "lost", "", "dead"]
    assert rows["fateCause"].tolist() == ["", "road", "other", "", "", "unknown"]
    assert rows["fate_time"].isna().tolist() == [False, False, False, True, True, False]
    # A date without a time stands for noon: 12:00 in New York in June is 16:00 UTC.
    assert rows["fate_time"].iloc[1] == pd.Timestamp("2024-06-03T16:00", tz="UTC")
    assert not notes.remarks


def test_what_is_odd_is_doubted_and_nothing_lost(tmp_path):
    rows, notes = animals(tmp_path, "A,eaten?,2024-10-01,\nB,dead,,road\nC,dead,soon,road\n", HEAD)
    assert len(rows) == 3
    assert rows["fate"].tolist() == ["", "dead", "dead"]
    assert [d.column for d in said(notes, "doubt")] == ["fate", "fateDate", "fateDate"]


def test_dates_that_need_an_order(tmp_path):
    rows, notes = animals(tmp_path, "A,dead,05/13/2024,road\n", HEAD)
    assert rows is None
    assert "only fit month-first" in notes.remarks[0].mend
    rows, notes = animals(tmp_path, "A,dead,05/13/2024,road\n", HEAD, date_order="month-first")
    assert rows["fate_time"].iloc[0] == pd.Timestamp("2024-05-13T16:00", tz="UTC")


def test_tables_without_these_columns(tmp_path):
    rows, notes = animals(tmp_path, "A,F,,,\n")
    assert rows[["fate", "fateDate", "fateCause"]].iloc[0].tolist() == ["", "", ""]
    assert rows["fate_time"].isna().all()
    assert not notes.remarks
