"""Small OpenStreetMap files for tests."""

from __future__ import annotations

from pathlib import Path
from xml.sax.saxutils import quoteattr

from roadrisk.osm_graph import OsmGraph
from roadrisk.records.osm_extract import read_osm_graph
from roadrisk.settings import OsmRoads

LEAVE_OUT = OsmRoads(file="roads.osm").leave_out
Nodes = dict[int, tuple[float, float]]
Ways = dict[int, tuple[list[int], dict[str, str]]]


def osm_text(nodes: Nodes, ways: Ways) -> str:
    """Return OSM XML of nodes (lon, lat) and ways (node ids, tags)."""
    lines = ['<?xml version="1.0" encoding="UTF-8"?>', '<osm version="0.6" generator="test">']
    for number, (lon, lat) in nodes.items():
        lines.append(f'<node id="{number}" version="1" lat="{lat:.7f}" lon="{lon:.7f}"/>')
    for number, (refs, tags) in ways.items():
        lines.append(f'<way id="{number}" version="1">')
        lines += [f'<nd ref="{ref}"/>' for ref in refs]
        lines += [f"<tag k={quoteattr(k)} v={quoteattr(v)}/>" for k, v in tags.items()]
        lines.append("</way>")
    return "\n".join([*lines, "</osm>"])


def osm_graph(folder: Path, nodes: Nodes, ways: Ways) -> OsmGraph:
    """Write the file, read it back by the project's reader, return the graph."""
    path = folder / "roads.osm"
    path.write_text(osm_text(nodes, ways), encoding="utf-8")
    return read_osm_graph(path, LEAVE_OUT).graph
