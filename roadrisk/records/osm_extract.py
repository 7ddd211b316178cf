"""Reading an OpenStreetMap extract (.osm, .osm.gz, .osm.bz2, .osm.pbf) into an osmnx graph."""

from __future__ import annotations

import tempfile
import threading
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from roadrisk.errors import InputError, Remark

if TYPE_CHECKING:
    from collections.abc import Iterator

    import networkx as nx

ENDINGS = (".osm", ".osm.gz", ".osm.bz2", ".osm.pbf", ".pbf")
# Tags that the network is made from; osmnx keeps only tags that it is told of.
WAY_TAGS = (
    "access", "area", "bridge", "highway", "junction", "lanes", "layer", "maxspeed", "name",
    "oneway", "ref", "service", "tunnel", "width",
)  # fmt: skip
# osmnx keeps its settings for the whole process.
SETTINGS_LOCK = threading.Lock()


@dataclass(frozen=True, eq=False)
class OsmExtract:
    """Roads of an extract.

    Attributes
    ----------
    graph : networkx.MultiDiGraph
        As `osmnx.graph_from_xml(simplify=False, retain_all=True)` returns it, WGS 84.
    remarks : tuple of Remark
        What was left out.
    """

    graph: nx.MultiDiGraph[Any]
    remarks: tuple[Remark, ...]


@dataclass
class _Way:
    """Tags of a way and the runs of its nodes that the extract holds."""

    number: int
    tags: dict[str, str]
    nodes: list[int]


def read_osm_graph(path: Path, leave_out: tuple[str, ...], name: str | None = None) -> OsmExtract:
    """Read the roads of an OpenStreetMap extract; no connection is made.

    Kept are ways with a ``highway`` tag that is not in `leave_out` and that are no areas. A
    way whose nodes are partly outside the extract is cut there; pieces with fewer than two
    nodes are dropped. Both are counted in a remark.

    Parameters
    ----------
    path : pathlib.Path
        Ends in .osm, .osm.gz, .osm.bz2, .osm.pbf or .pbf.
    leave_out : tuple of str
        Values of ``highway`` that are no road to a car.
    name : str, optional
        The file's name as the user knows it; the path's last part otherwise.

    Returns
    -------
    OsmExtract

    Raises
    ------
    InputError
        If the file is missing, is broken, has another ending, or holds no road.
    """
    shown = name or path.name
    if not path.name.lower().endswith(ENDINGS):
        raise _error(
            shown,
            f"{path.suffix or 'a name without ending'} is no OpenStreetMap extract.",
            f"name a file ending in {', '.join(ENDINGS[:4])}; "
            "centreline layers belong under [roads.agency]",
        )
    if not path.is_file():
        raise _error(shown, "this file does not exist.", "correct the name in study.toml")
    import osmium

    try:
        ways = _ways(path, frozenset(leave_out))
        places = _places(path, {n for way in ways for n in way.nodes})
    except (RuntimeError, ValueError, osmium.InvalidLocationError) as error:  # a broken file
        raise _error(
            shown,
            f"the extract can't be read ({str(error).strip()[:160]}).",
            "download or export it again",
        ) from error
    pieces, dropped_nodes, dropped_ways = _inside(ways, places)
    if not pieces:
        raise _error(
            shown,
            f"there are no roads in it ({len(ways)} ways are roads by their tags).",
            "take an extract that covers the data, or shorten roads.osm.leave_out",
        )
    return OsmExtract(_graph(pieces, places), _remarks(shown, dropped_nodes, dropped_ways))


def _error(name: str, problem: str, mend: str) -> InputError:
    return InputError([Remark(name, None, "", problem, mend)])


def _ways(path: Path, leave_out: frozenset[str]) -> list[_Way]:
    import osmium

    found = []
    reader = osmium.FileProcessor(path, osmium.osm.WAY)
    for way in reader.with_filter(osmium.filter.KeyFilter("highway")):
        if not isinstance(way, osmium.osm.Way):
            continue
        tags = {tag: way.tags[tag] for tag in WAY_TAGS if tag in way.tags}
        if tags["highway"] in leave_out or tags.get("area") == "yes":
            continue
        found.append(_Way(way.id, tags, [node.ref for node in way.nodes]))
    return found


def _places(path: Path, wanted: set[int]) -> dict[int, tuple[float, float]]:
    """Longitude and latitude of the wanted nodes that the extract holds."""
    import osmium

    reader = osmium.FileProcessor(path, osmium.osm.NODE)
    return {
        node.id: (node.location.lon, node.location.lat)
        for node in reader.with_filter(osmium.filter.IdFilter(wanted))
        if isinstance(node, osmium.osm.Node) and node.location.valid()
    }


def _inside(
    ways: list[_Way], places: dict[int, tuple[float, float]]
) -> tuple[list[_Way], int, int]:
    """Keep runs of two or more nodes inside the extract; count dropped nodes and ways."""
    pieces, dropped_nodes, dropped_ways = [], 0, 0
    for way in ways:
        runs: list[list[int]] = [[]]
        for node in way.nodes:
            if node in places:
                runs[-1].append(node)
            else:
                dropped_nodes += 1
                runs.append([])
        kept = [run for run in runs if len(set(run)) >= 2]
        dropped_ways += not kept
        pieces += [_Way(way.number, way.tags, run) for run in kept]
    return pieces, dropped_nodes, dropped_ways


def _graph(pieces: list[_Way], places: dict[int, tuple[float, float]]) -> nx.MultiDiGraph[Any]:
    import osmium
    import osmnx
    from osmium.osm import mutable

    used = sorted({n for piece in pieces for n in piece.nodes})
    with tempfile.TemporaryDirectory(prefix="roads-") as folder:
        file = Path(folder) / "roads.osm"
        with osmium.SimpleWriter(file) as writer:
            for node in used:
                writer.add_node(mutable.Node(id=node, location=places[node], version=1))
            # osmnx tells ways apart by their id: pieces of one way are numbered here.
            for number, piece in enumerate(pieces, start=1):
                writer.add_way(
                    mutable.Way(id=number, nodes=piece.nodes, tags=piece.tags, version=1)
                )
        with _tags_kept():
            graph = osmnx.graph_from_xml(file, simplify=False, retain_all=True)
    for _, _, data in graph.edges(data=True):
        data["osmid"] = pieces[data["osmid"] - 1].number
    return graph


@contextmanager
def _tags_kept() -> Iterator[None]:
    """Have osmnx keep our tags, and put its settings back afterwards."""
    import osmnx

    with SETTINGS_LOCK:
        before = osmnx.settings.useful_tags_way, osmnx.settings.all_oneway
        osmnx.settings.useful_tags_way = list(WAY_TAGS)
        osmnx.settings.all_oneway = False
        try:
            yield
        finally:
            osmnx.settings.useful_tags_way, osmnx.settings.all_oneway = before


def _remarks(name: str, nodes: int, ways: int) -> tuple[Remark, ...]:
    if not nodes and not ways:
        return ()
    return (
        Remark(
            name,
            None,
            "",
            f"{nodes} references to nodes outside the extract were dropped "
            f"and {ways} ways left with fewer than two nodes.",
            "",
            "left out",
        ),
    )
