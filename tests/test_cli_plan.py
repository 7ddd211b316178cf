"""The planner's command as a user meets it: words, exit codes, nothing written."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest


def call(*arguments: str | Path, cwd: Path) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-m", "roadrisk", "plan", *map(str, arguments)], cwd=cwd,
        capture_output=True, text=True, check=False, encoding="utf-8",
        env=os.environ | {"PYTHONUTF8": "1", "COLUMNS": "80"},
    )  # fmt: skip


def test_plan_prints_a_table_and_writes_nothing(demo_area: Path, tmp_path: Path) -> None:
    given = ("--schedule", "2", "--schedule", "7+6/10", "--animals", "3", "--days", "30")
    done = call(demo_area, *given, "--studies", "1", cwd=tmp_path)
    assert (done.returncode, done.stderr) == (0, "")
    rows = [line.split()[:2] for line in done.stdout.splitlines() if line.startswith(("2 ", "7+"))]
    assert rows[0] == ["2", "15"]
    assert rows[1][0] == "7+6/10"
    assert "7+6/10: a fix every 7 days, and 6 fixes 1 h apart every 10 days" in done.stdout
    assert "no response to the road" in done.stdout
    assert "need permits" in done.stdout
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize(("option", "value", "said"), [
    ("--schedule", "weekly", "'weekly' is no schedule"),
    ("--animals", "0", "animals 0 must lie between 1 and 200"),
    ("--schedule", "500", "fewer than two fixes"),
])  # fmt: skip
def test_bad_option_is_one_line_and_exit_code_2(
    demo_area: Path, tmp_path: Path, option: str, value: str, said: str
) -> None:
    done = call(demo_area, option, value, cwd=tmp_path)
    assert done.returncode == 2
    assert len(done.stderr.splitlines()) == 1
    assert said in done.stderr
    assert done.stdout == ""


def test_a_plan_from_the_fixes_of_the_study(demo_area: Path, tmp_path: Path) -> None:
    done = call(demo_area, "--from-fixes", "--schedule", "3", "--animals", "2", "--days", "30",
                "--studies", "1", cwd=tmp_path)  # fmt: skip
    assert done.returncode == 0, done.stderr
    assert "fixes of 18 animals of the study show" in " ".join(done.stdout.split())
