"""Kept steps: used again while nothing changed, worked out anew where anything is wrong."""

from __future__ import annotations

import os
import pickle
import subprocess
import sys
from typing import TYPE_CHECKING

import pytest

from roadrisk.base import kept_steps
from roadrisk.base.kept_steps import FOLDER, KeptSteps

if TYPE_CHECKING:
    from pathlib import Path


class Work:
    """Counts how often it was done."""

    def __init__(self, result: object = ("roads", 3)) -> None:
        self.done = 0
        self.result = result

    def __call__(self) -> object:
        self.done += 1
        return self.result


def run(study: Path, work: Work, key: str | None = "k", *, fresh: bool = False) -> object:
    return KeptSteps(study, fresh=fresh).step("roads", (key,), work)


def files(study: Path) -> list[Path]:
    return sorted((study / FOLDER).glob("*.step"))


def test_second_run_uses_the_first(tmp_path: Path) -> None:
    work = Work()
    assert run(tmp_path, work) == run(tmp_path, work) == ("roads", 3)
    assert work.done == 1
    again = KeptSteps(tmp_path)
    again.step("roads", ("k",), work)
    assert again.used == ["roads"]


def test_other_content_other_step_other_program_are_worked_out(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    work = Work()
    run(tmp_path, work)
    run(tmp_path, work, "other")
    assert work.done == 2
    KeptSteps(tmp_path).step("paths", ("k",), work)
    assert work.done == 3
    monkeypatch.setattr(kept_steps, "program_key", lambda: "another version")
    run(tmp_path, work)
    assert work.done == 4


def test_fresh_works_out_and_keeps_the_new(tmp_path: Path) -> None:
    run(tmp_path, Work("old"))
    assert run(tmp_path, Work("new"), fresh=True) == "new"
    assert run(tmp_path, Work("never asked")) == "new"


def test_unknown_key_keeps_nothing(tmp_path: Path) -> None:
    work = Work()
    run(tmp_path, work, None)
    run(tmp_path, work, None)
    assert work.done == 2
    assert not (tmp_path / FOLDER).exists()


def test_every_cut_and_every_flipped_byte_is_noticed(tmp_path: Path) -> None:
    run(tmp_path, Work(list(range(20))))
    (file,) = files(tmp_path)
    whole = file.read_bytes()
    for length in range(0, len(whole), 7):
        file.write_bytes(whole[:length])
        work = Work("anew")
        assert run(tmp_path, work) == "anew"
        assert work.done == 1
    for at in range(0, len(whole), 5):
        file.write_bytes(whole[:at] + bytes([whole[at] ^ 1]) + whole[at + 1 :])
        work = Work("anew")
        assert run(tmp_path, work) == "anew"
        assert work.done == 1


def test_pickle_that_raises_is_worked_out(tmp_path: Path) -> None:
    run(tmp_path, Work(Raises()))
    work = Work("anew")
    assert run(tmp_path, work) == "anew"


class Raises:
    """Can be written and not be read."""

    def __reduce__(self) -> tuple[object, tuple[object, ...]]:
        return int, ("no number",)


def test_result_that_cannot_be_written_is_returned(tmp_path: Path) -> None:
    def local() -> None:
        return None

    assert run(tmp_path, Work(local)) is local
    assert not list((tmp_path / FOLDER).glob("*.part"))
    assert not files(tmp_path)


def test_full_disk_keeps_nothing_and_goes_on(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def full(*_: object, **__: object) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(pickle, "dump", full)
    assert run(tmp_path, Work()) == ("roads", 3)
    assert sorted(p.name for p in (tmp_path / FOLDER).iterdir()) == ["about.txt"]


def test_what_a_killed_run_left_goes_and_what_is_being_written_stays(tmp_path: Path) -> None:
    """A real other process: killed before a rename, the next run clears up; alive, it doesn't."""
    words = (
        "import pathlib, sys, time; from roadrisk.base import kept_steps\n"
        "class Slow:\n"
        " def __reduce__(self):\n  print('at work', flush=True); time.sleep(60)\n"
        "kept_steps.KeptSteps(pathlib.Path(sys.argv[1])).step('roads', ('k',), Slow)"
    )
    process = subprocess.Popen([sys.executable, "-c", words, tmp_path], stdout=subprocess.PIPE)
    try:
        assert process.stdout is not None
        assert process.stdout.readline() == b"at work\n"
        KeptSteps(tmp_path)
        assert len(list((tmp_path / FOLDER).glob("*.part"))) == 1
    finally:
        process.kill()
        process.wait()
        if process.stdout is not None:
            process.stdout.close()
    KeptSteps(tmp_path)
    assert not list((tmp_path / FOLDER).glob("*.part"))


def test_only_the_newest_two_of_a_step_stay(tmp_path: Path) -> None:
    for n in range(5):
        run(tmp_path, Work(), f"k{n}")
        newest = max(files(tmp_path), key=lambda p: p.stat().st_mtime_ns)
        os.utime(newest, (1000 + n, 1000 + n))
    assert len(files(tmp_path)) == 2
    work = Work()
    run(tmp_path, work, "k4")
    assert work.done == 0


def test_folder_that_others_may_write_to_is_not_read(tmp_path: Path) -> None:
    run(tmp_path, Work("ours"))
    assert (tmp_path / FOLDER).stat().st_mode & 0o077 == 0
    (tmp_path / FOLDER).chmod(0o777)
    assert run(tmp_path, Work("anew")) == "anew"


def test_link_to_elsewhere_is_not_followed(tmp_path: Path) -> None:
    (tmp_path / "study").mkdir()
    (tmp_path / "elsewhere").mkdir()
    (tmp_path / "study" / FOLDER).symlink_to(tmp_path / "elsewhere")
    run(tmp_path / "study", Work())
    assert not list((tmp_path / "elsewhere").iterdir())


def test_study_folder_that_is_a_file_or_missing_keeps_nothing(tmp_path: Path) -> None:
    assert run(tmp_path / "missing", Work()) == ("roads", 3)
    assert not (tmp_path / "missing").exists()
