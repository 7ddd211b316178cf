"""The history and conflicts as tables."""

from __future__ import annotations

import io
from datetime import UTC, datetime, timedelta

import pandas as pd

from roadrisk.decisions import Decisions, Entry
from roadrisk.records.review_sheet_in import SheetRow
from roadrisk.reporting.csv_text import csv_bytes
from roadrisk.reporting.decision_tables import (
    CONFLICT_COLUMNS,
    LOG_COLUMNS,
    conflict_line,
    conflicts_table,
    log_table,
)
from roadrisk.sightings.merging import Conflict

AT = datetime(2025, 3, 4, 9, 30, tzinfo=UTC)
FORMULA = "=cmd|' /C calc'!A0"


def history(*entries):
    return Decisions(
        tuple(
            Entry(number=n, at=AT + timedelta(minutes=n), **{"who": "Ida", **e})
            for n, e in enumerate(entries, 1)
        )
    )


def verdict(key="a", what="accept", **more):
    return {"kind": "verdict", "report_key": key, "fingerprint": "f", "verdict": what, **more}


def test_the_whole_history():
    # By hand: an entry taken back, an undo taken back, one replaced by a later one, a pair.
    table = log_table(
        history(
            verdict(reason="clear"),
            verdict(what="reject", who="Ole", source="ole.xlsx"),
            {"kind": "undo", "undoes": 2, "who": "Una"},
            {"kind": "undo", "undoes": 3},
            verdict("b"),
            {"kind": "undo", "undoes": 5, "who": "Una"},
            {"kind": "place", "report_key": "b", "fingerprint": "f", "longitude": 19.4,
             "latitude": 52.2},
            {"kind": "same", "report_key": "b", "fingerprint": "f", "other_key": "a"},
            {"kind": "apart", "report_key": "a", "fingerprint": "f", "other_key": "b"},
        )
    )  # fmt: skip
    assert tuple(table.columns) == LOG_COLUMNS
    assert table["what"].tolist() == [
        "accept", "reject", "takes back entry 2", "takes back entry 3", "accept",
        "takes back entry 5", "moved", "same animal as the other report",
        "not the same animal as the other report",
    ]  # fmt: skip
    assert table["report"].tolist() == ["a", "a", "a", "a", "b", "b", "b", "b", "a"]
    assert table["stands"].tolist() == ["", "yes", "", "", "", "", "yes", "", "yes"]
    assert table["at_utc"].iloc[0] == "2025-03-04T09:31:00Z"
    assert table["taken_back_by"].tolist() == [
        "", "", "4: Ida, 2025-03-04T09:34:00Z", "", "6: Una, 2025-03-04T09:36:00Z", "", "", "", "",
    ]  # fmt: skip
    assert table["source"].tolist()[:2] == ["page", "ole.xlsx"]


def test_an_empty_history_is_a_table_too():
    table = log_table(Decisions())
    assert tuple(table.columns) == LOG_COLUMNS
    assert len(table) == 0


def test_hostile_text_in_a_log():
    # By hand; outside: pandas reads the CSV back. Every such cell has its apostrophe.
    table = log_table(history(verdict(FORMULA, reason="@x", who="+1+1"), verdict("-2+3\tx")))
    back = pd.read_csv(io.BytesIO(csv_bytes(table)), dtype=str, keep_default_na=False)
    assert back["report"].tolist() == [f"'{FORMULA}", "'-2+3 x"]
    assert back.loc[0, ["reason", "who"]].tolist() == ["'@x", "'+1+1"]


def conflict(**more):
    brought = {"row": 5, "name": "R-02", "report_key": "R-02", "fingerprint": "f",
               "verdict": "reject", "reason": FORMULA, "latitude": None, "longitude": None,
               "same": (), "apart": (("R-03", "g"),)}  # fmt: skip
    against = history(
        verdict("R-02", who="Una", reason="seen"),
        {"kind": "same", "report_key": "R-02", "fingerprint": "f", "other_key": "R-03",
         "who": "Ole", "source": "ole.xlsx"},
    )  # fmt: skip
    return Conflict(SheetRow(**brought | more), "Ida", against.history)


def test_both_sides_of_a_conflict():
    # By hand.
    table = conflicts_table([("ida.xlsx", conflict())])
    assert tuple(table.columns) == CONFLICT_COLUMNS
    row = table.iloc[0].to_dict()
    assert (row["file"], row["row"], row["report"], row["who"]) == ("ida.xlsx", 5, "R-02", "Ida")
    assert (row["verdict"], row["against_verdict"]) == ("reject", "accept")
    assert row["animals"] == "not the same animal as R-03"
    assert row["against_animals"] == "same animal as R-03"
    assert row["against_who"] == "Una; Ole"
    assert row["against_source"] == "page; ole.xlsx"
    assert "--take" in row["how_to_settle"]
    assert conflicts_table([]).empty
    line = conflict_line("ida.xlsx", conflict(reason="a stone"))
    assert line == (
        "ida.xlsx, row 5, report R-02: Ida says reject, a stone, not the same animal as R-03; "
        "Una; Ole said accept, seen, same animal as R-03 on 2025-03-04"
    )
    moved = conflict_line("i", conflict(verdict="", reason="", apart=(), latitude=1.0, longitude=2))
    assert "Ida says another place (moved)" in moved
