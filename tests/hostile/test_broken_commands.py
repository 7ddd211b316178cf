"""The same broken folders through the command line: one line a problem, exit code 2, no output."""

from __future__ import annotations

from pathlib import Path

import pytest

from roadrisk.cli import main
from tests.hostile.broken_folders import CASES, Case, good_folder


@pytest.mark.parametrize("case", CASES, ids=lambda case: case.name)
def test_broken_folder(case: Case, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    folder = good_folder(tmp_path / "étude à côté")
    case.break_folder(folder)
    out = tmp_path / "out"
    with pytest.raises(SystemExit) as stopped:
        main(["run", str(folder), "--out", str(out)])
    said = capsys.readouterr()
    assert stopped.value.code == 2
    assert not out.exists()
    lines = said.err.splitlines()
    assert len(lines) >= 2
    assert lines[-1].endswith("nothing was written.")
    assert all(line.isprintable() for line in lines)
    assert "Traceback" not in said.err + said.out
    assert any("Mend: " in line for line in lines)
