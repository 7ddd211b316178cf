"""Bearings in a whole study: the command, and fixes from bearings in the run (known places)."""

from __future__ import annotations

import csv
import shutil
from pathlib import Path

import numpy as np
import pyproj
import pytest

from roadrisk.analysis import analyse
from roadrisk.base.seeds import generator
from roadrisk.cli import main
from roadrisk.errors import InputError
from roadrisk.records.study_folder import read_study
from tests.conftest import with_few_draws

# Declination in the middle of Poland in May 2024 by the World Magnetic Model of 2020.
DECLINATION = 6.4
SECTIONS = """
[bearings]
file = "bearings.csv"
north = "magnetic"

[bearing_tests]
file = "bearing_tests.csv"
north = "magnetic"
"""


def around(rng: np.random.Generator, lon: float, lat: float, count: int) -> list[tuple[float, ...]]:
    """Longitude, latitude of observers and their magnetic bearings, 4 degrees off on the whole."""
    geod, rows = pyproj.Geod(ellps="WGS84"), []
    for turn in rng.uniform(0, 360) + np.linspace(-60, 60, count):
        x, y, back = geod.fwd(lon, lat, turn, rng.uniform(150, 500))
        rows.append((x, y, (back - DECLINATION + rng.normal(0, 4)) % 360))
    return rows


@pytest.fixture(scope="module")
def folder(demo_area: Path, tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The demo's study with two tracked animals' bearings added: invented, like the rest."""
    there = tmp_path_factory.mktemp("bearings") / "study"
    shutil.copytree(demo_area, there, ignore=shutil.ignore_patterns("truth", "*.py"))
    rng = generator(5, "bearings in a run")
    with (there / "bearings.csv").open("w", newline="", encoding="utf-8") as file:
        writer = csv.writer(file)
        writer.writerow(["organismID", "eventDate", "decimalLongitude", "decimalLatitude",
                         "bearing_degrees"])  # fmt: skip
        for day, count in enumerate((3, 4, 1), start=4):
            for minute, row in enumerate(around(rng, 19.42, 52.20, count)):
                writer.writerow(["T01", f"2024-05-0{day}T09:{minute:02}", *row])
    with (there / "bearing_tests.csv").open("w", newline="", encoding="utf-8") as file:
        writer = csv.writer(file)
        writer.writerow(["eventDate", "decimalLongitude", "decimalLatitude", "bearing_degrees",
                         "transmitterLongitude", "transmitterLatitude"])  # fmt: skip
        for row in around(rng, 19.43, 52.21, 24):
            writer.writerow(["2024-05-01", *row, 19.43, 52.21])
    with (there / "study.toml").open("a", encoding="utf-8") as file:
        file.write(SECTIONS)
    return with_few_draws(there, animals=1, paths=20, draws=19)


def test_the_command_writes_the_field_book(
    folder: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    with pytest.raises(SystemExit) as ended:
        main(["bearings", str(folder), "--out", str(tmp_path / "book")])
    assert ended.value.code in (0, None)
    said = capsys.readouterr().out
    assert "8 bearings" in said
    assert "24 tests" in said
    assert len(list((tmp_path / "book").glob("*.svg"))) == 2
    text = (tmp_path / "book" / "fixes_from_bearings.csv").read_text(encoding="utf-8-sig")
    rows = list(csv.DictReader(text.splitlines()))
    assert len(rows) == 2
    for row in rows:
        away = pyproj.Geod(ellps="WGS84").inv(
            float(row["decimalLongitude"]), float(row["decimalLatitude"]), 19.42, 52.20
        )[2]
        assert away < float(row["coordinateUncertaintyInMeters"]) < 200


def test_a_study_without_bearings_is_told_so(
    demo_area: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    with pytest.raises(SystemExit) as ended:
        main(["bearings", str(demo_area), "--out", str(tmp_path / "book")])
    assert ended.value.code == 2
    assert "no section [bearings]" in capsys.readouterr().err
    assert not (tmp_path / "book").exists()


def test_fixes_from_bearings_count_in_the_run(folder: Path, demo_area: Path) -> None:
    found = analyse(read_study(folder))
    assert found.counts["fixes"] == len(read_study(folder).fixes) + 2
    assert any(n.startswith("8 bearings") for n in found.notes)
    left_out = found.left_out[found.left_out["file"] == "bearings.csv"]
    assert left_out["reason"].tolist() == ["bearing: fewer than two usable bearings"]


def test_all_errors_at_once(folder: Path, tmp_path: Path) -> None:
    there = tmp_path / "study"
    shutil.copytree(folder, there)
    text = (there / "study.toml").read_text(encoding="utf-8")
    text = text.replace('[bearings]\nfile = "bearings.csv"\nnorth = "magnetic"',
                        '[bearings]\nfile = "bearings.csv"\njoin_within_minute = 20')  # fmt: skip
    (there / "study.toml").write_text(text, encoding="utf-8")
    tests = (there / "bearing_tests.csv").read_text(encoding="utf-8")
    (there / "bearing_tests.csv").write_text(tests.replace("2024-05-01", "2009-05-01"), "utf-8")
    with pytest.raises(InputError) as raised:
        read_study(there)
    said = "\n".join(raised.value.lines())
    assert "did you mean 'join_within_minutes'?" in said
    assert "true or from magnetic north" in said
    assert "declination_degrees" in said
