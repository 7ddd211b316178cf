"""Sheets for reviewers elsewhere, from export to what a run counts, by the command line."""

from __future__ import annotations

import csv
import shutil

import openpyxl
import pytest

from roadrisk.analysis import review_reports
from roadrisk.cli import main
from roadrisk.decisions import Draft
from roadrisk.records.decision_store import DecisionStore
from roadrisk.records.study_folder import read_study
from tests.hostile.broken_folders import SIGHTINGS, good_folder
from tests.records.filled_in import fill

FORMULA = "=cmd|' /C calc'!A0"


@pytest.fixture
def folder(tmp_path, monkeypatch):
    """Return a study whose last report is held, since its coordinates are exchanged."""
    folder = good_folder(tmp_path / "study")
    text = f"{SIGHTINGS}{FORMULA},2025-06-03,-76.10200,38.50010,30,alive,<script>\n"
    (folder / "sightings.csv").write_text(text, encoding="utf-8")
    monkeypatch.chdir(tmp_path)
    return folder


def call(*words):
    """Call the command line as it is; return its exit code."""
    with pytest.raises(SystemExit) as caught:
        main([str(word) for word in words])
    return caught.value.code or 0


def exported(folder, tmp_path, name, **answers):
    path = tmp_path / f"{name}.xlsx"
    assert call("sightings", "export", folder, "--reviewer", name, "--out", path) == 0
    return fill(path, answers)


def history(folder):
    return DecisionStore(folder).history()


def test_there_and_back(folder, tmp_path, capsys):
    # By hand: a sheet goes out, comes back filled in, and the study has the decisions; a second
    # import adds nothing; what counts is what was decided.
    path = tmp_path / "reports" / "reed_hollow" / "review_Ida_Reed.xlsx"
    assert call("sightings", "export", folder, "--reviewer", "Ida Reed") == 0
    said = capsys.readouterr()
    assert f"wrote {path.relative_to(tmp_path)}" in said.out
    assert "Confidential" in said.out
    assert said.err == ""
    assert not (folder / "decisions.sqlite").exists()
    answers = {
        "A1": {"Your verdict": "reject", "Reason": "@SUM(A1)"},
        "A2": {"Your verdict": "accept", "Not the same animal as": "A3"},
        "A4": {"New latitude": 38.5001, "New longitude": -76.1041},
        FORMULA: {"Your verdict": "accept", "New latitude": "38,5001", "New longitude": -76.102},
    }
    fill(path, answers)
    assert call("sightings", "import", folder, path) == 0
    said = capsys.readouterr()
    assert said.out == (
        "review_Ida_Reed.xlsx (Ida Reed): imported 4, unchanged 0, left empty 3, conflicts 0\n"
    )
    entries = history(folder)
    assert {e.who for e in entries} == {"Ida Reed"}
    assert {e.source for e in entries} == {"review_Ida_Reed.xlsx"}
    assert call("sightings", "import", folder, path) == 0
    assert "imported 0, unchanged 4" in capsys.readouterr().out
    assert history(folder) == entries
    read = read_study(folder)
    assert read.decisions.history == entries
    assert {"decisions.sqlite"} <= {i.name for i in read.inputs}
    reviewed = review_reports(read)
    rows = reviewed.reports.set_index("report_key")
    assert rows["state"].to_dict() == {
        "A1": "reject", "A2": "accept", "A3": "undecided", "A4": "undecided", "A5": "undecided",
        "A6": "undecided", FORMULA: "accept",
    }  # fmt: skip
    assert rows.loc["A4", ["longitude", "latitude"]].tolist() == pytest.approx([-76.1041, 38.5001])
    assert set(reviewed.queue) == {"A3", "A4", "A5", "A6"}
    assert not (tmp_path / "reports" / "reed_hollow" / "review_conflicts.csv").exists()


def test_two_reviewers_who_disagree(folder, tmp_path, capsys):
    # By hand: of Ole's three rows one is new, one says what Ida said, one is against her.
    ida = exported(folder, tmp_path, "Ida", A1={"Your verdict": "accept"},
                   A2={"Your verdict": "reject", "Reason": "a stone"})  # fmt: skip
    ole = exported(folder, tmp_path, "Ole", A1={"Your verdict": "accept"},
                   A2={"Your verdict": "accept", "Reason": "@x"},
                   A3={"Your verdict": "not sure"})  # fmt: skip
    assert history(folder) == ()
    capsys.readouterr()
    assert call("sightings", "import", folder, ida, ole) == 0
    said = capsys.readouterr().out
    assert "Ida.xlsx (Ida): imported 2, unchanged 0, left empty 5, conflicts 0" in said
    assert "Ole.xlsx (Ole): imported 1, unchanged 1, left empty 4, conflicts 1" in said
    assert "report A2: Ole says accept, @x; Ida said reject, a stone on 20" in said
    path = tmp_path / "reports" / "reed_hollow" / "review_conflicts.csv"
    assert "review_conflicts.csv. To settle: talk it over" in said
    with path.open(encoding="utf-8-sig", newline="") as stream:
        (row,) = csv.DictReader(stream)
    assert (row["report"], row["who"], row["verdict"], row["reason"]) == (
        "A2", "Ole", "accept", "'@x",
    )  # fmt: skip
    assert (row["against_who"], row["against_verdict"], row["against_reason"]) == (
        "Ida", "reject", "a stone",
    )  # fmt: skip
    assert [(e.report_key, e.who, e.verdict) for e in history(folder)] == [
        ("A1", "Ida", "accept"), ("A2", "Ida", "reject"), ("A3", "Ole", "not sure"),
    ]  # fmt: skip
    # Ole was right: his side is taken, and the list of conflicts is empty again.
    assert call("sightings", "import", folder, ole, "--take", "Ole") == 0
    assert "imported 1, unchanged 2, left empty 4, conflicts 0" in capsys.readouterr().out
    with path.open(encoding="utf-8-sig", newline="") as stream:
        assert list(csv.DictReader(stream)) == []
    assert read_study(folder).decisions.standing["A2"].verdict.who == "Ole"


def test_a_decision_at_the_desk_meanwhile(folder, tmp_path, capsys):
    # By hand: Una decided in the page while the sheet was away.
    path = exported(folder, tmp_path, "Ida", A1={"Your verdict": "reject"},
                    A2={"Your verdict": "accept"})  # fmt: skip
    mark = read_study(folder).sightings.set_index("report_key").loc["A1", "fingerprint"]
    DecisionStore(folder).append([Draft("verdict", "A1", mark, verdict="accept")], who="Una")
    other = tmp_path / "lists"
    assert call("sightings", "import", folder, path, "--out", other) == 0
    assert "imported 1, unchanged 0, left empty 5, conflicts 1" in capsys.readouterr().out
    assert (other / "review_conflicts.csv").exists()
    assert [(e.report_key, e.who) for e in history(folder)] == [("A1", "Una"), ("A2", "Ida")]


def test_a_bad_sheet_is_refused_whole_and_so_are_those_with_it(folder, tmp_path, capsys):
    # By hand: one good sheet, one with two bad cells, one of another study.
    good = exported(folder, tmp_path, "Ida", A1={"Your verdict": "accept"})
    bad = exported(folder, tmp_path, "Ole", A1={"Your verdict": "yes"}, A2={"New latitude": 1})
    alien = tmp_path / "alien.xlsx"
    shutil.copy(good, alien)
    book = openpyxl.load_workbook(alien)
    book["About"]["B3"] = "elsewhere"
    book.save(alien)
    capsys.readouterr()
    assert call("sightings", "import", folder, good, bad, alien) == 2
    said = capsys.readouterr()
    lines = said.err.splitlines()
    assert len(lines) == 4
    assert "column Your verdict: 'yes' is no verdict. Mend: " in said.err
    assert "column New longitude" in said.err
    assert "alien.xlsx: this sheet is of the study 'elsewhere'" in said.err
    assert lines[-1] == "3 problems; nothing was written."
    assert said.out == ""
    assert not (folder / "decisions.sqlite").exists()


def test_shares_and_refusals(folder, tmp_path, capsys):
    # By hand: two shares together hold the queue once; what can't be is one line.
    asked = []
    for share in ("1/2", "2/2"):
        assert call("sightings", "export", folder, "--reviewer", "Ida", "--share", share) == 0
        name = f"review_Ida_{share.replace('/', '_of_')}.xlsx"
        page = openpyxl.load_workbook(tmp_path / "reports" / "reed_hollow" / name)["Reports"]
        asked += [r[1].value for r in page.iter_rows(min_row=4) if r[-1].value == "1"]
    assert sorted(asked) == sorted([*(f"A{i}" for i in range(1, 7)), FORMULA])
    capsys.readouterr()
    for words, said in (
        (["--share", "3/2"], "write such as 1/3"),
        (["--share", "half"], "write such as 1/3"),
        (["--out", tmp_path / "x.csv"], "give a name that ends in .xlsx"),
        (["--reviewer", " "], "give the reviewer's name"),
    ):
        assert call("sightings", "export", folder, "--reviewer", "Ida", *words) == 2
        err = capsys.readouterr().err
        assert said in err
        assert len(err.splitlines()) == 1


def test_the_log(folder, tmp_path, capsys):
    # By hand: an empty one; one with an undo; hostile text with its apostrophe.
    assert call("sightings", "log", folder) == 0
    assert "(0 entries)" in capsys.readouterr().out
    store = DecisionStore(folder)
    store.append([Draft("verdict", FORMULA, "f", verdict="reject", reason="@x")], who="Ida")
    store.append([Draft("undo", undoes=1)], who="Una")
    assert call("sightings", "log", folder, "--out", tmp_path / "lists" / "all.csv") == 0
    assert "Confidential" in capsys.readouterr().out
    with (tmp_path / "lists" / "all.csv").open(encoding="utf-8-sig", newline="") as stream:
        first, second = csv.DictReader(stream)
    assert (first["report"], first["reason"], first["who"]) == (f"'{FORMULA}", "'@x", "Ida")
    assert first["taken_back_by"].startswith("2: Una, 20")
    assert (second["what"], second["takes_back"]) == ("takes back entry 1", "1")
    (folder / "decisions.sqlite").write_bytes(b"no database, but long enough to look like one" * 9)
    for command in ("log", "export"):
        options = ["--reviewer", "Ida"] if command == "export" else []
        assert call("sightings", command, folder, *options) == 2
        assert "is no history of decisions. Mend: " in capsys.readouterr().err


def test_a_synced_folder_is_warned_of(folder, tmp_path, capsys):
    # By hand: the study lies where a sync program keeps its folder.
    there = tmp_path / "Nextcloud" / "study"
    shutil.move(folder, there)
    path = exported(there, tmp_path, "Ida", A1={"Your verdict": "accept"})
    assert "Take care: the study folder seems to be synchronised" in capsys.readouterr().err
    assert call("sightings", "import", there, path) == 0
    assert "wait until the sync is done" in capsys.readouterr().err
    assert call("check", there) == 0
    assert "decisions.sqlite: the study folder seems to be synchronised" in capsys.readouterr().out
