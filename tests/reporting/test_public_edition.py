"""The public edition as a run writes it: its files and its log together, or neither."""

import json
from pathlib import Path

import pytest

from roadrisk.errors import InputError, OutputError
from roadrisk.records import release_log
from roadrisk.records.release_log import RELEASE_FILE, read_release_log
from roadrisk.reporting.writing import edition_files, write_reports
from tests.reporting import made_up

NAMES = [
    "public.html", "public_cells.csv", "public_cells.geojson", "darwin_core.zip", "provenance.json",
]  # fmt: skip


def test_the_same_bytes_again_and_a_log_that_stays(tmp_path: Path) -> None:
    (tmp_path / "study").mkdir()
    study, findings = made_up.study(folder=tmp_path / "study"), made_up.findings()
    first = write_reports(study, findings, tmp_path / "one", edition="public")
    assert [p.name for p in first] == NAMES
    log = (tmp_path / "study" / RELEASE_FILE).read_bytes()
    # The second edition knows of the first, and says the same of the same records.
    second = write_reports(study, findings, tmp_path / "two", edition="public")
    assert [p.read_bytes() for p in second] == [p.read_bytes() for p in first]
    assert (tmp_path / "study" / RELEASE_FILE).read_bytes() == log
    assert edition_files(study, findings, "public") == {p.name: p.read_bytes() for p in first}


def test_provenance_says_what_is_withheld_and_no_more(tmp_path: Path) -> None:
    study, findings = made_up.study(folder=tmp_path), made_up.findings()
    write_reports(study, findings, tmp_path / "out", edition="public", command="roadrisk run x")
    said = json.loads((tmp_path / "out" / "provenance.json").read_text("utf-8"))
    assert said["edition"] == "public"
    assert "withheld" in said
    assert not {"inputs", "settings", "seed", "command", "counts"} & set(said)


def test_a_log_that_can_not_be_written_takes_the_files_back(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def full(_: object, __: object) -> None:
        raise OutputError("released.json could not be written into the study folder")

    study, findings = made_up.study(folder=tmp_path), made_up.findings()
    monkeypatch.setattr(release_log, "write_release_log", full)
    with pytest.raises(OutputError, match="could not be written"):
        write_reports(study, findings, tmp_path / "out", edition="public")
    assert not (tmp_path / "out").exists()
    assert not (tmp_path / RELEASE_FILE).exists()


def test_a_broken_log_writes_nothing(tmp_path: Path) -> None:
    (tmp_path / RELEASE_FILE).write_text("{", encoding="utf-8")
    study, findings = made_up.study(folder=tmp_path), made_up.findings()
    with pytest.raises(InputError, match="broken"):
        write_reports(study, findings, tmp_path / "out", edition="public")
    assert not (tmp_path / "out").exists()
    assert read_release_log(tmp_path / "out").groups == ()


def test_a_lost_log_is_missed_where_an_edition_lies(tmp_path: Path) -> None:
    study, findings = made_up.study(folder=tmp_path), made_up.findings()
    write_reports(study, findings, tmp_path / "out", edition="public")
    (tmp_path / RELEASE_FILE).unlink()
    with pytest.raises(OutputError, match=r"the study has no released\.json"):
        write_reports(study, findings, tmp_path / "out", edition="public")
    assert not (tmp_path / RELEASE_FILE).exists()
