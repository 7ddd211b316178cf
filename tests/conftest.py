"""What all tests share."""

from __future__ import annotations

from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[1]


@pytest.fixture(scope="session")
def open_data() -> Path:
    """Folder of open data beside the checkout; tests read it in place and copy nothing."""
    folder = ROOT.parent / "shared" / "data"
    if not folder.is_dir():
        pytest.fail(f"the open data for outside checks is not at {folder}")
    return folder


@pytest.fixture(scope="session")
def demo_area() -> Path:
    return ROOT / "demo_area"


def with_few_draws(folder: Path, *, animals: int = 6, paths: int = 40, draws: int = 199) -> Path:
    """Make a copy of the demo small: few animals, paths, draws, power worlds; long pieces."""
    file = folder / "study.toml"
    text = file.read_text(encoding="utf-8")
    assert text.count("[crossings]\n") == text.count("[hotspots]\n") == 1
    assert "[mortality]" not in text
    text = text.replace("[crossings]\n", f"[crossings]\ndraws = {paths}\n")
    text = text.replace("[hotspots]\n", f"[hotspots]\npower_worlds = 20\ndraws = {draws}\n")
    file.write_text(text + "\n[mortality]\npiece_m = 400.0\n", encoding="utf-8")
    fixes = folder / "fixes.csv"
    head, *rows = fixes.read_text(encoding="utf-8").splitlines(keepends=True)
    kept = [row for row in rows if row[:3] in {f"T{k:02}" for k in range(1, animals + 1)}]
    fixes.write_text("".join([head, *kept]), encoding="utf-8")
    return folder
