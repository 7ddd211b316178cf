"""Decisions in the study folder: nothing confirmed is lost, nothing written is changed."""

from __future__ import annotations

import os
import random
import shutil
import signal
import sqlite3
import subprocess
import sys
import tempfile
import time
from contextlib import closing, contextmanager
from datetime import UTC, datetime
from pathlib import Path

import pytest

from roadrisk.decisions import Draft, decisions_of
from roadrisk.errors import InputError, RoadriskError
from roadrisk.records import decision_file
from roadrisk.records.decision_store import DecisionStore, StaleError, read_decisions

KEEPS_APPENDING = """
import sys
from pathlib import Path
from roadrisk.decisions import Draft
from roadrisk.records.decision_store import DecisionStore
store, name, most = DecisionStore(Path(sys.argv[1])), sys.argv[2], int(sys.argv[3])
print("ready", flush=True)
for k in range(most):
    drafts = [Draft("verdict", f"{name}-{k}", "f", verdict="accept", reason="half"),
              Draft("verdict", f"{name}-{k}", "f", verdict="reject", reason="whole")]
    print(store.append(drafts, who=name)[-1].number, flush=True)
"""


def accept(key="a", mark="f", **more):
    return Draft("verdict", key, mark, verdict="accept", **more)


def child(folder, name, most, **more):
    return subprocess.Popen(
        [sys.executable, "-c", KEEPS_APPENDING, str(folder), name, str(most)],
        stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, **more,
    )  # fmt: skip


def spoken(folder):
    with closing(sqlite3.connect(folder / "decisions.sqlite")) as link:
        return link.execute("PRAGMA integrity_check").fetchone()[0]


def test_what_is_written_is_read(tmp_path):
    # By hand: numbers run, every field comes back, and no file is made by reading.
    store = DecisionStore(tmp_path)
    assert store.history() == ()
    assert read_decisions(tmp_path)[1:] == ((), ())
    assert list(tmp_path.iterdir()) == []
    before = datetime.now(UTC)
    first = store.append(
        [accept("a", "f1", reason="clear photo"), Draft("place", "a", "f1", longitude=19.4,
         latitude=52.2)], who="  Ida Reed ",
    )  # fmt: skip
    second = store.append(
        [Draft("same", "a", "f1", other_key="b", other_fingerprint="f2")],
        who="Ole Fen", source="ole.xlsx",
    )  # fmt: skip
    third = store.append([Draft("undo", undoes=1)], who="Ole Fen")
    history = store.history()
    assert history == (*first, *second, *third)
    assert [e.number for e in history] == [1, 2, 3, 4]
    assert {e.who for e in first} == {"Ida Reed"}
    assert (history[1].longitude, history[1].latitude) == (19.4, 52.2)
    assert (history[2].other_key, history[2].other_fingerprint) == ("b", "f2")
    assert history[2].source == "ole.xlsx"
    assert before <= history[0].at <= history[3].at <= datetime.now(UTC)
    assert history[0].at.utcoffset().total_seconds() == 0
    assert store.history(after=3) == third
    standing = decisions_of(history).standing["a"]
    assert standing.verdict is None
    assert standing.place is not None
    assert sorted(p.name for p in tmp_path.iterdir()) == ["decisions.sqlite"]


def test_the_file_is_as_it_is_said_to_be(tmp_path):
    # Outside: SQLite's own pragmas. FULL is 2; a second connection sees the log's mode.
    DecisionStore(tmp_path).append([accept()], who="Ida")
    with closing(sqlite3.connect(tmp_path / "decisions.sqlite")) as link:
        assert link.execute("PRAGMA journal_mode").fetchone() == ("wal",)
        assert link.execute("PRAGMA user_version").fetchone() == (decision_file.VERSION,)
        assert link.execute("PRAGMA integrity_check").fetchone() == ("ok",)


def test_every_append_waits_for_the_disk(tmp_path, monkeypatch):
    # By hand: what the connection was told, read back from it at the moment of writing.
    seen = []
    real = decision_file.lay_out

    def spy(link, name):
        seen.append(link.execute("PRAGMA synchronous").fetchone()[0])
        seen.append(link.execute("PRAGMA busy_timeout").fetchone()[0])
        real(link, name)

    monkeypatch.setattr("roadrisk.records.decision_store.lay_out", spy)
    DecisionStore(tmp_path).append([accept()], who="Ida")
    assert seen == [2, int(1000 * decision_file.BUSY_S)]


@pytest.mark.parametrize(
    "statement",
    [
        "UPDATE history SET verdict = 'reject'",
        "DELETE FROM history",
        "INSERT OR REPLACE INTO history SELECT number, at, 'Mallory', kind, report_key, "
        "fingerprint, verdict, reason, longitude, latitude, other_key, undoes, source, "
        "other_fingerprint FROM history WHERE number = 1",
        "INSERT INTO history SELECT 9, at, who, kind, report_key, fingerprint, verdict, reason, "
        "longitude, latitude, other_key, undoes, source, other_fingerprint FROM history",
    ],
)
def test_the_history_only_grows(tmp_path, statement):
    # By hand: a program that isn't ours tries.
    store = DecisionStore(tmp_path)
    written = store.append([accept()], who="Ida")
    with (
        closing(sqlite3.connect(tmp_path / "decisions.sqlite")) as link,
        pytest.raises(sqlite3.IntegrityError, match="append-only"),
    ):
        link.execute(statement)
    assert store.history() == written


def test_all_or_nothing(tmp_path):
    # By hand: the second draft is bad, so the first isn't written either.
    store = DecisionStore(tmp_path)
    for bad in (
        Draft("verdict", "b", "f", verdict="perhaps"), Draft("place", "b", "f", longitude=3.0),
        Draft("place", "b", "f", longitude=200.0, latitude=3.0),
        Draft("place", "b", "f", longitude=float("nan"), latitude=3.0),
        Draft("same", "b", "f", other_key="b"), Draft("verdict", "", "f", verdict="accept"),
        Draft("undo", undoes=7), Draft("undo"), Draft("verdict", "b", "", verdict="accept"),
        Draft("verdict", "b", "f", verdict="accept", undoes=1),
        Draft("verdict", "\ud800", "f", verdict="accept"),
        Draft("verdict", "b", "f", verdict="accept", reason="x" * 40_000),
        Draft("whatever", "b", "f"),
    ):  # fmt: skip
        with pytest.raises(RoadriskError) as caught:
            store.append([accept(), bad], who="Ida")
        assert len(caught.value.lines()) == 1
        assert store.history() == ()
    with pytest.raises(RoadriskError, match="name of its reviewer"):
        store.append([accept()], who=" \u202e\n")
    assert store.append([], who="Ida") == ()


def test_hostile_text_stays_text(tmp_path):
    # By hand: quotation marks, SQL, control and direction characters.
    store = DecisionStore(tmp_path)
    key = "x'); DROP TABLE history; --\t\u202e<script>"
    store.append([accept(key, "f", reason="=cmd|' /C calc'!A0\x00\u202e\n2")], who="O'Fen\u2066")
    (entry,) = store.history()
    assert entry.report_key == key
    assert entry.who == "O'Fen"
    assert entry.reason == "=cmd|' /C calc'!A0   2"


def test_a_stale_page_is_refused(tmp_path):
    # By hand: what others wrote about other reports is no hindrance; about this one it is.
    store = DecisionStore(tmp_path)
    store.append([accept("a")], who="Ida")
    store.append([accept("b")], who="Ole")
    store.append([accept("c")], who="Ida", expect=1)
    store.append([Draft("undo", undoes=2)], who="Ole")
    with pytest.raises(StaleError, match="Ole decided on this report meanwhile") as caught:
        store.append([accept("x"), Draft("same", "x", "f", other_key="b")], who="Ida", expect=3)
    assert [e.number for e in caught.value.entries] == [4]
    assert store.append([accept("b")], who="Ida", expect=4)[0].number == 5
    with pytest.raises(StaleError):
        store.append([Draft("undo", undoes=2)], who="Ole", expect=4)
    assert len(store.history()) == 5


def test_sudden_death_loses_nothing_confirmed(tmp_path):
    # Recovering a truth: what a child said it had written before it was killed (SIGKILL, 20 times,
    # after a random number of appends and somewhere in the next) is there, whole pairs only, and
    # the file is sound.
    chance = random.Random(5)
    confirmed: list[int] = []
    for run in range(20):
        process = child(tmp_path, f"run{run}", 10_000)
        assert process.stdout.readline() == "ready\n"
        first = [process.stdout.readline() for _ in range(chance.randint(0, 12))]
        time.sleep(chance.uniform(0.0, 0.02))
        process.kill()
        said = "".join(first) + process.stdout.read()
        assert process.wait() == -signal.SIGKILL
        process.stderr.close()
        process.stdout.close()
        confirmed += [int(line) for line in said.splitlines(keepends=True) if line.endswith("\n")]
        history = DecisionStore(tmp_path).history()
        assert [e.number for e in history] == list(range(1, len(history) + 1))
        assert set(confirmed) <= {e.number for e in history}
        for half, whole in zip(history[::2], history[1::2], strict=True):
            assert half.report_key == whole.report_key
            assert (half.reason, whole.reason) == ("half", "whole")
        if history:
            assert spoken(tmp_path) == "ok"
    assert len(confirmed) > 60


def test_four_writers_at_once_lose_nothing(tmp_path):
    # Recovering a truth: 4 processes that also make the file at the same time.
    each = 25
    processes = [child(tmp_path, f"w{k}", each) for k in range(4)]
    done = [process.communicate() for process in processes]
    assert [err for _, err in done] == ["", "", "", ""]
    numbers = sorted(int(n) for out, _ in done for n in out.split()[1:])
    history = DecisionStore(tmp_path).history()
    assert numbers == [e.number for e in history if e.verdict == "reject"]
    assert len(history) == 4 * each * 2
    for k in range(4):
        mine = [e.report_key for e in history if e.who == f"w{k}"]
        assert mine == [f"w{k}-{i}" for i in range(each) for _ in range(2)]
    assert spoken(tmp_path) == "ok"


def other_program(path):
    with closing(sqlite3.connect(path)) as link:
        link.execute("CREATE TABLE recipes (name TEXT)")
        link.commit()


def newer(path):
    DecisionStore(path.parent).append([accept()], who="Ida")
    with closing(sqlite3.connect(path)) as link:
        link.execute("PRAGMA user_version = 2")


def damaged(path):
    # Enough entries for several pages, and one of them overwritten.
    DecisionStore(path.parent).append([accept(f"k{i}", reason="x" * 200) for i in range(200)],
                                      who="Ida")  # fmt: skip
    data = bytearray(path.read_bytes())
    data[5 * 4096 : 6 * 4096] = b"\xff" * 4096
    path.write_bytes(data)


def linked(path):
    elsewhere = path.with_name("elsewhere")
    elsewhere.mkdir()
    DecisionStore(elsewhere).append([accept()], who="Ida")
    path.symlink_to(elsewhere / path.name)


@pytest.mark.parametrize(
    ("make", "words"),
    [
        (lambda p: p.write_bytes(b"who,what\r\nIda,accept\r\n" * 400), "is no history of"),
        (other_program, "database of another program"),
        (newer, "a newer roadrisk wrote this file"),
        (damaged, "damaged"),
        (lambda p: p.mkdir(), "is no file"),
        (linked, "the file is a link"),
    ],
)  # fmt: skip
def test_a_file_that_is_none_is_one_line(tmp_path, make, words):
    # By hand: one line with a mend, and the file's bytes stay.
    path = tmp_path / "decisions.sqlite"
    make(path)
    before = path.read_bytes() if path.is_file() else None
    decisions, remarks, inputs = read_decisions(tmp_path)
    assert decisions.history == inputs == ()
    (remark,) = remarks
    assert remark.kind == "error"
    assert words in remark.line()
    assert "Mend: " in remark.line()
    if words != "damaged":
        with pytest.raises(InputError, match=words):
            DecisionStore(tmp_path).append([accept()], who="Ida")
    assert before is None or path.read_bytes() == before


def test_an_empty_file_is_doubted_and_used(tmp_path):
    # By hand: what a program leaves that was killed before it wrote anything.
    (tmp_path / "decisions.sqlite").touch()
    decisions, remarks, inputs = read_decisions(tmp_path)
    assert decisions.history == ()
    assert "holds no decisions" in remarks[0].line()
    assert [i.rows for i in inputs] == [0]
    DecisionStore(tmp_path).append([accept()], who="Ida")
    assert len(read_decisions(tmp_path)[0].history) == 1


@contextmanager
def without_rights():
    """Go on as another user where the tests run as root, who may write everywhere."""
    if os.geteuid() != 0:
        yield
        return
    os.seteuid(65534)
    try:
        yield
    finally:
        os.seteuid(0)


@pytest.mark.parametrize("left_open", [False, True])
def test_where_nothing_may_be_written_decisions_are_still_read(left_open):
    # By hand: as another user (root may write everywhere), with the log folded in and, as after a
    # power cut, with a log that still holds the last entries.
    folder = Path(tempfile.mkdtemp(prefix="roadrisk-test-"))
    try:
        store = DecisionStore(folder)
        store.append([accept()], who="Ida")
        with closing(sqlite3.connect(folder / "decisions.sqlite")) as link:
            if left_open:
                link.execute("SELECT count(*) FROM history").fetchone()
            store.append([accept("b")], who="Ida")
            frozen = Path(tempfile.mkdtemp(prefix="roadrisk-test-"))
            for part in folder.iterdir():
                if not part.name.endswith("-shm"):
                    shutil.copy(part, frozen)
        names = sorted(p.name for p in frozen.iterdir())
        assert ("decisions.sqlite-wal" in names) == left_open
        for part in frozen.iterdir():
            part.chmod(0o444)
        frozen.chmod(0o555)
        with without_rights():
            decisions, remarks, _ = read_decisions(frozen)
            assert [e.report_key for e in decisions.history] == ["a", "b"]
            assert remarks == ()
            with pytest.raises(InputError, match="may not be written") as caught:
                DecisionStore(frozen).append([accept("c")], who="Ida")
        assert "Mend: make both writable" in caught.value.lines()[0]
        assert sorted(p.name for p in frozen.iterdir()) == names
    finally:
        shutil.rmtree(folder)
        frozen.chmod(0o755)
        shutil.rmtree(frozen)


def test_a_busy_file_is_said_in_words(tmp_path, monkeypatch):
    # By hand: another program holds the write lock longer than we wait.
    monkeypatch.setattr(decision_file, "BUSY_S", 0.05)
    store = DecisionStore(tmp_path)
    store.append([accept()], who="Ida")
    with closing(sqlite3.connect(store.path, isolation_level=None)) as link:
        link.execute("BEGIN IMMEDIATE")
        with pytest.raises(InputError, match="kept the file busy"):
            store.append([accept("b")], who="Ole")
        link.execute("ROLLBACK")
    assert len(store.history()) == 1


def test_provenance_is_of_what_was_decided(tmp_path):
    # By hand: laid out anew by SQLite, the bytes differ and the hash doesn't; an entry changes it.
    store = DecisionStore(tmp_path)
    store.append([accept(f"k{i}") for i in range(50)], who="Ida")
    (first,) = read_decisions(tmp_path)[2]
    before = store.path.read_bytes()
    with closing(sqlite3.connect(store.path)) as link:
        link.execute("PRAGMA journal_mode = DELETE")
        link.execute("VACUUM")
    assert store.path.read_bytes() != before
    (second,) = read_decisions(tmp_path)[2]
    assert second == first
    assert (first.name, first.rows) == ("decisions.sqlite", 50)
    store.append([Draft("undo", undoes=3)], who="Ida")
    assert read_decisions(tmp_path)[2][0].sha256 != first.sha256


def test_synced_folders_and_stray_copies_are_doubted(tmp_path):
    # By hand.
    folder = tmp_path / "OneDrive - Fen Trust" / "study"
    folder.mkdir(parents=True)
    DecisionStore(folder).append([accept()], who="Ida")
    shutil.copy(folder / "decisions.sqlite", folder / "decisions (Ole's laptop).sqlite")
    decisions, remarks, _ = read_decisions(folder)
    assert len(decisions.history) == 1
    assert [r.kind for r in remarks] == ["doubt", "doubt"]
    assert "decisions (Ole's laptop).sqlite: this looks like another copy" in remarks[0].line()
    assert "synchronised by OneDrive" in remarks[1].line()
    assert "wait until the sync is done" in remarks[1].line()
