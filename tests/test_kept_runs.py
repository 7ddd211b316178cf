"""What a run keeps: used again where nothing it rests on changed, and never else."""

from __future__ import annotations

import shutil
from dataclasses import fields
from typing import TYPE_CHECKING

import pytest

from roadrisk import read_study
from roadrisk.analysis import analyse
from roadrisk.base.content_key import content_key
from roadrisk.base.kept_steps import FOLDER, KeptSteps
from roadrisk.study_parts import for_evidence, for_paths, for_roads, key_values
from tests.truth.small_worlds import whole_world

if TYPE_CHECKING:
    from collections.abc import Callable
    from pathlib import Path

    from roadrisk.findings import Findings

ALL = ["roads", "paths", "reports", "deaths", "hotspots"]


@pytest.fixture(scope="module")
def first(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Findings]:
    """A study that was analysed once, with what that kept, and what it found."""
    folder = whole_world().write(tmp_path_factory.mktemp("kept") / "study")
    return folder, analyse(read_study(folder), kept=KeptSteps(folder))


@pytest.fixture
def study(first: tuple[Path, Findings], tmp_path: Path) -> Path:
    shutil.copytree(first[0], tmp_path / "study")
    (tmp_path / "study" / FOLDER).chmod(0o700)
    return tmp_path / "study"


def unlike(a: Findings, b: Findings) -> list[str]:
    """Names of what differs between findings."""
    names = [f.name for f in fields(a)]
    return [n for n in names if content_key(getattr(a, n)) != content_key(getattr(b, n))]


def used(folder: Path) -> list[str]:
    """Steps that a run would take from an earlier one."""
    kept = KeptSteps(folder)
    analyse(read_study(folder), kept=kept)
    return kept.used


def edit(folder: Path, name: str, change: Callable[[str], str]) -> None:
    file = folder / name
    text = file.read_text(encoding="utf-8")
    assert change(text) != text
    file.write_text(change(text), encoding="utf-8")


def test_second_run_uses_all_and_finds_the_same(first: tuple[Path, Findings], study: Path) -> None:
    kept = KeptSteps(study)
    again = analyse(read_study(study), kept=kept)
    assert kept.used == ALL
    assert unlike(first[1], again) == []


def test_run_that_was_cut_short_goes_on(first: tuple[Path, Findings], study: Path) -> None:
    for name in ("deaths", "hotspots"):
        for file in (study / FOLDER).glob(f"{name}-*"):
            file.unlink()
    kept = KeptSteps(study)
    again = analyse(read_study(study), kept=kept)
    assert kept.used == ALL[:3]
    assert unlike(first[1], again) == []


def test_words_of_the_proposal_change_nothing(study: Path) -> None:
    edit(study, "study.toml", lambda t: t + '\n[proposal]\nagency = "Ossmark (invented)"\n')
    assert used(study) == ALL


def test_traffic_changes_roads_and_all_after(study: Path) -> None:
    edit(study, "traffic.csv", lambda t: t.replace("700", "900"))
    assert used(study) == []


def test_a_report_changes_all_but_roads_and_paths(study: Path) -> None:
    edit(study, "sightings.csv", lambda t: "\n".join(t.splitlines()[:-1]) + "\n")
    assert used(study) == ["roads", "paths"]


def test_a_setting_of_deaths_changes_deaths(study: Path) -> None:
    edit(study, "study.toml", lambda t: t.replace("piece_m = 150", "piece_m = 160"))
    assert used(study) == ["roads", "paths"]


def test_parts_are_what_steps_rest_on(first: tuple[Path, Findings]) -> None:
    whole = read_study(first[0])
    roads, paths, evidence = for_roads(whole), for_paths(whole), for_evidence(whole)
    assert roads.sightings.empty
    assert roads.fixes.empty
    assert roads.agency_lines is whole.agency_lines
    assert paths.agency_lines is None
    assert paths.settings.crossings == whole.settings.crossings
    assert paths.settings.mortality != whole.settings.mortality
    assert evidence.sightings is whole.sightings
    assert evidence.settings.mortality == whole.settings.mortality
    assert evidence.prices is None
    for part in (roads, paths, evidence):
        assert part.settings.study == whole.settings.study
        assert content_key(*key_values(part)) == content_key(*key_values(part))
