"""The network of a whole study: by hand on small studies, and on the invented demo."""

from __future__ import annotations

import shutil
from dataclasses import replace
from pathlib import Path

import geopandas as gpd
import pandas as pd
import pyproj
import pytest
from shapely import LineString

from roadrisk.errors import OutputError, RoadSourceError
from roadrisk.records.fetch_roads import _write, fetch_roads
from roadrisk.roads.build import build_network
from roadrisk.settings import settings_from
from roadrisk.study import Study
from tests.outside.osmnx_path import osmnx_graph
from tests.roads.small_osm import LEAVE_OUT, Nodes, Ways, osm_graph, osm_text
from tests.roads.test_agency_and_traffic import layer, traffic

UTM = pyproj.CRS.from_epsg(32633)
NODES: Nodes = {n: (15.0 + 0.001 * n, 50.0) for n in range(1, 8)}
NODES |= {10 + n: (15.0 + 0.001 * n, 50.001) for n in range(1, 8)}
WAYS: Ways = {
    1: ([1, 2, 3], {"highway": "primary", "name": "High Road"}),
    2: ([3, 4, 5], {"highway": "primary", "name": "High Road", "bridge": "yes"}),
    3: ([3, 13], {"highway": "residential"}),
}


def study(**tables: object) -> Study:
    settings = settings_from(
        {
            "study": {
                "name": "Test", "short_name": "test", "species": "Testudo ficta",
                "start": "2023-01-01", "end": "2024-12-31", "time_zone": "UTC",
            },
            "fixes": {"file": "fixes.csv"},
            "roads": {"agency": {"file": "roads.gpkg"}},
        }
    )  # fmt: skip
    empty = Study(
        folder=Path(), settings=settings, crs=UTM, animals=pd.DataFrame(),
        fixes=gpd.GeoDataFrame(), sightings=gpd.GeoDataFrame(), osm_graph=None,
        agency_lines=None, traffic=None,
    )  # fmt: skip
    return replace(empty, **tables)


def agency() -> gpd.GeoDataFrame:
    to_utm = pyproj.Transformer.from_crs(4326, UTM, always_xy=True)
    line = LineString(zip(*to_utm.transform([15.001, 15.005], [50.0, 50.0]), strict=True))
    one = layer([list(line.coords)], route=["R1"], begin_measure=[0.0], end_measure=[0.3])
    return one.assign(name="High Road")


def test_osm_alone(tmp_path: Path) -> None:
    """By hand: three segments on two and a bit roads, the bridge noted."""
    built = build_network(study(osm_graph=osm_graph(tmp_path, NODES, WAYS)))
    assert built.network.edges == 3
    assert sorted(built.network.segments["road"]) == [
        "High Road", "High Road", "unnamed residential road",
    ]  # fmt: skip
    assert built.mismatches.columns.tolist() == ["segment_id", "road", "problem"]
    assert built.mismatches.empty
    assert any("1 segments are on bridges" in note for note in built.notes)


def test_agency_alone() -> None:
    """By hand: an agency's lines are cut where they meet and keep their measures."""
    side = layer([[(500_150, 5_500_000), (500_150, 5_600_000)]], route=["R2"])
    lines = pd.concat([agency(), side], ignore_index=True)
    built = build_network(study(agency_lines=lines))
    assert built.network.edges == 4
    assert set(built.network.segments["route"]) == {"R1", "R2"}
    assert "agency layer's" in built.notes[0]


def test_both_and_traffic(tmp_path: Path) -> None:
    """By hand: OpenStreetMap's geometry, the agency's route, the table's traffic."""
    counts = traffic([{"name": "High Road", "aadt": 4000, "aadt_year": 2024}, {"name": "x"}])
    built = build_network(
        study(osm_graph=osm_graph(tmp_path, NODES, WAYS), agency_lines=agency(), traffic=counts)
    )
    table = built.network.segments
    assert table.loc[table["name"] == "High Road", "route"].tolist() == ["R1", "R1"]
    assert table.loc[table["name"] == "High Road", "aadt"].tolist() == [4000, 4000]
    assert built.mismatches["road"].tolist() == ["x"]


def test_no_roads() -> None:
    """By hand: a sentence."""
    with pytest.raises(RoadSourceError, match="no road network"):
        build_network(study())


def test_no_internet_is_one_sentence(tmp_path: Path, demo_area: Path) -> None:
    """The real attempt: where there is no internet it fails at once and says what to do."""
    empty = tmp_path / "empty"
    empty.mkdir()
    copied = tmp_path / "a study"
    shutil.copytree(demo_area, copied)
    (copied / "roads.osm").unlink()
    before = sorted(p.name for p in copied.iterdir())
    for folder, place in ((empty, "Nowhere-at-all"), (copied, None)):
        with pytest.raises(RoadSourceError) as caught:
            fetch_roads(folder, place=place, around_data=place is None)
        (line,) = caught.value.lines()
        assert "download an extract" in line
    assert not list(empty.iterdir())
    assert sorted(p.name for p in copied.iterdir()) == before


def test_roads_that_are_there_stay(demo_area: Path) -> None:
    """By hand: a file in the study folder is never overwritten."""
    with pytest.raises(OutputError, match=r"roads\.osm is already there"):
        fetch_roads(demo_area, place="Nowhere-at-all", around_data=False)


def test_one_way_to_ask(tmp_path: Path) -> None:
    """By hand: a place or the data, not both and not neither."""
    for place, around in ((None, False), ("x", True)):
        with pytest.raises(RoadSourceError, match="give one of"):
            fetch_roads(tmp_path, place=place, around_data=around)


def test_a_saved_download_reads_back(tmp_path: Path) -> None:
    """By hand: what is written gives the same pieces; a way in two parts stays in two parts."""
    ways = {**WAYS, 4: ([11, 12, 14, 15], {"highway": "track", "oneway": "-1"}),
            5: ([13, 14, 15, 13], {"highway": "service", "name": "Ring & <b>"})}  # fmt: skip
    file = tmp_path / "drawn.osm"
    file.write_text(osm_text(NODES, ways), encoding="utf-8")
    graph = osmnx_graph(file, LEAVE_OUT)
    graph.remove_edge(14, 12)
    _write(graph, tmp_path / "saved.osm")
    text = (tmp_path / "saved.osm").read_text(encoding="utf-8")
    assert "OpenStreetMap" in text
    assert "opendatacommons.org/licenses/odbl" in text
    back = osmnx_graph(tmp_path / "saved.osm", LEAVE_OUT)

    def pieces(g):
        return sorted((u, v, d["highway"], d["oneway"]) for u, v, d in g.edges(data=True))

    assert pieces(back) == pieces(graph)
