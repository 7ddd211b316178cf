"""Disks that are full or can only be read: one line, nothing half-written, nothing lost.

On real small disks where this process may mount some (as root on Linux); `tests/base/test_whole`
injects the same faults everywhere.
"""

from __future__ import annotations

import shutil
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from pathlib import Path

import pytest

from roadrisk.base import scratch
from roadrisk.base.whole import write_whole
from roadrisk.cli import main
from roadrisk.decisions import Draft
from roadrisk.errors import OutputError, RoadriskError
from roadrisk.records.decision_store import DecisionStore, read_decisions
from roadrisk.records.new_study import write_empty
from roadrisk.records.release_log import RELEASE_FILE, ReleaseLog, releasing, write_release_log
from roadrisk.reporting.exchange.layers import layers_gpkg
from roadrisk.reporting.writing import write_reports
from tests.pages.serve_made import made_page
from tests.reporting import made_up
from tests.reporting.made_up_edition import confidential

KIB = 1024


def run(*words: str | Path) -> subprocess.CompletedProcess[bytes]:
    return subprocess.run(words, capture_output=True, check=False)


class Disk:
    """A small disk in memory."""

    def __init__(self, place: Path, size_kib: int) -> None:
        self.place = place
        place.mkdir()
        if run("mount", "-t", "tmpfs", "-o", f"size={size_kib}k", "none", place).returncode:
            pytest.skip("no disk can be mounted here")

    def fill(self, leave_kib: int = 0) -> None:
        """Leave room for no more than so much."""
        free = shutil.disk_usage(self.place).free - leave_kib * KIB
        (self.place / "full").write_bytes(bytes(max(0, free)))

    def empty(self) -> None:
        (self.place / "full").unlink()

    def only_read(self) -> None:
        assert run("mount", "-o", "remount,ro", self.place).returncode == 0

    def away(self) -> None:
        run("umount", "-l", self.place)


@pytest.fixture
def disk(tmp_path: Path) -> Iterator[Disk]:
    if sys.platform != "linux":
        pytest.skip("mounts are Linux's")
    disk = Disk(tmp_path / "disk", 600)
    yield disk
    disk.away()


def seen(folder: Path) -> dict[str, bytes]:
    return {p.name: p.read_bytes() for p in folder.iterdir()}


def one_line(error: RoadriskError, *words: str) -> None:
    (line,) = error.lines()
    assert all(word in line for word in words), line


@pytest.mark.parametrize("leave_kib", [0, 4, 8, 40, 100, 160, 200])
def test_a_full_disk_changes_nothing(disk: Disk, leave_kib: int) -> None:
    """Twelve files of 20 KiB over older ones: it is full sooner or later; then there is room."""
    out = disk.place / "reports" / "edition"
    old = {f"{k}.csv": b"old" * 10 for k in range(12)}
    new = {name: bytes(20 * KIB) for name in old}
    write_whole(old, out)
    disk.fill(leave_kib)
    with pytest.raises(OutputError) as caught:
        write_whole(new, out)
    one_line(caught.value, "the disk is full", "make room and run again")
    assert seen(out) == old
    assert [p.name for p in out.parent.iterdir()] == ["edition"]
    disk.empty()
    write_whole(new, out)
    assert seen(out) == new


def test_a_disk_that_can_only_be_read(disk: Disk) -> None:
    out = disk.place / "reports"
    write_whole({"a": b"a"}, out)
    disk.only_read()
    for folder in (out, disk.place / "new"):
        with pytest.raises(OutputError) as caught:
            write_whole({"a": b"b"}, folder)
        one_line(caught.value, str(folder), "can only be read")
        with pytest.raises(OutputError) as caught:
            write_empty(folder)
        one_line(caught.value, "can only be read")
    assert seen(out) == {"a": b"a"}


def test_a_new_study_on_a_full_disk_is_none(disk: Disk) -> None:
    disk.fill(4)
    with pytest.raises(OutputError) as caught:
        write_empty(disk.place / "study")
    one_line(caught.value, "the disk is full")
    assert not (disk.place / "study").exists()


@pytest.mark.parametrize("fault", ["full", "read-only"])
def test_no_public_edition_without_its_log(disk: Disk, tmp_path: Path, fault: str) -> None:
    """The study lies on the disk, the edition elsewhere."""
    study, findings = made_up.study(folder=disk.place / "study"), made_up.findings()
    (disk.place / "study").mkdir()
    with releasing(disk.place / "study"):
        write_release_log(disk.place / "study", ReleaseLog())
    before = seen(disk.place / "study")
    disk.fill() if fault == "full" else disk.only_read()
    with pytest.raises(OutputError) as caught:
        write_reports(study, findings, tmp_path / "out", edition="public")
    one_line(caught.value, RELEASE_FILE, "no public edition is written")
    assert not (tmp_path / "out").exists()
    assert seen(disk.place / "study") == before


def test_decisions_on_a_full_disk(disk: Disk) -> None:
    """Until it is full each is kept; what the page doesn't keep it says; with room it goes on."""
    store = DecisionStore(disk.place)
    page = made_page(disk.place, reviewer="Ann Reed")
    page.desk.decide(1, "accept", "the first", 10**9)
    disk.fill(60)
    kept = ["the first"]

    def decide_on() -> None:
        for k in range(500):
            reason = f"{k} " + "x" * 900
            page.desk.decide(1, "accept", reason, 10**9)
            kept.append(reason)

    with pytest.raises(RoadriskError) as caught:
        decide_on()
    one_line(caught.value, "Not kept", "the disk is full")
    disk.empty()
    store.check()
    assert [e.reason for e in store.history()] == kept
    page.desk.decide(1, "reject", "the last", 10**9)
    assert [e.reason for e in store.history()] == [*kept, "the last"]


def test_decisions_on_a_disk_that_can_only_be_read(disk: Disk) -> None:
    store = DecisionStore(disk.place)
    store.append([Draft("verdict", "R-02", "mark0001", verdict="accept")], who="Ann Reed")
    disk.only_read()
    decisions, remarks, _ = read_decisions(disk.place)
    assert [e.report_key for e in decisions.history] == ["R-02"]
    assert not [r for r in remarks if r.kind == "error"]
    with pytest.raises(RoadriskError) as caught:
        store.append([Draft("verdict", "R-02", "mark0001", verdict="reject", reason="x")],
                     who="Ann Reed")  # fmt: skip
    one_line(caught.value, "may not be written")


def test_a_full_disk_for_what_is_made_for_a_while(
    disk: Disk, monkeypatch: pytest.MonkeyPatch
) -> None:
    edition = confidential()
    disk.fill(40)
    monkeypatch.setattr(tempfile, "tempdir", str(disk.place))
    with pytest.raises(OutputError) as caught:
        layers_gpkg(edition)
    one_line(caught.value, "the disk is full", str(disk.place))
    assert [p.name for p in disk.place.iterdir()] == ["full"]


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="the system has no full device")
def test_a_full_disk_behind_what_is_printed() -> None:
    with Path("/dev/full").open("wb") as full:
        done = subprocess.run(
            [sys.executable, "-m", "roadrisk", "--help"], stdout=full, stderr=subprocess.PIPE,
            check=False,
        )  # fmt: skip
    assert done.returncode == 2
    assert done.stderr.decode().splitlines() == [
        "the disk is full: what was to be written could not be written; make room and run again"
    ]


def test_too_little_memory_is_one_line(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """Injected: a table too large for the computer."""

    def more(_: object) -> None:
        raise MemoryError

    monkeypatch.setattr("roadrisk.records.checking.check", more)
    with pytest.raises(SystemExit) as stopped:
        main(["check", "."])
    assert stopped.value.code == 2
    assert capsys.readouterr().err.splitlines() == [
        "there is not enough memory; close other programs and run again"
    ]


def test_what_a_killed_program_left_for_a_while_goes(tmp_path: Path) -> None:
    """A real kill; what is in use, or of others, stays."""
    words = (
        "import sys, time; from roadrisk.base.scratch import scratch_folder\n"
        "with scratch_folder() as f:\n print(f, flush=True); time.sleep(60)"
    )
    running = [
        subprocess.Popen(
            [sys.executable, "-c", words], stdout=subprocess.PIPE, env={"TMPDIR": str(tmp_path)}
        )
        for _ in range(2)
    ]
    folders = [Path(p.stdout.readline().decode().strip()) for p in running if p.stdout]
    (tmp_path / "roadrisk-notes").mkdir()
    running[0].kill()
    running[0].wait()
    scratch.clear_left.cache_clear()
    scratch.clear_left(tmp_path)
    assert sorted(tmp_path.iterdir()) == sorted([folders[1], tmp_path / "roadrisk-notes"])
    running[1].kill()
    for process in running:
        process.wait()
        assert process.stdout is not None
        process.stdout.close()
