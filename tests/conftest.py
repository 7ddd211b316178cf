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


def with_few_draws(folder: Path) -> Path:
    """Let a copy of the demo draw fewer paths and power worlds; return the folder."""
    file = folder / "study.toml"
    text = file.read_text(encoding="utf-8")
    assert text.count("[crossings]\n") == 1
    text = text.replace("[crossings]\n", "[crossings]\ndraws = 40\n")
    text = text.replace("[hotspots]\n", "[hotspots]\npower_worlds = 20\n")
    file.write_text(text, encoding="utf-8")
    return folder
