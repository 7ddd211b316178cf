"""The command line as a user meets it: words, exit codes, whole files."""

from __future__ import annotations

import json
import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

from tests.truth.small_worlds import whole_world

COMMAND = [sys.executable, "-m", "roadrisk"]


def call(*arguments: str | Path, cwd: Path) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [*COMMAND, *map(str, arguments)], cwd=cwd, capture_output=True, text=True, check=False,
        encoding="utf-8", env=os.environ | {"PYTHONUTF8": "1", "COLUMNS": "80"},
    )  # fmt: skip


@pytest.fixture
def study(demo_area: Path, tmp_path: Path) -> Path:
    folder = tmp_path / "étude à côté"
    shutil.copytree(
        demo_area, folder, ignore=shutil.ignore_patterns("truth", "*.py", "__pycache__")
    )
    return folder


@pytest.fixture
def small(tmp_path: Path) -> Path:
    """A made study with every source; the demo goes through the command in truth/test_recovery."""
    return whole_world().write(tmp_path / "petite étude à côté")


def test_run_writes_the_agency_edition_into_reports_and_repeats(
    small: Path, tmp_path: Path
) -> None:
    """Twice the same bytes; `--again` says so, and says what an edit of the inputs changes."""
    done = call("run", small, cwd=tmp_path)
    assert done.returncode == 0, done.stderr
    assert done.stderr == ""  # no progress in a pipe, no warnings
    assert "stands out" in done.stdout
    last = done.stdout.splitlines()[-1]
    assert last.startswith("Agency edition: written as if it will be published")
    folder = tmp_path / "reports" / "ossmark" / "agency"
    for name in ("map.html", "ranked_stretches.csv"):
        assert (folder / name).stat().st_size > 1000
    assert not (folder / "left_out.csv").exists()
    said = json.loads((folder / "provenance.json").read_text("utf-8"))
    assert said["command"] == f"roadrisk run '{small.name}' --edition agency"
    assert str(tmp_path) not in json.dumps(said)
    first = {p.name: p.read_bytes() for p in folder.iterdir()}
    assert call("run", small, cwd=tmp_path).returncode == 0
    assert {p.name: p.read_bytes() for p in folder.iterdir()} == first
    before = sorted(tmp_path.rglob("*"))
    again = call("run", small, "--again", folder / "provenance.json", cwd=tmp_path)
    assert again.returncode == 0, again.stderr
    assert again.stdout.splitlines()[-1].startswith("It repeats: all ")
    with (small / "study.toml").open("a", encoding="utf-8") as stream:
        stream.write("# a line more\n")
    again = call("run", small, "--again", folder / "provenance.json", cwd=tmp_path)
    assert again.returncode == 1
    assert again.stdout.startswith("Some input has changed since")
    assert sorted(tmp_path.rglob("*")) == before


def test_each_edition_gets_a_folder_of_its_own(small: Path, tmp_path: Path) -> None:
    editions = ("--edition", "confidential", "--edition", "agency", "--edition", "public")
    done = call("run", small, "--out", tmp_path / "out", *editions, cwd=tmp_path)
    assert done.returncode == 0, done.stderr
    whole, agency = tmp_path / "out" / "confidential", tmp_path / "out" / "agency"
    assert sorted(p.name for p in (tmp_path / "out").iterdir()) == [
        "agency", "confidential", "public",
    ]  # fmt: skip
    assert (small / "released.json").exists()
    past = tmp_path / "out" / "public" / "provenance.json"
    again = call("run", small, "--again", past, cwd=tmp_path)
    assert again.returncode == 0, again.stdout
    assert "It repeats: all " in again.stdout
    assert (whole / "left_out.csv").exists()
    assert {p.name for p in agency.iterdir()} < {p.name for p in whole.iterdir()}
    assert "left_out.csv, doubts.csv" in done.stdout
    refused = call("run", small, "--out", whole, cwd=tmp_path)
    assert refused.returncode == 2
    assert "holds files of the confidential edition" in refused.stderr
    assert "--out" in refused.stderr
    assert len(refused.stderr.splitlines()) == 1


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (["--edition", "agencie"], "did you mean 'agency'?"),
        (["--again", "provenance.json"], "provenance.json: it does not exist."),
        (["--again", "x.json", "--edition", "agency"], "leave out --out and --edition"),
    ],
)
def test_editions_and_runs_that_are_none(words: list[str], said: str, tmp_path: Path) -> None:
    """Told before the study is read."""
    done = call("run", tmp_path / "no study", *words, cwd=tmp_path)
    assert done.returncode == 2
    assert said in done.stderr
    assert "Traceback" not in done.stderr


def test_check_lists_doubts_and_writes_nothing(study: Path, tmp_path: Path) -> None:
    before = sorted(tmp_path.rglob("*"))
    done = call("check", study, cwd=tmp_path)
    assert done.returncode == 0
    assert "sightings.csv, row 103, column decimalLatitude: " in done.stdout
    assert "Mend: " in done.stdout
    assert sorted(tmp_path.rglob("*")) == before


def test_bad_input_is_one_line_a_problem_and_exit_code_2(study: Path, tmp_path: Path) -> None:
    text = (study / "study.toml").read_text(encoding="utf-8")
    (study / "study.toml").write_text(
        text.replace("[fixes]", "[fixes]\nencodin = 'x'"), encoding="utf-8"
    )
    for word in ("run", "check"):
        done = call(word, study, cwd=tmp_path)
        assert done.returncode == 2
        said = done.stderr + done.stdout
        assert "did you mean 'encoding'?" in said
        assert "Traceback" not in said
    assert not (tmp_path / "reports").exists()


def test_a_list_that_is_open_elsewhere_gives_a_sentence(small: Path, tmp_path: Path) -> None:
    out = tmp_path / "out"
    out.mkdir()
    (out / "ranked_stretches.csv").write_text("old")
    (out / ".~lock.ranked_stretches.csv#").write_text(",me,pc;")
    done = call("run", small, "--out", out, cwd=tmp_path)
    assert done.returncode == 2
    assert "ranked_stretches.csv is open in another program" in done.stderr
    assert "Traceback" not in done.stderr
    assert (out / "ranked_stretches.csv").read_text() == "old"
    assert sorted(p.name for p in out.iterdir()) == [
        ".~lock.ranked_stretches.csv#",
        "ranked_stretches.csv",
    ]


@pytest.mark.skipif(sys.platform == "win32", reason="pseudo-terminals are a thing of Unix")
def test_a_terminal_sees_progress(small: Path, tmp_path: Path) -> None:
    import pty  # not there on Windows

    leader, follower = pty.openpty()
    done = subprocess.Popen(
        [*COMMAND, "run", str(small)], cwd=tmp_path, stdout=subprocess.DEVNULL, stderr=follower,
        env=os.environ | {"TERM": "xterm", "COLUMNS": "100"},
    )  # fmt: skip
    os.close(follower)
    seen = b""
    while True:
        try:
            piece = os.read(leader, 4096)
        except OSError:  # the other end is closed
            break
        if not piece:
            break
        seen += piece
    assert done.wait() == 0
    assert b"Comparing with chance" in seen


@pytest.mark.parametrize("words", [[], ["run"], ["check"], ["new"], ["roads"]])
def test_help_reads_well(words: list[str], tmp_path: Path) -> None:
    done = call(*words, "--help", cwd=tmp_path)
    assert done.returncode == 0
    assert "..." not in done.stdout.replace("[ARGS]...", "")
    assert all(len(line) <= 80 for line in done.stdout.splitlines())


def test_new_then_check_says_what_is_missing(tmp_path: Path) -> None:
    assert call("new", tmp_path / "mine", cwd=tmp_path).returncode == 0
    done = call("check", tmp_path / "mine", cwd=tmp_path)
    assert done.returncode == 2
    assert "study.toml" in done.stdout


def test_roads_needs_one_way_to_find_a_place(study: Path, tmp_path: Path) -> None:
    done = call("roads", study, cwd=tmp_path)
    assert done.returncode == 2
    assert "--around-data" in done.stderr


def test_help_comes_fast_because_libraries_are_imported_late(tmp_path: Path) -> None:
    heavy = ("osmnx", "folium", "geopandas", "numba", "pandas")
    code = f"import sys, roadrisk.cli; print([m for m in {heavy} if m in sys.modules])"
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"


def test_new_from_a_table_shows_the_mapping_and_asks(demo_area: Path, tmp_path: Path) -> None:
    table = tmp_path / "my fixes.csv"
    rows = [f"00{7 + day % 2};0{day}/04/2024;52,2{day};19,4{day}" for day in range(1, 7)]
    table.write_text("\n".join(["Turtle;Date;Lat;Lon", *rows]) + "\n")

    def answered(words: str) -> subprocess.CompletedProcess[str]:
        return subprocess.run(
            [*COMMAND, "new", "mine", "--from", str(table)], cwd=tmp_path, input=words, text=True,
            capture_output=True, check=False,
        )  # fmt: skip

    refused = answered("day\nn\n")
    assert refused.returncode == 1
    assert "Lat -> decimalLatitude" in refused.stdout
    assert not (tmp_path / "mine").exists()
    assert answered("sideways\n").returncode == 2
    done = answered("day\ny\n")
    assert done.returncode == 0, done.stderr
    text = (tmp_path / "mine" / "study.toml").read_text(encoding="utf-8")
    assert 'date_order = "day-first"' in text
    assert 'organismID = "Turtle"' in text
