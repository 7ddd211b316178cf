"""Replies from the command line: the demo's reports, decided on, read back from the files."""

import csv
import io
import shutil
from pathlib import Path

import pytest

from roadrisk.cli import main
from roadrisk.decisions import Draft
from roadrisk.records.decision_store import DecisionStore
from roadrisk.records.study_folder import read_study


def test_replies_go_to_those_whose_reports_were_decided_on(
    demo_area: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """A held report is asked about its place, in words that follow from its doubt."""
    folder = tmp_path / "study"
    shutil.copytree(
        demo_area, folder, ignore=shutil.ignore_patterns("truth", "*.py", "__pycache__")
    )
    study = read_study(folder)
    marks = {
        row.occurrenceID: (row.report_key, row.fingerprint)
        for table in (study.sightings, study.held)
        for row in table.itertuples()
    }
    DecisionStore(folder).append(
        [
            Draft("verdict", *marks["demo-0284"], verdict="accept"),
            Draft("verdict", *marks["demo-0294"], verdict="ask back", reason="in my own words"),
        ],
        who="Reviewer Quill",
    )
    with pytest.raises(SystemExit) as done:
        main(["sightings", "replies", str(folder), "--out", str(tmp_path / "out")])
    assert done.value.code in (0, None)
    said = capsys.readouterr().out
    assert "replies.html" in said
    assert "Confidential" in said
    text = (tmp_path / "out" / "replies.csv").read_text("utf-8-sig")
    rows = {r["occurrenceID"]: r for r in csv.DictReader(io.StringIO(text, newline=""))}
    assert {k: r["verdict"] for k, r in rows.items()} == {
        "demo-0284": "accept", "demo-0294": "ask back",
    }  # fmt: skip
    assert rows["demo-0284"]["recordedBy"] == "observer-005"
    assert "where exactly it was" in rows["demo-0294"]["text"]
    for secret in ("T07", "Tarnholt", "Brackwell", "Quill", "own words", "52.1"):
        assert secret not in text
    page = (tmp_path / "out" / "replies.html").read_text("utf-8")
    assert "Replies: 2 (1 accepted, 1 asked back," in page
