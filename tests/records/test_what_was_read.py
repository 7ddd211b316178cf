"""A study's files that change while they are read, or before results of them are written."""

from __future__ import annotations

import os
from pathlib import Path

import pytest

from roadrisk.errors import InputError
from roadrisk.records import study_folder
from roadrisk.records.study_folder import gather, read_study
from roadrisk.records.what_was_read import refuse_changed
from tests.truth.small_worlds import one_road, whole_world

KINDS = ["grows", "same size", "replaced", "gone"]


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    world = one_road(whole_world()).without("fixes", "animals", "surveys", "trials", "nests")
    folder = world.write(tmp_path / "study")
    (folder / "texts").mkdir()
    (folder / "texts" / "need.txt").write_text("Our own words.", "utf-8")
    return folder


def change(path: Path, kind: str) -> None:
    content = path.read_bytes()
    if kind == "grows":
        with path.open("ab") as stream:
            stream.write(b"\n")
    elif kind == "same size":
        path.write_bytes(content[:-2] + b"5\n")
        os.utime(path, ns=(1, path.stat().st_mtime_ns + 1))
    elif kind == "replaced":
        times = path.stat()
        draft = path.with_name("draft")
        draft.write_bytes(content[:-2] + b"5\n")
        os.utime(draft, ns=(times.st_atime_ns, times.st_mtime_ns))
        draft.replace(path)
    else:
        path.unlink()


@pytest.mark.parametrize("kind", KINDS)
@pytest.mark.parametrize(
    ("name", "reader"),
    [("sightings.csv", "read_raw"), ("study.toml", "read_study_roads"),
     ("lines.geojson", "study_habitat"), ("texts/need.txt", "read_decisions")],
)  # fmt: skip
def test_a_file_that_changes_while_the_study_is_read(
    folder: Path, monkeypatch: pytest.MonkeyPatch, kind: str, name: str, reader: str
) -> None:
    """Injected: somebody saves it just after some other was read."""
    real = getattr(study_folder, reader)
    # Texts are read last: they change between reading and hashing.
    late = name.startswith("texts")
    where = "own_text_inputs" if late else reader
    real = getattr(study_folder, where)
    done = []

    def read(*given: object, **more: object) -> object:
        if late and not done:
            change(folder / name, kind)
            done.append(name)
        found = real(*given, **more)
        if not done:
            change(folder / name, kind)
            done.append(name)
        return found

    monkeypatch.setattr(study_folder, where, read)
    if late and kind == "gone":
        return  # it is then no input at all
    with pytest.raises(InputError) as caught:
        read_study(folder)
    lines = caught.value.lines()
    assert [line for line in lines if line.startswith(f"{name}: it was changed while it was read")]
    assert all("Mend: " in line for line in lines)


def test_what_does_not_change_is_no_error(folder: Path) -> None:
    """By hand; also while somebody decides on reports."""
    assert not [r for r in gather(folder, build_roads=True).remarks if r.kind == "error"]
    refuse_changed(read_study(folder))


@pytest.mark.parametrize("kind", KINDS)
def test_a_file_that_changes_before_results_are_written(folder: Path, kind: str) -> None:
    """By hand: one line names it; one that was touched alone stops nothing."""
    study = read_study(folder)
    os.utime(folder / "sightings.csv")
    os.utime(folder / "study.toml")
    refuse_changed(study)
    change(folder / "sightings.csv", kind)
    with pytest.raises(InputError) as caught:
        refuse_changed(study)
    (line,) = caught.value.lines()
    assert line.startswith("sightings.csv: it was changed since it was read")
