"""OpenStreetMap extracts to network: by hand on small files, and every kind of broken file."""

from __future__ import annotations

import bz2
import gzip
from pathlib import Path

import numpy as np
import pyproj
import pytest

from roadrisk.base.units import M_PER_MILE
from roadrisk.errors import InputError
from roadrisk.osm_graph import OsmGraph
from roadrisk.records import osm_nodes
from roadrisk.records.osm_extract import read_osm_graph
from roadrisk.roads.edges import network_of_lines
from roadrisk.roads.network import Network
from roadrisk.roads.osm_pieces import osm_pieces
from roadrisk.roads.osm_tags import is_main, lanes_of, level_of, speed_kmh
from tests.roads.small_osm import LEAVE_OUT, Nodes, Ways, osm_graph, osm_text

UTM = pyproj.CRS.from_epsg(32633)
# A row of nodes about 70 m apart on 50 degrees north, and some north of it.
NODES: Nodes = {n: (15.0 + 0.001 * n, 50.0) for n in range(1, 8)}
NODES |= {10 + n: (15.0 + 0.001 * n, 50.001) for n in range(1, 8)}
ROAD = {"highway": "primary", "name": "High Road"}


def network_of(graph: OsmGraph) -> Network:
    return network_of_lines(osm_pieces(graph, UTM)[0])


def test_both_directions_are_one_road(tmp_path: Path) -> None:
    """By hand: a two-way road of three ways is one edge; its length is the planar one."""
    ways: Ways = {1: ([1, 2, 3], ROAD), 2: ([3, 4], ROAD), 3: ([5, 4], ROAD)}
    graph = osm_graph(tmp_path, NODES, ways)
    assert len(graph.pieces[0]) == 4
    net = network_of(graph)
    assert net.edges == 1
    assert len(net.segments) == 1
    row = net.segments.iloc[0]
    assert (row["road"], row["road_class"], row["oneway"], row["osm_ids"]) == (
        "High Road", "primary", 0, "1 2 3",
    )  # fmt: skip
    to_utm = pyproj.Transformer.from_crs(4326, UTM, always_xy=True)
    x, y = to_utm.transform([NODES[n][0] for n in range(1, 6)], [50.0] * 5)
    assert net.length_m == pytest.approx(np.hypot(np.diff(x), np.diff(y)).sum(), abs=1e-6)


def test_classes_and_areas_are_left_out(tmp_path: Path) -> None:
    """By hand: footways, areas and waterways are no roads."""
    ways: Ways = {
        1: ([1, 2], ROAD),
        2: ([2, 3], {"highway": "footway"}),
        3: ([3, 4, 13, 3], {"highway": "service", "area": "yes"}),
        4: ([4, 5], {"waterway": "river"}),
    }
    graph = osm_graph(tmp_path, NODES, ways)
    assert graph.node_id.tolist() == [1, 2]


def test_travel_bridge_tunnel_and_numbers(tmp_path: Path) -> None:
    """By hand: tags of one-way, bridge, tunnel, lanes and speed reach the segments."""
    ways: Ways = {
        1: ([2, 1], {**ROAD, "oneway": "yes", "maxspeed": "30 mph", "lanes": "2"}),
        2: ([2, 3], {**ROAD, "oneway": "-1"}),
        3: ([3, 4], {**ROAD, "bridge": "yes", "layer": "2"}),
        4: ([4, 5], {**ROAD, "tunnel": "yes"}),
        5: ([5, 6], {**ROAD, "layer": "3"}),
    }
    table = network_of(osm_graph(tmp_path, NODES, ways)).segments
    assert table["oneway"].tolist() == [-1, -1, 0, 0, 0]
    assert table["level"].tolist() == [0, 0, 2, -1, 0]
    assert table["bridge"].tolist() == [False, False, True, False, False]
    assert table["tunnel"].tolist() == [False, False, False, True, False]
    assert table["lanes"].iloc[0] == 2
    assert table["speed_limit_kmh"].iloc[0] == pytest.approx(48.28032)


def test_roads_that_cross_without_a_node_stay_apart(tmp_path: Path) -> None:
    """By hand: a bridge over a road shares no node with it."""
    nodes: Nodes = {1: (15.0, 50.0), 2: (15.002, 50.0), 3: (15.001, 49.999), 4: (15.001, 50.001)}
    over = {**ROAD, "bridge": "yes"}
    net = network_of(osm_graph(tmp_path, nodes, {1: ([1, 2], ROAD), 2: ([3, 4], over)}))
    assert net.edges == 2
    assert len(net.node_xy) == 4


def test_twice_drawn_ways_count_once(tmp_path: Path) -> None:
    """By hand: a service way over the same two nodes as a main road is not a second road."""
    ways: Ways = {9: ([1, 2], ROAD), 4: ([2, 1], {"highway": "service"})}
    pieces, doubled = osm_pieces(osm_graph(tmp_path, NODES, ways), UTM)
    assert (len(pieces), doubled) == (1, 1)
    assert pieces.attributes["road_class"].iloc[pieces.source].tolist() == ["primary"]


def test_order_of_the_file_does_not_matter(tmp_path: Path) -> None:
    """By hand: nodes and ways in another order give the same ids in the same order."""
    ways: Ways = {1: ([1, 2, 3], ROAD), 2: ([3, 13], {"highway": "residential"}),
                  3: ([3, 4, 5], ROAD), 4: ([4, 14], {"highway": "track"})}  # fmt: skip
    first = network_of(osm_graph(tmp_path, NODES, ways)).segments
    turned = dict(reversed(ways.items()))
    second = network_of(osm_graph(tmp_path, dict(reversed(NODES.items())), turned)).segments
    assert first["segment_id"].tolist() == second["segment_id"].tolist()


def test_an_edit_elsewhere_keeps_ids(tmp_path: Path) -> None:
    """By hand: a new road at the far end changes only the segment that it cuts."""
    ways: Ways = {1: ([1, 2, 3], ROAD), 2: ([3, 13], {"highway": "residential"}),
                  3: ([3, 4, 5, 6], ROAD)}  # fmt: skip
    before = set(network_of(osm_graph(tmp_path, NODES, ways)).segments["segment_id"])
    ways[7] = ([5, 15], {"highway": "track"})
    after = set(network_of(osm_graph(tmp_path, NODES, ways)).segments["segment_id"])
    assert len(before) == 3
    assert len(before & after) == 2


def test_a_way_is_cut_where_its_nodes_are_missing(tmp_path: Path) -> None:
    """By hand: no straight line is drawn across a gap, and the remark counts what was dropped."""
    path = tmp_path / "roads.osm"
    ways: Ways = {1: ([1, 2, 99, 3, 4], ROAD), 2: ([98, 5], ROAD)}
    path.write_text(osm_text(NODES, ways), encoding="utf-8")
    extract = read_osm_graph(path, LEAVE_OUT, "maps/roads.osm")
    graph = extract.graph
    begin, end, way = graph.pieces
    assert graph.node_id[np.stack([begin, end], axis=1)].tolist() == [[1, 2], [3, 4]]
    assert graph.way_id[way].tolist() == [1, 1]
    (remark,) = extract.remarks
    assert (remark.file, remark.kind) == ("maps/roads.osm", "left out")
    assert remark.problem.startswith("2 references")
    assert "1 ways" in remark.problem


def test_packed_files_and_names_with_accents(tmp_path: Path) -> None:
    """By hand: .osm.gz and .osm.bz2 read as .osm does, in folders with spaces and accents."""
    text = osm_text(NODES, {1: ([1, 2, 3], {**ROAD, "name": "Straße <b>"})}).encode()
    folder = tmp_path / "Ordner mit Lücke"
    folder.mkdir()
    (folder / "a.osm").write_bytes(text)
    (folder / "a.osm.gz").write_bytes(gzip.compress(text))
    (folder / "a.osm.bz2").write_bytes(bz2.compress(text))
    for ending in (".osm", ".osm.gz", ".osm.bz2"):
        graph = read_osm_graph(folder / f"a{ending}", LEAVE_OUT).graph
        assert graph.tags["name"].tolist() == ["Straße <b>"]


def odd_nodes(tmp_path: Path) -> Path:
    """A node drawn twice, one off the globe, one without a place; ids in no order."""
    text = osm_text({5: NODES[5], 2: NODES[2], 1: NODES[1], 3: NODES[3]}, {
        7: ([1, 2, 2, 3, 6, 5, 4], ROAD)
    })  # fmt: skip
    later = '<node id="2" version="2" lat="50.002" lon="15.002"/><way id="7"'
    lost = '<node id="4" version="1" lat="90.1" lon="15.0"/><node id="6" version="1"/>'
    path = tmp_path / "odd.osm"
    path.write_text(text.replace('<way id="7"', lost + later), encoding="utf-8")
    return path


def test_nodes_are_the_same_however_they_are_read(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """By hand: of a node drawn twice the later one counts, an impossible place is none; on a
    full disk, where the table of places has no room, nodes are read one by one.
    """
    path, wanted = odd_nodes(tmp_path), np.arange(1, 8)
    row, xy = osm_nodes.node_places(path, wanted)
    assert wanted[row].tolist() == [1, 2, 3, 5]
    assert xy[1].tolist() == [150_020_000, 500_020_000]
    for name, value in (("_RECORDS_AT_ONCE", 2), ("_ROOM", 2**60)):
        monkeypatch.setattr(osm_nodes, name, value)
        again, same = osm_nodes.node_places(path, wanted)
        assert (again.tolist(), same.tolist()) == (row.tolist(), xy.tolist())
    assert [len(part) for part in osm_nodes.node_places(path, wanted[:0])] == [0, 0]
    graph = read_osm_graph(path, LEAVE_OUT).graph
    assert graph.node_id.tolist() == [1, 2, 3]
    assert len(graph.pieces[0]) == 2


def test_new_nodes_of_an_editor(tmp_path: Path) -> None:
    """By hand: ids below zero, which an editor gives until they are uploaded, are ids."""
    nodes: Nodes = {-n: place for n, place in NODES.items()}
    graph = osm_graph(tmp_path, nodes, {-1: ([-1, -2, -3], ROAD), -2: ([-2, -12], ROAD)})
    assert graph.node_id.tolist() == [-12, -3, -2, -1]
    assert network_of(graph).edges == 3


@pytest.mark.parametrize(
    ("name", "content", "words"),
    [
        ("roads.osm", osm_text(NODES, {1: ([1, 2], {"highway": "steps"})}), "no roads in it"),
        ("roads.osm", osm_text({}, {1: ([1, 2], ROAD)}), "no roads in it"),
        ("roads.osm", osm_text(NODES, {1: ([1, 2], ROAD)})[:-40], "can't be read"),
        ("roads.osm", "name,ref\nHigh Road,A 1\n", "can't be read"),
        ("roads.osm", "", "can't be read"),
        ("roads.osm.gz", "not packed", "can't be read"),
        ("roads.osm.pbf", "not packed", "can't be read"),
        ("roads.geojson", "{}", "is no OpenStreetMap extract"),
        ("roads", "", "is no OpenStreetMap extract"),
        ("roads.osm", None, "does not exist"),
    ],
)
def test_broken_files(tmp_path: Path, name: str, content: str | None, words: str) -> None:
    """By hand: each is one line with file, problem and mend."""
    path = tmp_path / name
    if content is not None:
        path.write_text(content, encoding="utf-8")
    with pytest.raises(InputError) as caught:
        read_osm_graph(path, LEAVE_OUT)
    (line,) = caught.value.lines()
    assert line.startswith(f"{name}: ")
    assert words in line
    assert "Mend: " in line


def test_entities_are_not_expanded(tmp_path: Path) -> None:
    """By hand: a file that grows by XML entities is refused."""
    text = osm_text(NODES, {1: ([1, 2], {**ROAD, "name": "NAME"})}).replace("NAME", "&big;")
    head = '<?xml version="1.0"?><!DOCTYPE osm [<!ENTITY a "aaaaaaaaaa"><!ENTITY big "&a;&a;">]>'
    path = tmp_path / "roads.osm"
    path.write_text(head + text.split("?>", 1)[1], encoding="utf-8")
    with pytest.raises(InputError, match="can't be read"):
        read_osm_graph(path, LEAVE_OUT)


@pytest.mark.parametrize(
    ("text", "value"),
    [
        ("50", 50),
        ("30 mph", 30 * M_PER_MILE / 1000),
        ("50;30", 50),
        ("60 km/h", 60),
        ("45.5", 45.5),
    ],
)
def test_speeds(text: str, value: float) -> None:
    """By hand, from the wording of the OpenStreetMap wiki's key maxspeed (from memory)."""
    assert speed_kmh(text) == pytest.approx(value)


@pytest.mark.parametrize("text", ["none", "walk", "RO:urban", "", "signals", "10 knots"])
def test_speeds_in_words_are_unknown(text: str) -> None:
    """By hand: no number, no speed."""
    assert np.isnan(speed_kmh(text))


def test_levels() -> None:
    """By hand: bridge and tunnel give a level, a drawing order or a passage does not."""
    assert level_of({"layer": "1"}) == (0, False, False)
    assert level_of({"bridge": "viaduct"}) == (1, True, False)
    assert level_of({"bridge": "no", "tunnel": "yes", "layer": "-2"}) == (-2, False, True)
    assert level_of({"tunnel": "building_passage", "layer": "-1"}) == (0, False, False)
    assert level_of({"bridge": "yes", "layer": "x"}) == (1, True, False)
    assert (lanes_of("3"), is_main("trunk_link"), is_main("service")) == (3.0, True, False)
    assert np.isnan(lanes_of("two"))
