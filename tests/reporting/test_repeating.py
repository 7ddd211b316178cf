"""A run done again held against what the earlier one wrote. By hand, on the made-up study."""

import hashlib
import json
from collections.abc import Callable
from dataclasses import replace
from functools import cache
from pathlib import Path
from typing import Any

import pytest

from roadrisk.records.past_run import read_past_run
from roadrisk.reporting import writing
from roadrisk.reporting.editions.edition import EditionKind
from roadrisk.reporting.repeating import Repeated, compare_runs
from roadrisk.reporting.writing import edition_files, write_reports
from roadrisk.study import InputFile, Study
from tests.reporting import made_up

MOVED = "deaths_roads.csv"


@pytest.fixture(autouse=True)
def no_documents(monkeypatch: pytest.MonkeyPatch) -> None:
    """Documents take seconds; that theirs are the same bytes again has a test in test_writing."""
    monkeypatch.setattr(writing, "_documents", lambda _: {})


@cache
def drawn(kind: EditionKind) -> dict[str, bytes]:
    return edition_files(made_up.study(), made_up.findings(), kind)


def run(out: Path, kind: EditionKind = "confidential") -> None:
    for name, content in drawn(kind).items():
        (out / name).write_bytes(content)


def again(out: Path, study: Study | None = None) -> Repeated:
    past = read_past_run(out / "provenance.json")
    kind: EditionKind = "agency" if past.edition == "agency" else "confidential"
    if study is None:
        return compare_runs(past, drawn(kind))
    return compare_runs(past, edition_files(study, made_up.findings(), kind))


def rewrite(out: Path, change: Callable[[dict[str, Any]], object]) -> None:
    """Change what provenance.json says."""
    file = out / "provenance.json"
    content = json.loads(file.read_text("utf-8"))
    change(content)
    file.write_text(json.dumps(content), encoding="utf-8")


def put(out: Path, name: str, content: bytes) -> None:
    """Let the earlier run have written another content."""
    (out / name).write_bytes(content)
    digest = hashlib.sha256(content).hexdigest()
    rewrite(out, lambda said: said["outputs"].update({name: digest}))


def by_other_versions(out: Path) -> None:
    rewrite(out, lambda said: said["libraries"].update({"numpy": "1.0.0"}))


@pytest.mark.parametrize("kind", ["confidential", "agency"])
def test_a_run_repeats_byte_by_byte(tmp_path: Path, kind: EditionKind) -> None:
    written = write_reports(made_up.study(), made_up.findings(), tmp_path, edition=kind)
    many = len(written) - 1
    found = again(tmp_path)
    assert found.repeats
    assert found.lines == (f"It repeats: all {many} files come out with the same bytes.",)


def test_a_changed_input_is_said_first(tmp_path: Path) -> None:
    """Every page shows which inputs made it, so that their bytes differ."""
    run(tmp_path)
    study = replace(made_up.study(), inputs=(InputFile("sightings.csv", "cd" * 32, 1235, 251),))
    found = again(tmp_path, study)
    assert not found.repeats
    assert found.lines[0] == "Input sightings.csv has changed since."
    assert "deaths.html: not the same bytes." in found.lines
    assert found.lines[-1].startswith("It does not repeat")


def test_the_agency_edition_tells_only_that_some_input_changed(tmp_path: Path) -> None:
    run(tmp_path, "agency")
    study = replace(made_up.study(), inputs=(InputFile("sightings.csv", "cd" * 32, 1235, 251),))
    found = again(tmp_path, study)
    assert not found.repeats
    assert "sightings" not in found.lines[0]
    assert found.lines[0].startswith("Some input has changed since")


@pytest.mark.parametrize("kind", ["confidential", "agency"])
def test_a_changed_seed_and_setting_are_said_first(tmp_path: Path, kind: EditionKind) -> None:
    run(tmp_path, kind)
    study = made_up.study()
    settings = study.settings
    other = settings.model_copy(
        update={
            "study": settings.study.model_copy(update={"seed": 8}),
            "hotspots": settings.hotspots.model_copy(update={"draws": 499}),
        }
    )
    found = again(tmp_path, replace(study, settings=other))
    assert not found.repeats
    assert found.lines[:2] == (
        "The seed was 7 and is 8.",
        f"Setting hotspots.draws was {settings.hotspots.draws} and is 499.",
    )


def with_first_number(content: bytes, times: float) -> tuple[bytes, str]:
    """Return the table with the first number of its second row changed, and its column."""
    lines = content.decode("utf-8-sig").split("\r\n")
    cells = lines[1].split(",")
    k = next(k for k, cell in enumerate(cells) if cell.replace(".", "", 1).isdigit())
    cells[k] = repr(float(cells[k]) * times)
    lines[1] = ",".join(cells)
    return "\r\n".join(lines).encode("utf-8-sig"), lines[0].split(",")[k]


def test_with_other_versions_numbers_may_move_by_a_thousand_millionth(tmp_path: Path) -> None:
    run(tmp_path)
    moved, _ = with_first_number((tmp_path / MOVED).read_bytes(), 1 + 1e-12)
    put(tmp_path, MOVED, moved)
    put(tmp_path, "map.html", b"drawn by another version")
    assert not again(tmp_path).repeats
    by_other_versions(tmp_path)
    found = again(tmp_path)
    assert found.repeats
    assert found.lines[0].startswith("numpy: 1.0.0 then, ")
    assert "every number in the tables is the same to 1e-9" in found.lines[-1]


@pytest.mark.parametrize("versions", ["same", "other"])
def test_a_number_that_moved_by_a_millionth_is_found(tmp_path: Path, versions: str) -> None:
    run(tmp_path)
    moved, column = with_first_number((tmp_path / MOVED).read_bytes(), 1 + 1e-6)
    put(tmp_path, MOVED, moved)
    if versions == "other":
        by_other_versions(tmp_path)
    found = again(tmp_path)
    assert not found.repeats
    (line,) = [line for line in found.lines if line.startswith(MOVED)]
    assert f"{MOVED}, row 2, column {column}: " in line
    assert found.lines[-1].startswith("It does not repeat: 1 files differ")


def test_a_file_that_is_gone_is_told(tmp_path: Path) -> None:
    """Gone but the same: told, and no failure. Gone and not the same: can't be compared."""
    run(tmp_path)
    (tmp_path / MOVED).unlink()
    found = again(tmp_path)
    assert found.repeats
    assert found.lines[0] == f"{MOVED} is missing beside provenance.json; it comes out as it was."
    rewrite(tmp_path, lambda said: said["outputs"].update({MOVED: "00" * 32}))
    by_other_versions(tmp_path)
    found = again(tmp_path)
    assert not found.repeats
    words = f"{MOVED} is missing beside provenance.json: its numbers can't be compared."
    assert words in found.lines


def test_a_file_changed_by_hand_is_told(tmp_path: Path) -> None:
    run(tmp_path)
    (tmp_path / MOVED).write_bytes(b"road\r\nmine\r\n")
    found = again(tmp_path)
    assert found.repeats
    assert found.lines[0].startswith(f"{MOVED} was changed after it was written; it comes out")


def test_files_that_came_or_went_are_told(tmp_path: Path) -> None:
    run(tmp_path)
    rewrite(tmp_path, lambda said: said["outputs"].update({"old.csv": said["outputs"].pop(MOVED)}))
    found = again(tmp_path)
    assert not found.repeats
    assert found.lines[:2] == (
        "old.csv was written then and is not now.",
        f"{MOVED} is written now and was not then.",
    )


def test_very_many_differences_are_counted_and_not_all_shown(tmp_path: Path) -> None:
    run(tmp_path)
    table = (tmp_path / "deaths_pieces.csv").read_bytes().decode("utf-8-sig").split("\r\n")
    other = "\r\n".join([table[0], *(f"9{row}" for row in table[1:] if row)])
    put(tmp_path, "deaths_pieces.csv", (other + "\r\n").encode("utf-8-sig"))
    lines = [line for line in again(tmp_path).lines if line.startswith("deaths_pieces.csv")]
    assert len(lines) == 9
    assert lines[-1] == f"deaths_pieces.csv: {len(table) - 2 - 8} more cells differ."
