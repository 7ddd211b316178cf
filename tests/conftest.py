"""What all tests share."""

from __future__ import annotations

from pathlib import Path

import pytest

# Before anything that loads numpy: it sets how many threads linear algebra has.
import roadrisk  # noqa: F401

ROOT = Path(__file__).resolve().parents[1]
# Long files begin first, so that no worker ends alone with one of them. The first four compile
# different rooms' functions: two workers that began with whole runs would compile all of it twice.
FIRST = (
    "telemetry/test_planner.py",
    "truth/test_linkage.py",
    "truth/test_contact.py",
    "hotspots/test_where_ways_are_cut.py",
    "outside/test_real_studies.py",
    "truth/test_recovery.py",
    "test_analysis.py",
    "test_cli.py",
    "truth/test_worlds_without_animals.py",
    "pages/test_review_kept.py",
    "truth/test_project_world.py",
    "test_cli_plan.py",
    "test_bearings_in_a_run.py",
    "truth/test_worlds_without.py",
    "pages/test_review_page.py",
    "truth/test_demo_area.py",
    "review/test_hot.py",
    "hotspots/test_power.py",
    "truth/test_false_alarms.py",
    "truth/test_planted_stretches.py",
)


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Put the files of `FIRST` first, in that order."""
    place = {ROOT / "tests" / name: k for k, name in enumerate(FIRST)}
    items.sort(key=lambda item: place.get(item.path, len(FIRST)))


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
