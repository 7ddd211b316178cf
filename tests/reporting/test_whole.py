"""All files or none: every failure leaves the folder as it was, byte for byte."""

import errno
import os
from collections.abc import Callable
from pathlib import Path

import pytest

from roadrisk.errors import OutputError
from roadrisk.reporting import whole
from roadrisk.reporting.whole import write_whole

OLD = {"a.csv": b"old a", "b.csv": b"old b", "mine.txt": b"a person's own"}
NEW = {"a.csv": b"new a", "b.csv": b"new b", "c.csv": b"new c"}
REAL_REPLACE = os.replace


@pytest.fixture
def out(tmp_path: Path) -> Path:
    folder = tmp_path / "Straße und Wiese" / "rapport d'été"
    folder.mkdir(parents=True)
    for name, content in OLD.items():
        (folder / name).write_bytes(content)
    return folder


def contents(folder: Path) -> dict[str, bytes]:
    return {p.name: p.read_bytes() for p in folder.iterdir()}


def fail_at(
    monkeypatch: pytest.MonkeyPatch, calls: Callable[[int], bool], error: BaseException
) -> None:
    count = 0

    def replace(source: Path, target: Path) -> None:
        nonlocal count
        count += 1
        if calls(count):
            raise error
        REAL_REPLACE(source, target)

    monkeypatch.setattr(whole.os, "replace", replace)


def test_files_are_written_and_others_left_alone(out: Path) -> None:
    """By hand, in a folder with blanks and accents."""
    assert write_whole(NEW, out) == tuple(out / name for name in NEW)
    assert contents(out) == NEW | {"mine.txt": b"a person's own"}
    assert [p.name for p in out.parent.iterdir()] == [out.name]


def test_a_missing_folder_is_made(tmp_path: Path) -> None:
    """By hand: two levels deep."""
    write_whole(NEW, tmp_path / "reports" / "demo")
    assert contents(tmp_path / "reports" / "demo") == NEW


@pytest.mark.parametrize("k", [1, 2, 3])
@pytest.mark.parametrize(
    ("error", "words"),
    [
        (PermissionError(errno.EACCES, "denied"), "is open in another program"),
        (OSError(errno.ENOSPC, "no space"), "the disk is full"),
        (OSError(errno.EIO, "broken"), "could not be written: broken"),
    ],
)
def test_a_move_that_fails_is_taken_back(
    out: Path, monkeypatch: pytest.MonkeyPatch, k: int, error: OSError, words: str
) -> None:
    """Injected failure at the k-th file."""
    fail_at(monkeypatch, lambda n: n == k, error)
    with pytest.raises(OutputError, match=words) as caught:
        write_whole(NEW, out)
    assert list(NEW)[k - 1] in str(caught.value)
    assert len(caught.value.lines()) == 1
    assert contents(out) == OLD
    assert [p.name for p in out.parent.iterdir()] == [out.name]


def test_a_stop_by_the_user_is_taken_back(out: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Ctrl-C between two moves."""
    fail_at(monkeypatch, lambda n: n == 2, KeyboardInterrupt())
    with pytest.raises(KeyboardInterrupt):
        write_whole(NEW, out)
    assert contents(out) == OLD


def test_the_next_run_mends_what_could_not_be_taken_back(
    out: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Injected: from the second move on nothing works; afterwards a run is refused by a lock."""
    fail_at(monkeypatch, lambda n: n >= 2, OSError(errno.EIO, "broken"))
    with pytest.raises(OutputError, match="of two runs: run again"):
        write_whole(NEW, out)
    monkeypatch.undo()
    (out / ".~lock.b.csv#").write_bytes(b"")
    with pytest.raises(OutputError, match=r"b\.csv is open in another program"):
        write_whole(NEW, out)
    (out / ".~lock.b.csv#").unlink()
    assert contents(out) == OLD
    write_whole(NEW, out)
    assert contents(out) == NEW | {"mine.txt": b"a person's own"}


def test_a_killed_run_is_cleaned_up(out: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """As after a power cut: the process ends after one move, with no chance to clean up."""

    class Killed(BaseException):
        pass

    fail_at(monkeypatch, lambda n: n == 2, Killed())
    monkeypatch.setattr(whole, "_take_back", lambda *_: (_ for _ in ()).throw(Killed()))
    with pytest.raises(Killed):
        write_whole(NEW, out)
    assert contents(out) == OLD | {"a.csv": b"new a"}
    monkeypatch.undo()
    write_whole({"d.csv": b"d"}, out)
    assert contents(out) == OLD | {"d.csv": b"d"}
    assert [p.name for p in out.parent.iterdir()] == [out.name]


@pytest.mark.parametrize("lock", [".~lock.b.csv#", "~$b.csv"])
def test_a_file_open_in_a_spreadsheet_stops_the_run(out: Path, lock: str) -> None:
    """The lock that a spreadsheet program lays beside an open file."""
    (out / lock).write_bytes(b"")
    with pytest.raises(OutputError, match=r"^b\.csv is open in another program; close it and run"):
        write_whole(NEW, out)
    assert contents(out) == OLD | {lock: b""}


def test_a_document_open_in_a_word_processor_stops_the_run(out: Path) -> None:
    """Word's lock has the first two letters of a long name cut off (from memory)."""
    write_whole({"proposal.docx": b"old"}, out)
    (out / "~$oposal.docx").write_bytes(b"")
    with pytest.raises(OutputError, match=r"^proposal\.docx is open in another program"):
        write_whole({"proposal.docx": b"new"}, out)
    assert (out / "proposal.docx").read_bytes() == b"old"


def test_what_belongs_to_the_files_is_written_with_them(out: Path) -> None:
    """By hand: it runs when all files lie in their places; if it fails they are taken back."""
    seen: list[dict[str, bytes]] = []
    write_whole(NEW, out, finish=lambda: seen.append(contents(out)))
    assert [{name: at[name] for name in NEW} for at in seen] == [NEW]


@pytest.mark.parametrize("problem", [OutputError("log"), OSError(errno.ENOSPC, "no space")])
def test_files_are_taken_back_when_what_belongs_to_them_fails(
    out: Path, problem: Exception
) -> None:
    def fail() -> None:
        raise problem

    with pytest.raises(OutputError):
        write_whole(NEW, out, finish=fail)
    assert contents(out) == OLD
    assert [p.name for p in out.parent.iterdir()] == [out.name]


def test_a_lock_without_its_file_is_nothing(out: Path) -> None:
    """Left over from a file that is long gone."""
    (out / "~$c.csv").write_bytes(b"")
    write_whole(NEW, out)
    assert (out / "c.csv").read_bytes() == b"new c"


def test_a_file_that_can_not_be_opened_stops_the_run(
    out: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """As Windows answers for a file that another program holds open."""
    real_open = Path.open

    def opened(self: Path, mode: str = "r", *args: object, **more: object) -> object:
        if self.name == "b.csv" and "+" in mode:
            raise PermissionError(errno.EACCES, "in use")
        return real_open(self, mode, *args, **more)  # type: ignore[call-overload]

    monkeypatch.setattr(Path, "open", opened)
    with pytest.raises(OutputError, match=r"b\.csv is open in another program"):
        write_whole(NEW, out)
    assert contents(out) == OLD


def test_a_full_disk_while_staging(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Injected; the folder that was made for the run goes again."""

    def full(_: int) -> None:
        raise OSError(errno.ENOSPC, "no space")

    monkeypatch.setattr(whole.os, "fsync", full)
    with pytest.raises(OutputError, match="the disk is full"):
        write_whole(NEW, tmp_path / "x" / "y")
    assert list(tmp_path.iterdir()) == []


def test_a_file_in_the_way_of_the_folder(tmp_path: Path) -> None:
    """By hand."""
    (tmp_path / "demo").write_bytes(b"x")
    with pytest.raises(OutputError, match="a file of that name is in the way"):
        write_whole(NEW, tmp_path / "demo")
    with pytest.raises(OutputError, match="a file of that name is in the way"):
        write_whole(NEW, tmp_path / "demo" / "deeper")


def test_a_folder_in_the_way_of_a_file(out: Path) -> None:
    """By hand."""
    (out / "c.csv").mkdir()
    with pytest.raises(OutputError, match="is a folder where a file is to be written"):
        write_whole(NEW, out)
    assert (out / "a.csv").read_bytes() == b"old a"
