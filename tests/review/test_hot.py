"""Hot stretches are worked out beside the page, once, with what is decided. By hand."""

from __future__ import annotations

import shutil
import time
from typing import TYPE_CHECKING

import shapely

from roadrisk.base.crs import WGS84
from roadrisk.records.study_folder import read_study
from roadrisk.review.hot import HotStretches
from tests.conftest import with_few_draws
from tests.reporting import made_up

if TYPE_CHECKING:
    from pathlib import Path

    from roadrisk.decisions import Entry

Lines = list[list[list[float]]]


def _wait(hot: HotStretches) -> dict[str, object]:
    until = time.monotonic() + 300
    while (told := hot.told())["state"] == "computing":
        assert time.monotonic() < until
        time.sleep(0.05)
    return told


def test_the_demo_has_its_stretches(demo_area: Path, tmp_path: Path) -> None:
    """The line that comes out lies on a planted stretch of the demo's truth."""
    folder = tmp_path / "demo"
    shutil.copytree(demo_area, folder, ignore=shutil.ignore_patterns("*.py", "__pycache__"))
    study = read_study(with_few_draws(folder, animals=1, paths=20, draws=19))
    asked: list[int] = []

    def history() -> tuple[Entry, ...]:
        asked.append(1)
        return ()

    hot = HotStretches(study, history)
    assert hot.told() == {"state": "none"}
    assert hot.start() == {"state": "computing"}
    assert hot.start() == {"state": "computing"}
    told = _wait(hot)
    assert told["state"] == "ready", told
    assert asked == [1]
    assert isinstance(told["count"], int)
    assert told["count"] >= 1
    lines: Lines = told["lines"]  # type: ignore[assignment]
    found = shapely.MultiLineString([[(lon, lat) for lat, lon in line] for line in lines])
    import geopandas as gpd

    planted = gpd.read_file(demo_area / "truth" / "true_stretches.geojson").to_crs(WGS84)
    assert found.distance(planted.union_all()) < 1e-3
    assert hot.start() is told


def test_what_fails_says_so_and_can_be_asked_again() -> None:
    """A study without any roads."""
    hot = HotStretches(made_up.study(), tuple)
    hot.start()
    told = _wait(hot)
    assert told["state"] == "failed"
    assert "worked out" in str(told["words"])
    assert "Traceback" not in str(told["words"])
    assert hot.start() == {"state": "computing"}
    assert _wait(hot)["state"] == "failed"
