"""Starting the page: places before moves, a port that is taken, a folder that is synced."""

from __future__ import annotations

import subprocess
import sys
from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np
import pytest

from roadrisk.decisions import Draft
from roadrisk.errors import RoadriskError
from roadrisk.records.decision_store import DecisionStore
from roadrisk.review.server import _listening, prepare, reported_places, serve
from tests.pages.serve_made import made_page
from tests.reporting import made_up
from tests.sightings.made_reviewed import made_reviewed

if TYPE_CHECKING:
    from pathlib import Path


def test_a_move_that_is_taken_back_leads_to_where_it_was_reported(tmp_path: Path) -> None:
    """By hand: the report was moved before the page was started; the study knows where from."""
    key, mark = "R-02", "mark0001"
    store = DecisionStore(tmp_path)
    store.append([Draft("place", key, mark, longitude=19.41, latitude=52.21)], who="Ann Reed")
    reviewed = made_reviewed()
    moved = reviewed.reports.copy()
    moved.loc[1, ["longitude", "latitude", "moved"]] = [19.41, 52.21, True]
    study = replace(made_up.study(folder=tmp_path), sightings=reviewed.reports, held=None)
    before = reported_places(study, reviewed)
    there = reviewed.reports.loc[1, ["longitude", "latitude"]].to_numpy(float)
    np.testing.assert_allclose(before[1], there, atol=1e-9)
    assert np.isnan(before[0]).all()
    desk = prepare(study, replace(reviewed, reports=moved), reviewer="Ann Reed").desk
    assert desk.row(1)["moved"]
    assert desk.row(1)["longitude"] == 19.41
    desk.undo(1)
    assert not desk.row(1)["moved"]
    assert desk.row(1)["longitude"] == pytest.approx(there[0], abs=1e-9)
    road, far = desk.row(1)["road"], desk.row(1)["distance_m"]
    assert road == "Heron Road"
    # (720, 655) beside the road from (700, 640) to (1400, 600): by plane geometry.
    assert far == pytest.approx(16.118, abs=0.05)


def test_what_was_decided_before_stands_when_the_page_starts(tmp_path: Path) -> None:
    """Also where it was decided after the reports were read, and for a text that has changed."""
    store = DecisionStore(tmp_path)
    store.append(
        [
            Draft("verdict", "R-02", "mark0001", verdict="accept"),
            Draft("verdict", "R-03", "another text", verdict="reject", reason="a log"),
        ],
        who="Ole Fen",
    )
    desk = made_page(tmp_path).desk
    assert list(desk.state[[1, 2, 3]]) == ["accept", "changed", "undecided"]
    assert desk.open_rows() == 11
    assert desk.next_open(0) == 2
    assert desk.decided(2) is not None


def test_a_name_is_one_printable_line_of_some_length(tmp_path: Path) -> None:
    assert made_page(tmp_path, reviewer=" Ann\n\u202e  Reed ").desk.reviewer == "Ann Reed"
    with pytest.raises(RoadriskError, match="at most 80 characters"):
        made_page(tmp_path, reviewer="x" * 81)


def test_a_port_that_is_taken_is_one_sentence(tmp_path: Path) -> None:
    with _listening(0) as listening:
        port = listening.getsockname()[1]
        with pytest.raises(RoadriskError, match=f"port {port} can't be used"):
            serve(made_page(tmp_path), port=port, opens=False, say=lambda _: None)


def test_a_synced_folder_is_said_on_the_page(tmp_path: Path) -> None:
    folder = tmp_path / "Dropbox" / "study"
    folder.mkdir(parents=True)
    warnings = made_page(folder).desk.words.warnings
    assert any(w.startswith("Take care: ") and "Dropbox" in w for w in warnings)
    assert not any("Dropbox" in w for w in made_page(tmp_path).desk.words.warnings)


def test_a_study_that_cannot_be_read_is_one_line(tmp_path: Path) -> None:
    done = subprocess.run(
        [sys.executable, "-m", "roadrisk", "review", str(tmp_path), "--no-open"],
        capture_output=True, text=True, check=False, encoding="utf-8",
    )  # fmt: skip
    assert done.returncode == 2
    assert "study.toml" in done.stderr
    assert "Traceback" not in done.stderr
