"""Decisions applied: what counts, and that nobody is asked twice."""

from __future__ import annotations

from datetime import UTC, datetime
from zoneinfo import ZoneInfo

import numpy as np
import openpyxl
import pandas as pd
import pyproj
import pytest
import shapely
from hypothesis import given
from hypothesis import strategies as st

from roadrisk.decisions import VERDICTS, Decisions, Entry
from roadrisk.records import schemas
from roadrisk.records.joined_tables import join_sightings
from roadrisk.records.point_tables import place, read_points
from roadrisk.records.raw_table import Notes
from roadrisk.records.report_keys import with_keys
from roadrisk.records.table_files import read_raw
from roadrisk.records.whereabouts import Whereabouts
from roadrisk.sightings.decided import apply_decisions
from roadrisk.sightings.known_again import know_again
from roadrisk.table_settings import SightingsSection
from tests.records.reading import study
from tests.sightings.made_reports import reports

AT = datetime(2025, 3, 4, 9, 30, tzinfo=UTC)
CRS = "EPSG:32634"


def decisions(*entries):
    return Decisions(
        tuple(Entry(number=n, at=AT, who="Ida Reed", **e) for n, e in enumerate(entries, 1))
    )


def verdict(key, mark, what="accept", **more):
    return {"kind": "verdict", "report_key": key, "fingerprint": mark, "verdict": what, **more}


def move(key, mark, longitude=19.4, latitude=52.2):
    return {"kind": "place", "report_key": key, "fingerprint": mark, "longitude": longitude,
            "latitude": latitude}  # fmt: skip


def states(found):
    return dict(zip(found.states["report_key"], found.states["state"], strict=True))


def test_without_decisions_nothing_changes():
    # By hand: reports pass as they are; a held one is nowhere, and no word is said.
    table = reports([(0, 0), (5, 5)])
    held = reports([(np.nan, np.nan)], held=True, occurrenceID="h")
    found = apply_decisions(table, held, Decisions(), undecided="count")
    pd.testing.assert_frame_equal(found.reports, table)
    assert found.left_out.empty
    assert found.notes == ()
    assert found.settled == frozenset()
    assert states(found) == {"r0": "undecided", "r1": "undecided", "h": "undecided"}
    assert apply_decisions(table, None, Decisions(), undecided="count").reports.equals(table)
    none = apply_decisions(table[:0], None, Decisions(), undecided="count")
    assert len(none.reports) == len(none.states) == 0


def test_each_verdict():
    # By hand: words with name, day and reason; inputs stay as they were.
    table = reports([(i, 0) for i in range(5)])
    before = table.copy(deep=True)
    said = decisions(
        verdict("r0", "f0"), verdict("r1", "f1", "ask back", reason="which lane?"),
        verdict("r2", "f2", "not sure"), verdict("r3", "f3", "reject", reason="a stone"),
    )  # fmt: skip
    found = apply_decisions(table, None, said, undecided="count")
    assert found.reports["report_key"].tolist() == ["r0", "r4"]
    assert found.reports.index.tolist() == [0, 1]
    assert found.left_out.to_dict("list") == {
        "file": ["reports.csv"] * 3,
        "row": [3, 4, 5],
        "record": ["r1", "r2", "r3"],
        "reason": [
            "asked back by Ida Reed on 2025-03-04: which lane?",
            "Ida Reed was not sure on 2025-03-04",
            "rejected by Ida Reed on 2025-03-04: a stone",
        ],
    }
    assert found.states.loc[3, "decided_at"] == "2025-03-04T09:30:00+00:00"
    assert found.states["entry"].tolist() == [1, 2, 3, 4, 0]
    assert found.notes == (
        "Reports that people decided on: 4 (1 accepted, 1 asked back, 1 not sure, 1 rejected); "
        "moved to another place: 0.",
        "Reports without a decision: 1, which count.",
    )
    pd.testing.assert_frame_equal(table, before)
    strict = apply_decisions(table, None, said, undecided="leave out")
    assert strict.reports["report_key"].tolist() == ["r0"]
    assert "nobody decided on it" in strict.left_out["reason"].iloc[-1]


def test_an_undone_verdict_and_an_undone_undo():
    # By hand.
    table = reports([(0, 0)])
    once = (verdict("r0", "f0", "reject"), {"kind": "undo", "undoes": 1})
    assert states(apply_decisions(table, None, decisions(*once), undecided="count")) == {
        "r0": "undecided"
    }
    twice = (*once, {"kind": "undo", "undoes": 2})
    assert states(apply_decisions(table, None, decisions(*twice), undecided="count")) == {
        "r0": "reject"
    }


def test_a_moved_report_is_where_it_was_put():
    # Outside: pyproj puts the place of the decision into the working system.
    table = reports([(0, 0), (7, 7)])
    said = decisions(move("r0", "f0"), move("r1", "f1"), move("r1", "f1", None, None))
    found = apply_decisions(table, None, said, undecided="count")
    turn = pyproj.Transformer.from_crs("EPSG:4326", CRS, always_xy=True)
    x, y = turn.transform(19.4, 52.2)
    assert shapely.get_coordinates(found.reports.geometry.to_numpy()) == pytest.approx(
        np.array([[x, y], [7, 7]]), abs=1e-6
    )
    assert found.reports.crs == table.crs
    assert found.states["moved"].tolist() == [True, False]
    assert found.states["longitude"].tolist()[0] == 19.4
    assert found.states["place_entry"].tolist() == [1, 3]


def test_held_reports_count_only_with_date_and_place():
    # By hand: accepted ones without a place, without a date, with one of the future and of 1850;
    # moved and accepted; with place and date; rejected; nobody's.
    day = pd.Timestamp("2024-05-10T10:00", tz="UTC")
    nowhere = (np.nan, np.nan)
    held = reports(
        [nowhere, (1, 1), (2, 2), (2, 2), nowhere, (3, 3), nowhere, nowhere],
        held=True,
        occurrenceID=[f"h{i}" for i in range(8)],
        fingerprint=[f"g{i}" for i in range(8)],
        time=[day, pd.NaT, pd.Timestamp("2031-01-01", tz="UTC"),
              pd.Timestamp("1850-01-01", tz="UTC"), day, day, day, day],
        held_because="swapped",
    )  # fmt: skip
    said = decisions(
        *(verdict(f"h{i}", f"g{i}") for i in range(6)), move("h4", "g4"),
        verdict("h6", "g6", "reject", reason="no animal"),
    )  # fmt: skip
    found = apply_decisions(reports([(0, 0)]), held, said, undecided="count")
    assert found.reports["report_key"].tolist() == ["r0", "h4", "h5"]
    schemas.SIGHTINGS.validate(found.reports)
    why = dict(zip(found.left_out["record"], found.left_out["reason"], strict=True))
    assert sorted(why) == ["h0", "h1", "h2", "h3", "h6"]
    assert why["h0"].endswith("but it has no place: move it to where it was")
    for name in ("h1", "h2", "h3"):
        assert why[name].endswith("but its date can't be used: correct it in the file")
    assert found.settled == {("reports.csv", row) for row in range(2, 9)}
    assert "Reports without a decision: 1, which count; and 1, which can't count" in found.notes[1]


def test_a_move_out_of_the_world_is_said():
    # By hand: a pole has no place in a UTM zone 90 degrees away.
    table = reports([(0, 0)])
    said = decisions(verdict("r0", "f0"), move("r0", "f0", -71.0, 0.0))
    found = apply_decisions(table, None, said, undecided="count")
    assert "can't express" in found.left_out["reason"].iloc[0]


HEAD = "occurrenceID,eventDate,decimalLatitude,decimalLongitude,vitality,recordedBy,Notes"
ROWS = [
    "A1,2024-05-01T08:00,38.5012,-76.1001,alive,Ida,by the gate",
    "A2,2024-05-02,38.5020,-76.1010,dead,Ole,",
    "A3,2024-05-03,38.5031,-76.1022,alive,,near the mill",
    "A4,2024-05-04,-76.1030,38.5041,dead,Ida,swapped",
    "A5,2024-05-05,38.5051,-76.1041,alive,Una,wet",
]
FATES = ["accept", "reject", "not sure", "accept", "ask back"]


def delivery(tmp_path, *files, **settings):
    """Read files (name, header, rows) as a study does."""
    kept, held = [], []
    for name, head, rows in files:
        path = tmp_path / name
        if path.suffix == ".xlsx":
            book = openpyxl.Workbook()
            for line in (head, *rows):
                book.active.append(line.split(","))
            book.save(path)
        else:
            path.write_text("\n".join((head, *rows)), encoding="utf-8")
        notes = Notes(name)
        section = SightingsSection(file=(name,), columns={"occurrenceRemarks": "Notes"}, **settings)
        raw = read_raw(path, name, section, notes)
        about = study()
        box = (-76.2, 38.4, -76.0, 38.6)
        found = read_points(
            "sightings", raw, section, about, Whereabouts(ZoneInfo(about.time_zone), box), notes
        )
        kept.append(found.kept.assign(is_held=False))
        held.append(found.held.assign(is_held=True))
    table = with_keys(join_sightings([*kept, *held])[0])
    out = table.pop("is_held").astype(bool)
    crs = pyproj.CRS("EPSG:32618")
    return place("sightings", [table[~out]], crs)[0], place("held", [table[out]], crs)[0]


def decided_on(sightings, held, fates):
    """Decide on reports by their remark or place, as people did on the first delivery."""
    both = pd.concat([sightings, held], ignore_index=True).sort_values("eventDate")
    entries = [
        verdict(key, mark, fate)
        for key, mark, fate in zip(both["report_key"], both["fingerprint"], fates, strict=True)
    ]
    return decisions(*entries)


def fate_by_day(tables, said):
    found = apply_decisions(*tables, said, undecided="count")
    both = pd.concat(tables, ignore_index=True)
    return dict(zip(both["eventDate"].str[:10], found.states["state"], strict=True)), found


WANTED = dict(zip([f"2024-05-0{i}" for i in range(1, 6)], FATES, strict=True))
TOP = "A0,2024-04-30,38.5001,-76.1000,alive,Una,new"


def nameless(rows):
    return [row.split(",", 1)[1] for row in rows]


DELIVERIES = {
    "the same": ("s.csv", HEAD, ROWS),
    "another name": ("reports of May (2).csv", HEAD, ROWS),
    "rows reordered": ("s.csv", HEAD, ROWS[::-1]),
    "rows added on top": ("s.csv", HEAD, [TOP, *ROWS]),
    "a workbook": ("s.xlsx", HEAD, ROWS),
    "ids renumbered": ("s.csv", HEAD, [f"B{9 - i}{r[2:]}" for i, r in enumerate(ROWS)]),
    "ids moved on by one": ("s.csv", HEAD, [f"A{i + 2}{r[2:]}" for i, r in enumerate(ROWS)]),
    "ids gone": ("s.csv", HEAD.split(",", 1)[1], nameless(ROWS)),
    "columns in another order": (
        "s.csv",
        ",".join(HEAD.split(",")[::-1]),
        [",".join(r.split(",")[::-1]) for r in ROWS],
    ),
}


@pytest.mark.parametrize("how", DELIVERIES)
def test_a_new_delivery_asks_nothing_again(tmp_path, how):
    # Recovering a truth: fates given on the first delivery come back in every other.
    said = decided_on(*delivery(tmp_path, ("s.csv", HEAD, ROWS)), FATES)
    fates, found = fate_by_day(delivery(tmp_path, DELIVERIES[how]), said)
    extra = {"2024-04-30": "undecided"} if "on top" in how else {}
    assert fates == WANTED | extra
    assert not any("something else" in note for note in found.notes)


def test_another_default_in_the_settings_asks_nothing_again(tmp_path):
    # By hand: no row gives an uncertainty; the study's default isn't what the report says.
    said = decided_on(*delivery(tmp_path, ("s.csv", HEAD, ROWS)), FATES)
    tables = delivery(tmp_path, ("s.csv", HEAD, ROWS), default_uncertainty_m=80.0)
    assert set(tables[0]["coordinateUncertaintyInMeters"]) == {80.0}
    assert fate_by_day(tables, said)[0] == WANTED


@given(data=st.data(), n=st.integers(1, 12))
def test_fates_follow_what_reports_say(data, n):
    # Property: whatever ids reports have now (their own, each other's, new ones) and in whatever
    # order they come, each has the fate that was given to what it says.
    fates = data.draw(st.lists(st.sampled_from(VERDICTS), min_size=n, max_size=n))
    said = decisions(*(verdict(f"k{i}", f"f{i}", fate) for i, fate in enumerate(fates)))
    ids = data.draw(
        st.lists(
            st.sampled_from([f"k{i}" for i in range(n)] + [f"new{i}" for i in range(n)]),
            min_size=n, max_size=n, unique=True,
        )
    )  # fmt: skip
    order = data.draw(st.permutations(range(n)))
    known = know_again(ids, [f"f{i}" for i in order], said)
    assert [e.verdict for e in known.verdicts] == [fates[i] for i in order]
    assert set(known.changed) == {None}
    assert known.unclear == ()
    assert known.waiting == 0


@pytest.mark.parametrize("how", ["rows reordered", "rows added on top", "another name", "a file"])
def test_reports_without_ids(tmp_path, how):
    # Recovering a truth: as above, where no row ever had an id, one of them stands twice, and
    # where the rows now come in two files.
    rows = nameless(ROWS)
    head = HEAD.split(",", 1)[1]
    first = [*rows, rows[2]]
    tables = delivery(tmp_path, ("s.csv", head, first))
    said = decided_on(*tables, ["accept", "reject", "not sure", "not sure", "accept", "ask back"])
    files = {
        "rows reordered": [("s.csv", head, first[::-1])],
        "rows added on top": [("s.csv", head, [TOP.split(",", 1)[1], *first])],
        "another name": [("t.csv", head, first)],
        "a file": [("a.csv", head, first[3:]), ("b.csv", head, first[:3])],
    }[how]
    fates, found = fate_by_day(delivery(tmp_path, *files), said)
    assert fates == WANTED | ({"2024-04-30": "undecided"} if "on top" in how else {})
    assert found.states["state"].tolist().count("not sure") == 2


def test_a_corrected_report_is_looked_at_again(tmp_path):
    # By hand: the remark of A2 and the place of A4 were corrected; A4 is no longer held.
    said = decided_on(*delivery(tmp_path, ("s.csv", HEAD, ROWS)), FATES)
    rows = ROWS.copy()
    rows[1] += "shell seen"
    rows[3] = "A4,2024-05-04,38.5041,-76.1030,dead,Ida,swapped"
    fates, found = fate_by_day(delivery(tmp_path, ("s.csv", HEAD, rows)), said)
    assert fates == WANTED | {"2024-05-02": "changed", "2024-05-04": "changed"}
    assert "taken as undecided: A2, A4." in found.notes[2]
    changed = found.states[found.states["state"] == "changed"]
    assert changed["decided_by"].tolist() == ["Ida Reed"] * 2
    assert {"A2", "A4"} <= set(found.reports["occurrenceID"])
    strict = apply_decisions(
        *delivery(tmp_path, ("s.csv", HEAD, rows)), said, undecided="leave out"
    )
    why = dict(zip(strict.left_out["record"], strict.left_out["reason"], strict=True))
    assert why["A2"].startswith(
        "it says something else now than when it was rejected by Ida Reed on 2025-03-04"
    )


def test_overlapping_deliveries(tmp_path):
    # By hand: the second file brings the rejected A2 again, which reading calls A2-2.
    said = decided_on(*delivery(tmp_path, ("s.csv", HEAD, ROWS)), FATES)
    tables = delivery(tmp_path, ("s.csv", HEAD, ROWS), ("t.csv", HEAD, ROWS[1:]))
    found = apply_decisions(*tables, said, undecided="count")
    assert states(found)["A2-2"] == "reject"
    assert "undecided" not in set(states(found).values())
    # A rejected repeat says nothing about the report that it repeats.
    twice = apply_decisions(
        reports([(0, 0), (0, 0)], occurrenceID=["A2", "A2-2"], fingerprint="f"), None,
        decisions(verdict("A2-2", "f", "reject")), undecided="count",
    )  # fmt: skip
    assert states(twice) == {"A2": "undecided", "A2-2": "reject"}


def test_what_can_not_be_told_is_asked_again():
    # By hand: three decisions that differ on reports that said the same; two reports under other
    # ids say it now. Where the decisions agree, both follow.
    table = reports([(0, 0), (0, 0)], fingerprint="f")
    some = [verdict("x", "f"), verdict("y", "f", "reject"), verdict("z", "f", "reject")]
    found = apply_decisions(table, None, decisions(*some), undecided="count")
    assert set(states(found).values()) == {"undecided"}
    assert "decided on differently" in found.notes[2]
    alike = apply_decisions(table, None, decisions(*some[1:], some[1]), undecided="count")
    assert set(states(alike).values()) == {"reject"}


def test_a_later_decision_under_the_new_id(tmp_path):
    # By hand: r0 was x when it was moved and accepted; rejected under its new id, it stays moved.
    table = reports([(0, 0)])
    said = decisions(verdict("x", "f0"), move("x", "f0"), verdict("r0", "f0", "reject"))
    found = apply_decisions(table, None, said, undecided="count")
    assert states(found) == {"r0": "reject"}
    assert found.states["moved"].tolist() == [True]
    back = decisions(
        verdict("x", "f0"), verdict("r0", "f0", "reject"), {"kind": "undo", "undoes": 2}
    )
    assert states(apply_decisions(table, None, back, undecided="count")) == {"r0": "accept"}


def test_pairs_follow_their_reports():
    # By hand: r0 and r1 were x and y when they were joined; r2 and r3 kept their ids.
    table = reports([(i, 0) for i in range(4)])
    said = decisions(
        {"kind": "same", "report_key": "y", "fingerprint": "f1", "other_key": "x",
         "other_fingerprint": "f0"},
        {"kind": "apart", "report_key": "r3", "fingerprint": "f3", "other_key": "r2",
         "other_fingerprint": "f2"},
        {"kind": "same", "report_key": "gone", "fingerprint": "g", "other_key": "r2"},
    )  # fmt: skip
    found = apply_decisions(table, None, said, undecided="count")
    assert found.pairs == {("r0", "r1"): True, ("r2", "r3"): False, ("gone", "r2"): True}
    assert set(states(found).values()) == {"undecided"}


def test_decisions_on_reports_that_are_gone_wait():
    # By hand.
    found = apply_decisions(
        reports([(0, 0)]), None, decisions(verdict("gone", "g", "reject")), undecided="count"
    )
    assert found.notes[-1] == (
        "Decided reports that are not in these files: 1; their decisions are kept."
    )
