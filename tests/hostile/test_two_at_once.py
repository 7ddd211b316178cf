"""Two programs in one folder or on one study: in turn, or side by side and nothing lost."""

from __future__ import annotations

import subprocess
import sys
import threading
import time
from pathlib import Path

import pytest

from roadrisk.cli import main
from roadrisk.decisions import Draft
from roadrisk.errors import FolderInUseError
from roadrisk.records import release_log
from roadrisk.records.decision_store import DecisionStore
from roadrisk.records.release_log import (
    Batch,
    Released,
    ReleasedAnimal,
    ReleaseLog,
    read_release_log,
    releasing,
    write_release_log,
)
from roadrisk.records.study_folder import gather, read_study
from tests.hostile.kills import small_study
from tests.pages.serve_made import made_page

HOLD = """
import sys, time
from pathlib import Path
from roadrisk.base.folder_lock import held
with held(Path(sys.argv[1]), words="roadrisk run"):
    print("held", flush=True)
    time.sleep(60)
"""


def together(*work: object) -> None:
    threads = [threading.Thread(target=one) for one in work]  # type: ignore[arg-type]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()


@pytest.mark.parametrize("command", ["run", "new"])
def test_the_second_in_a_folder_gets_one_line(
    command: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """A real other process holds the folder; when it is killed the next goes through."""
    out = tmp_path / "out"
    out.mkdir()
    if command == "run":
        words = ["run", str(small_study(tmp_path / "study")), "--out", str(out)]
    else:
        words = ["new", str(out)]
    process = subprocess.Popen([sys.executable, "-c", HOLD, str(out)], stdout=subprocess.PIPE)
    try:
        assert process.stdout is not None
        assert process.stdout.readline() == b"held\n"
        began = time.monotonic()
        with pytest.raises(SystemExit) as stopped:
            main(words)
        assert stopped.value.code == 2
        assert time.monotonic() - began < 20  # before the work, not after it
        (line,) = capsys.readouterr().err.splitlines()
        assert line.startswith(f"{out} is in use by roadrisk, process {process.pid} on ")
        assert line.endswith("nothing was written")
        assert [p.name for p in out.iterdir()] == [".roadrisk.lock"]
    finally:
        process.kill()
        process.wait()
        if process.stdout is not None:
            process.stdout.close()
    if command == "new":
        with pytest.raises(SystemExit) as stopped:
            main(words)
        assert stopped.value.code == 0
        assert (out / "study.toml").exists()
        assert not (out / ".roadrisk.lock").exists()


def group(column: int) -> Released:
    batch = Batch((ReleasedAnimal((f"record {column}",), "dead"),))
    return Released(1, column, 0, 2021, 2023, (batch,), (1,))


def test_public_editions_made_at_once_all_know_of_each_other(tmp_path: Path) -> None:
    """Eight that each let out a group, by hand: the log has all of them."""

    def release(column: int) -> None:
        with releasing(tmp_path):
            log = read_release_log(tmp_path)
            time.sleep(0.02)
            write_release_log(tmp_path, ReleaseLog((*log.groups, group(column))))

    together(*(lambda column=column: release(column) for column in range(8)))
    assert sorted(g.column for g in read_release_log(tmp_path).groups) == list(range(8))
    assert [p.name for p in tmp_path.iterdir()] == ["released.json"]


def test_a_public_edition_does_not_wait_for_ever(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(release_log, "LONGEST_WAIT_S", 0.2)
    said: list[str] = []

    def second() -> None:
        try:
            with releasing(tmp_path):
                pass
        except FolderInUseError as error:
            said.extend(error.lines())

    with releasing(tmp_path):
        together(second)
    (line,) = said
    assert "(a public edition)" in line


def test_two_reviews_at_once_lose_nothing(tmp_path: Path) -> None:
    """Two desks of one study: what either acknowledged is kept, and each sees the other's."""
    desks = [made_page(tmp_path, reviewer=name).desk for name in ("Ann Reed", "Ole Fen")]

    def decide(which: int) -> None:
        for k in range(20):
            desks[which].decide(2 * (k % 3) + which, "accept", f"{which} {k}", 10**9)

    together(lambda: decide(0), lambda: decide(1))
    history = DecisionStore(tmp_path).history()
    assert sorted(e.reason for e in history) == sorted(
        f"{w} {k}" for w in (0, 1) for k in range(20)
    )
    last = made_page(tmp_path).desk
    assert all(last.decided(row) is not None for row in range(6))


def test_a_run_beside_a_review_is_of_one_moment(tmp_path: Path) -> None:
    """Somebody decides all the time while the study is read: no error, and a whole history."""
    folder = small_study(tmp_path / "study")
    keys = read_study(folder).sightings["report_key"].tolist()
    store, done = DecisionStore(folder), threading.Event()

    def decide() -> None:
        k = 0
        while not done.is_set():
            key = keys[k % len(keys)]
            store.append([Draft("verdict", key, "mark", verdict="accept", reason=str(k))],
                         who="Ann Reed")  # fmt: skip
            k += 1

    thread = threading.Thread(target=decide)
    thread.start()
    try:
        for _ in range(3):
            found = gather(folder, build_roads=True)
            assert not [r for r in found.remarks if r.kind == "error"]
            assert found.study is not None
            history = found.study.decisions.history
            assert [e.number for e in history] == list(range(1, len(history) + 1))
    finally:
        done.set()
        thread.join()
