"""All files or none: every failure leaves the folder as it was, byte for byte."""

import errno
import json
import os
import stat
from collections.abc import Callable
from pathlib import Path

import pytest

from roadrisk.base import file_moves, folder_swap
from roadrisk.base.file_state import file_state
from roadrisk.base.folder_lock import LOCK_FILE, held
from roadrisk.base.whole import ready, write_whole
from roadrisk.errors import OutputError

OLD = {"a.csv": b"old a", "b.csv": b"old b", "mine.txt": b"a person's own"}
NEW = {"a.csv": b"new a", "b.csv": b"new b", "c.csv": b"new c"}
KEPT = {"mine.txt": b"a person's own"}
REAL_REPLACE = os.replace
WAYS = ["exchange", "two renames", "moves"]


@pytest.fixture
def out(tmp_path: Path) -> Path:
    folder = tmp_path / "Straße und Wiese" / "rapport d'été"
    folder.mkdir(parents=True)
    for name, content in OLD.items():
        (folder / name).write_bytes(content)
    return folder


@pytest.fixture(params=WAYS)
def way(request: pytest.FixtureRequest, monkeypatch: pytest.MonkeyPatch) -> str:
    """Each way in which files come to their places, as on systems that have no other."""
    only(request.param, monkeypatch)
    return str(request.param)


def only(way: str, monkeypatch: pytest.MonkeyPatch) -> None:
    def none(*_: object) -> None:
        raise OSError(errno.EINVAL, "no exchange of folders")

    if way == "two renames":
        monkeypatch.setattr(folder_swap, "_renameat2", none)
    if way == "moves":
        monkeypatch.setattr(folder_swap, "_may_swap", lambda *_: False)


def contents(folder: Path) -> dict[str, bytes]:
    return {p.name: p.read_bytes() for p in folder.iterdir() if p.name != LOCK_FILE}


def alone(folder: Path) -> bool:
    """Whether nothing else lies beside the folder, and no lock in it."""
    return [p.name for p in folder.parent.iterdir()] == [folder.name] and not (
        folder / LOCK_FILE
    ).exists()


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

    only("moves", monkeypatch)
    monkeypatch.setattr(file_moves.os, "replace", replace)


def test_files_are_written_and_others_left_alone(out: Path, way: str) -> None:
    """By hand, in a folder with blanks and accents."""
    out.chmod(0o2750)
    before, own = out.stat(), file_state(out / "mine.txt")
    assert write_whole(NEW, out) == tuple(out / name for name in NEW)
    assert contents(out) == NEW | KEPT
    assert alone(out)
    after = out.stat()
    assert (stat.S_IMODE(after.st_mode), after.st_uid) == (0o2750, before.st_uid)
    assert file_state(out / "mine.txt") == own
    assert (after.st_ino == before.st_ino) == (way == "moves")


@pytest.mark.parametrize("there", ["folder", "link"])
def test_a_folder_that_may_be_somebodys_own_is_not_exchanged(out: Path, there: str) -> None:
    """By hand: with a folder or a link in it, or with nothing of ours in it."""
    if there == "folder":
        (out / "sent").mkdir()
    else:
        (out / "sent").symlink_to(out / "mine.txt")
    inode = out.stat().st_ino
    write_whole(NEW, out)
    assert {p.name for p in out.iterdir()} == {*NEW, "mine.txt", "sent"}
    (out / "sent").rmdir() if there == "folder" else (out / "sent").unlink()
    write_whole({"d": b"d", "e": b"e"}, out)
    assert out.stat().st_ino == inode
    assert alone(out)


def test_the_folder_we_stand_in_is_not_exchanged(
    out: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """By hand: a person's terminal would show an empty folder afterwards."""
    monkeypatch.chdir(out)
    inode = out.stat().st_ino
    write_whole(NEW, Path())
    assert out.stat().st_ino == inode
    assert contents(out) == NEW | KEPT
    assert alone(out)


def test_a_folder_behind_a_link_is_exchanged_and_the_link_stays(out: Path, tmp_path: Path) -> None:
    (tmp_path / "link").symlink_to(out, target_is_directory=True)
    write_whole(NEW, tmp_path / "link")
    assert (tmp_path / "link").is_symlink()
    assert contents(out) == NEW | KEPT
    assert alone(out)


@pytest.mark.parametrize("exchange", ["exchange", "two renames"])
def test_what_a_person_saves_while_folders_are_exchanged_is_kept(
    out: Path, monkeypatch: pytest.MonkeyPatch, exchange: str
) -> None:
    """By hand: a new file, one in place of ours, one edited, a folder."""
    only(exchange, monkeypatch)

    def save() -> None:
        (out / "letter.txt").write_bytes(b"new letter")
        (out / "folder").mkdir()
        (out / "b.draft").write_bytes(b"b, by a person")
        (out / "b.draft").replace(out / "b.csv")
        (out / "mine.txt").write_bytes(b"edited")

    write_whole(NEW, out, first=save)
    assert (out / "folder").is_dir()
    (out / "folder").rmdir()
    assert contents(out) == NEW | {
        "letter.txt": b"new letter", "b_saved_meanwhile.csv": b"b, by a person",
        "mine.txt": b"edited",
    }  # fmt: skip
    assert alone(out)


def test_two_at_once(out: Path) -> None:
    """By hand: the second is turned away in a line, and nothing is changed."""
    import threading

    said: list[str] = []

    def second() -> None:
        try:
            write_whole(NEW, out)
        except OutputError as error:
            said.extend(error.lines())

    with held(out, words="roadrisk run"):
        thread = threading.Thread(target=second)
        thread.start()
        thread.join()
    (line,) = said
    assert "is in use by roadrisk, process" in line
    assert "name another folder; nothing was written" in line
    assert contents(out) == OLD
    assert alone(out)


def test_nothing_that_is_none_of_ours_is_cleaned_away(out: Path) -> None:
    """By hand: a folder or a file where ours would be staged, with something else in it."""
    staging = out.parent / f".{out.name}.unfinished"
    staging.mkdir()
    (staging / "thesis.docx").write_bytes(b"mine")
    note = staging / "moving.json"
    for lay in (
        lambda: None,
        lambda: (staging / "thesis.docx").rename(note),
        lambda: note.write_text(json.dumps({"../x": []})),
    ):
        lay()
        with pytest.raises(OutputError, match="is in the way, and none of ours"):
            write_whole(NEW, out)
        assert contents(out) == OLD
    (staging / "moving.json").unlink()
    (staging / "new").mkdir()
    write_whole(NEW, out)
    assert alone(out)


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
    assert alone(out)


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


class Killed(BaseException):
    """Stands for the end of the process: nothing after it is done."""


def killed(*_: object) -> None:
    raise Killed


def test_moves_that_were_cut_short_are_finished(out: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """As after a power cut after one move; then somebody saves a file that was still to come."""
    fail_at(monkeypatch, lambda n: n == 2, Killed())
    monkeypatch.setattr(file_moves, "_take_back", killed)
    with pytest.raises(Killed):
        write_whole(NEW, out)
    staging = out.parent / f".{out.name}.unfinished"
    # A real kill would not have got as far as this.
    (staging / "moving_back.json").rename(staging / "moving.json")
    assert contents(out) == OLD | {"a.csv": b"new a"}
    monkeypatch.undo()
    (out / "b.csv").write_bytes(b"b, by a person")
    with ready(out):
        assert contents(out) == NEW | KEPT | {"b_saved_meanwhile.csv": b"b, by a person"}
    assert alone(out)


def test_a_folder_that_is_away_is_put_back(out: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """As after a power cut between two renames; no reader sees half."""
    only("two renames", monkeypatch)
    real_rename = Path.rename

    def rename(self: Path, target: Path) -> Path:
        if target == out:
            raise Killed
        return real_rename(self, target)

    monkeypatch.setattr(Path, "rename", rename)
    monkeypatch.setattr(folder_swap, "put_right", killed)
    with pytest.raises(Killed):
        write_whole(NEW, out)
    assert not out.exists()
    monkeypatch.undo()
    with ready(out):
        assert contents(out) == OLD
    assert alone(out)


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


def test_what_must_come_first_comes_first(out: Path, way: str) -> None:
    """By hand: when it is called nothing has changed; if it fails nothing does."""
    seen: list[dict[str, bytes]] = []
    write_whole(NEW, out, first=lambda: seen.append(contents(out)))
    assert seen == [OLD]
    assert contents(out) == NEW | KEPT


@pytest.mark.parametrize("problem", [OutputError("log"), OSError(errno.ENOSPC, "no space"),
                                     KeyboardInterrupt()])  # fmt: skip
def test_nothing_changes_when_what_must_come_first_fails(
    out: Path, problem: BaseException, way: str
) -> None:
    def fail() -> None:
        raise problem

    with pytest.raises(
        KeyboardInterrupt if isinstance(problem, KeyboardInterrupt) else OutputError
    ):
        write_whole(NEW, out, first=fail)
    assert contents(out) == OLD
    assert alone(out)


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

    monkeypatch.setattr(os, "fsync", full)
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
