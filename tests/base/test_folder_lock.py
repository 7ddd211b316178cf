"""One process at a time in a folder: held, turned away in one line, free again after a kill."""

import errno
import os
import signal
import subprocess
import sys
import threading
from pathlib import Path

import pytest

from roadrisk.base import folder_lock
from roadrisk.base.folder_lock import CLAIM_FILE, LOCK_FILE, held
from roadrisk.errors import FolderInUseError, OutputError

HOLDER = """
import sys, time
from pathlib import Path
from roadrisk.base import folder_lock
if sys.argv[2] == "claim":
    def none(handle):
        raise OSError(95, "not supported")
    folder_lock.lock_open = none
with folder_lock.held(Path(sys.argv[1]), words="roadrisk run"):
    print("held", flush=True)
    time.sleep(60)
"""


def holder(folder: Path, how: str = "lock") -> subprocess.Popen[bytes]:
    started = subprocess.Popen(
        [sys.executable, "-c", HOLDER, str(folder), how], stdout=subprocess.PIPE
    )
    assert started.stdout is not None
    assert started.stdout.readline() == b"held\n"
    return started


def end(process: subprocess.Popen[bytes]) -> None:
    os.kill(process.pid, signal.SIGKILL)
    process.wait()
    assert process.stdout is not None
    process.stdout.close()


def without_locks(monkeypatch: pytest.MonkeyPatch) -> None:
    """As on a network drive without a lock service."""

    def none(_: int) -> bool:
        raise OSError(errno.EOPNOTSUPP, "not supported")

    monkeypatch.setattr(folder_lock, "lock_open", none)


def test_nothing_is_left_behind(tmp_path: Path) -> None:
    """By hand: also the folders that were made for it go if nothing was written."""
    with held(tmp_path / "a" / "b", words="x"):
        assert [p.name for p in (tmp_path / "a" / "b").iterdir()] == [LOCK_FILE]
    assert list(tmp_path.iterdir()) == []
    with held(tmp_path / "a" / "b", words="x"):
        (tmp_path / "a" / "b" / "mine").write_bytes(b"")
    assert [p.name for p in (tmp_path / "a" / "b").iterdir()] == ["mine"]


def test_who_holds_it_may_hold_it_again_and_nobody_else(tmp_path: Path) -> None:
    """By hand: the same thread, by another path to the folder; then another thread."""
    (tmp_path / "link").symlink_to(tmp_path, target_is_directory=True)
    found: list[object] = []

    def other() -> None:
        try:
            with held(tmp_path, words="y"):
                found.append("held")
        except FolderInUseError as error:
            found.append(error)

    with held(tmp_path, words="x"):
        with held(tmp_path / "link", words="y"):
            pass
        assert (tmp_path / LOCK_FILE).exists()
        thread = threading.Thread(target=other)
        thread.start()
        thread.join()
    assert isinstance(found[0], FolderInUseError)
    other()
    assert found[1:] == ["held"]


@pytest.mark.parametrize("how", ["lock", "claim"])
def test_another_process_is_told_who_and_what_to_do(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, how: str
) -> None:
    """A real second process; after it is killed the folder is free at once."""
    if how == "claim":
        without_locks(monkeypatch)
    process = holder(tmp_path, how)
    try:
        with pytest.raises(FolderInUseError) as caught, held(tmp_path, words="x"):
            pass
        (line,) = caught.value.lines()
        assert f"{tmp_path} is in use by roadrisk, process {process.pid} on " in line
        assert "(roadrisk run)" in line
        assert "wait until that has ended" in line
        assert (how == "claim") == (f"delete {tmp_path / CLAIM_FILE}" in line)
    finally:
        end(process)
    assert list(tmp_path.iterdir()) != []
    with held(tmp_path, words="x"):
        pass
    assert list(tmp_path.iterdir()) == []


def test_one_waits_for_another(tmp_path: Path) -> None:
    """By hand: the holder is killed while somebody waits."""
    process = holder(tmp_path)
    timer = threading.Timer(0.2, lambda: end(process))
    timer.start()
    with held(tmp_path, words="x", wait_s=20):
        assert process.poll() is not None
    timer.join()


def test_a_claim_of_another_computer_stands(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """By hand: whether its process lives can't be told from here."""
    without_locks(monkeypatch)
    claim = tmp_path / CLAIM_FILE
    claim.write_text("roadrisk, process 1 on elsewhere since 2024-05-01 10:00+02:00 (run)\n")
    with pytest.raises(FolderInUseError, match="on elsewhere since"), held(tmp_path, words="x"):
        pass
    claim.unlink()
    with held(tmp_path, words="x"):
        pass
    assert list(tmp_path.iterdir()) == []


def test_a_file_that_is_none_of_ours_is_not_written_over(tmp_path: Path) -> None:
    """By hand: a person's file, a link that leads out of the folder, a folder."""
    inside, outside = tmp_path / "in", tmp_path / "out.txt"
    inside.mkdir()
    outside.write_bytes(b"mine")
    lock = inside / LOCK_FILE
    for lay in (
        lambda: lock.write_bytes(b"mine"),
        lambda: lock.symlink_to(outside),
        lambda: lock.hardlink_to(outside),
        lock.mkdir,
    ):
        lay()
        with (
            pytest.raises(OutputError, match="none of ours, and in the way"),
            held(inside, words="x"),
        ):
            pass
        assert outside.read_bytes() == b"mine"
        if lock.is_dir():
            lock.rmdir()
        else:
            lock.unlink()


def test_many_at_once_are_one_after_the_other(tmp_path: Path) -> None:
    """Eight threads that each make the folder, count in a file, and take it all away."""
    folder = tmp_path / "made"
    count = tmp_path / "count"
    count.write_text("0")

    def work() -> None:
        for _ in range(20):
            with held(folder, words="x", wait_s=60):
                count.write_text(str(int(count.read_text()) + 1))

    threads = [threading.Thread(target=work) for _ in range(8)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert count.read_text() == "160"
    # The folder may stay, empty: who comes while it goes didn't make it.
    assert not folder.exists() or list(folder.iterdir()) == []
