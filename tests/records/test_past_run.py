"""provenance.json read back, whatever lies there instead. By hand."""

import hashlib
import json
from pathlib import Path

import pytest

from roadrisk.errors import InputError
from roadrisk.records.past_run import OLDER, as_written, edition_in, read_past_run

GOOD = {"edition": "agency", "outputs": {"map.html": "ab" * 32}}


@pytest.mark.parametrize(
    ("content", "problem"),
    [
        (None, "does not exist"),
        (b"{", "is no JSON"),
        (b"\xff\xfe\x00", "is no JSON"),
        (b"[" * 100_000, "is no JSON"),
        (b"[1]", "is no provenance"),
        (json.dumps({"outputs": {"map.html": "ab"}}).encode(), "knew no editions"),
        (json.dumps({**GOOD, "edition": "secret"}).encode(), "which edition"),
        (json.dumps({**GOOD, "outputs": {"../map.html": "ab"}}).encode(), "which edition"),
        (json.dumps({**GOOD, "outputs": {"C:\\x": "ab"}}).encode(), "which edition"),
        (json.dumps({**GOOD, "outputs": ["map.html"]}).encode(), "which edition"),
    ],
)
def test_what_is_none_is_told_in_one_line(
    tmp_path: Path, content: bytes | None, problem: str
) -> None:
    file = tmp_path / "provenance.json"
    if content is not None:
        file.write_bytes(content)
    with pytest.raises(InputError) as stopped:
        read_past_run(file)
    (line,) = stopped.value.lines()
    assert line.startswith("provenance.json: ")
    assert problem in line
    assert "Mend: " in line


def test_whose_files_lie_in_a_folder(tmp_path: Path) -> None:
    assert edition_in(tmp_path) == ""
    file = tmp_path / "provenance.json"
    for content, whose in (
        (GOOD, "agency"),
        ({"outputs": {}}, OLDER),
        ({**GOOD, "edition": 3}, OLDER),
    ):
        file.write_text(json.dumps(content), encoding="utf-8")
        assert edition_in(tmp_path) == whose
    file.write_bytes(b"\x00")
    assert edition_in(tmp_path) == OLDER


def test_what_the_last_run_wrote_is_known_by_its_hash(tmp_path: Path) -> None:
    assert not as_written(tmp_path, "a.docx", b"x")
    content = {**GOOD, "outputs": {"a.docx": hashlib.sha256(b"x").hexdigest()}}
    (tmp_path / "provenance.json").write_text(json.dumps(content), encoding="utf-8")
    assert as_written(tmp_path, "a.docx", b"x")
    assert not as_written(tmp_path, "a.docx", b"y")
    assert not as_written(tmp_path, "b.docx", b"x")
