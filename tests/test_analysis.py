"""Small studies run through the whole line and say what they can't know."""

from __future__ import annotations

import shutil
from pathlib import Path

import geopandas as gpd
import pandas as pd
import pytest
from shapely.geometry import Point

import roadrisk
from roadrisk.reporting.engineer_places import engineer_places
from tests.conftest import with_few_draws
from tests.truth.small_worlds import whole_world


@pytest.fixture
def study(demo_area: Path, tmp_path: Path) -> Path:
    folder = tmp_path / "a study with späces"
    shutil.copytree(
        demo_area, folder, ignore=shutil.ignore_patterns("truth", "*.py", "__pycache__")
    )
    return with_few_draws(folder, animals=1, paths=20, draws=19)


def without(folder: Path, section: str) -> None:
    """Cut a section and its columns out of study.toml."""
    kept, inside = [], False
    for line in (folder / "study.toml").read_text(encoding="utf-8").splitlines():
        if line.startswith("["):
            inside = line.strip() == f"[{section}]" or line.startswith(f"[{section}.")
        if not inside:
            kept.append(line)
    (folder / "study.toml").write_text("\n".join(kept) + "\n", encoding="utf-8")


@pytest.mark.parametrize("made", [True, False])
def test_same_inputs_and_seed_give_the_same_numbers(
    study: Path, tmp_path: Path, made: bool
) -> None:
    """Of a made study that has every source, so that every step draws, and of a road map's."""
    folder = whole_world().write(tmp_path / "made") if made else study
    first, again = (roadrisk.analyse(roadrisk.read_study(folder)) for _ in range(2))
    pd.testing.assert_frame_equal(first.ranked, again.ranked)
    pd.testing.assert_frame_equal(first.lixels, again.lixels)
    pd.testing.assert_frame_equal(first.measures.chosen, again.measures.chosen)


def test_no_telemetry(study: Path) -> None:
    without(study, "fixes")
    without(study, "animals")
    findings = roadrisk.analyse(roadrisk.read_study(study))
    assert findings.counts["steps_across_a_road"] == 0
    assert (findings.segments["crossing_days_note"] == "no tagged animal within reach").all()
    assert len(findings.tracked.animals) == 0
    assert findings.tracked.groups["crossing_days_note"].str.startswith("not identified").all()
    # Nobody was there to cross: missing and not 0.
    assert (findings.ranked["animals_in_reach"] == 0).all()
    assert findings.ranked[["animals", "crossing_days", "least_crossings"]].isna().all(axis=None)


def test_no_public_report(study: Path) -> None:
    without(study, "sightings")
    findings = roadrisk.analyse(roadrisk.read_study(study))
    assert findings.counts["reports"] == 0
    assert findings.ranked["observers"].max() == 0
    assert len(findings.ranked) > 0
    assert findings.chance.verdict in ("stretches stand out", "too few to tell")


def test_a_handful_of_records_is_too_few_to_tell(study: Path) -> None:
    without(study, "fixes")
    without(study, "animals")
    table = pd.read_csv(study / "sightings.csv", dtype=str)
    table.iloc[40:44].to_csv(study / "sightings.csv", index=False)
    findings = roadrisk.analyse(roadrisk.read_study(study))
    assert findings.chance.verdict == "too few to tell"
    assert "no proof of safety" in findings.chance.words


def test_agency_layer_alone(study: Path) -> None:
    without(study, "roads.osm")
    read = roadrisk.read_study(study)
    findings = roadrisk.analyse(read)
    assert (findings.segments["route"] != "").any()
    top = findings.ranked.iloc[0]
    assert top["road"] == "Vellmark Road"
    assert top["begin_measure"] == pytest.approx(1.2, abs=0.2)
    _both_ends_are_said_where_they_lie(read, findings.ranked)


def _both_ends_are_said_where_they_lie(study: roadrisk.Study, ranked: gpd.GeoDataFrame) -> None:
    """By hand: a place begins at one measure of its route and ends at the other, as it is drawn."""
    assert study.agency_lines is not None
    on_route = ranked[ranked["begin_measure"].notna()]
    assert len(on_route)
    lines = study.agency_lines.set_index("route")
    for row in on_route.to_dict("records"):
        own = lines.loc[[row["route"]]]
        for end, at in (("begin", 0), ("end", -1)):
            place = Point(row["geometry"].coords[at])
            line = own.iloc[int(own.distance(place).argmin())]
            share = line.geometry.project(place, normalized=True)
            measure = line["begin_measure"] + share * (line["end_measure"] - line["begin_measure"])
            assert row[f"{end}_measure"] == pytest.approx(measure, abs=0.02)
    told = engineer_places(study, ranked)
    assert (told[["where", "begin_where", "end_where"]] != "").all(axis=None)
    # Each end is one place, and not "from" one to another.
    single = ranked[["begin_place", "end_place"]].apply(lambda words: words.str.match(r"\d|at \d"))
    assert single.all(axis=None)
