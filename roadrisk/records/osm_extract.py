"""Reading an OpenStreetMap extract (.osm, .osm.gz, .osm.bz2, .osm.pbf) into columns."""

from __future__ import annotations

from array import array
from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np

from roadrisk.errors import InputError, Remark
from roadrisk.osm_graph import TAGS, OsmGraph
from roadrisk.records.osm_nodes import PER_DEGREE, node_places
from roadrisk.records.pbf_texts import refuse_zero_bytes

if TYPE_CHECKING:
    from pathlib import Path

    from numpy.typing import NDArray

    Ints = NDArray[np.int64]

ENDINGS = (".osm", ".osm.gz", ".osm.bz2", ".osm.pbf", ".pbf")
# Values of the key oneway that mean one direction, and those that mean against the drawing:
# https://wiki.openstreetmap.org/wiki/Key:oneway, in the forms that osmnx takes too.
_ONE_WAY = {"yes", "true", "1", "-1", "reverse", "T", "F"}
_AGAINST = {"-1", "reverse", "T"}


@dataclass(frozen=True, eq=False)
class OsmExtract:
    """Roads of an extract.

    Attributes
    ----------
    graph : OsmGraph
    remarks : tuple of Remark
        What was left out.
    """

    graph: OsmGraph
    remarks: tuple[Remark, ...]


@dataclass
class _Ways:
    """Ways as they are read: ids, number of nodes, nodes one way after another, tags."""

    number: array[int] = field(default_factory=lambda: array("q"))
    count: array[int] = field(default_factory=lambda: array("q"))
    node: array[int] = field(default_factory=lambda: array("q"))
    travel: array[int] = field(default_factory=lambda: array("b"))
    tags: tuple[list[str], ...] = field(default_factory=lambda: tuple([] for _ in TAGS))

    def __len__(self) -> int:
        return len(self.number)


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
        refuse_zero_bytes(path)
        ways = _ways(path, frozenset(leave_out))
        node = np.frombuffer(ways.node, dtype=np.int64)
        wanted = np.unique(node)
        row, xy = node_places(path, wanted)
    except (RuntimeError, ValueError, osmium.InvalidLocationError) as error:  # a broken file
        raise _error(
            shown,
            f"the extract can't be read ({str(error).strip()[:160]}).",
            "download or export it again",
        ) from error
    way, first, refs, dropped_nodes = _inside(ways, node, wanted[row])
    if not len(way):
        raise _error(
            shown,
            f"there are no roads in it ({len(ways)} ways are roads by their tags).",
            "take an extract that covers the data, or shorten roads.osm.leave_out",
        )
    graph = _graph(ways, way, first, refs, wanted[row], xy)
    dropped_ways = len(ways) - len(np.unique(way))
    return OsmExtract(graph, _remarks(shown, dropped_nodes, dropped_ways))


def _error(name: str, problem: str, mend: str) -> InputError:
    return InputError([Remark(name, None, "", problem, mend)])


def _ways(path: Path, leave_out: frozenset[str]) -> _Ways:
    import osmium

    found = _Ways()
    known: dict[str, str] = {}  # one object for every text
    reader = osmium.FileProcessor(path, osmium.osm.WAY)
    for way in reader.with_filter(osmium.filter.KeyFilter("highway")):
        if not isinstance(way, osmium.osm.Way):
            continue
        tags = way.tags
        if tags["highway"] in leave_out or tags.get("area") == "yes":
            continue
        nodes = [node.ref for node in way.nodes]
        found.number.append(way.id)
        found.count.append(len(nodes))
        found.node.extend(nodes)
        found.travel.append(_travel(tags.get("oneway"), tags.get("junction")))
        for tag, column in zip(TAGS, found.tags, strict=True):
            text = tags.get(tag) or ""
            column.append(known.setdefault(text, text))
    return found


def _travel(oneway: str | None, junction: str | None) -> int:
    """1 one-way as drawn, -1 against it, 0 both ways; a roundabout is one-way as drawn."""
    if oneway in _AGAINST:
        return -1
    return 1 if oneway in _ONE_WAY or junction == "roundabout" else 0


def _inside(ways: _Ways, node: Ints, held: Ints) -> tuple[Ints, Ints, Ints, int]:
    """Cut the ways where a node is missing and keep runs through two nodes or more.

    Returns the row of each run's way, where each run begins, the runs' nodes as rows of
    `held`, and the number of references to missing nodes.
    """
    count = np.frombuffer(ways.count, dtype=np.int64)
    way = np.repeat(np.arange(len(count)), count)
    row = np.minimum(np.searchsorted(held, node), max(len(held) - 1, 0))
    there = held[row] == node if len(held) else np.zeros(len(node), dtype=bool)
    begins = np.ones(len(node), dtype=bool)
    begins[1:] = (way[1:] != way[:-1]) | ~there[:-1]
    run = np.cumsum(begins)[there]
    way, row = way[there], row[there]
    moves = np.zeros(len(node) + 1, dtype=bool)
    moves[run[1:][(run[1:] == run[:-1]) & (row[1:] != row[:-1])]] = True
    kept = moves[run]
    run, way, row = run[kept], way[kept], row[kept]
    head = np.flatnonzero(np.diff(run, prepend=-1))
    first = np.append(head, len(run)).astype(np.int64)
    return way[head], first, row.astype(np.int64), int((~there).sum())


def _graph(ways: _Ways, way: Ints, first: Ints, refs: Ints, held: Ints, xy: Ints) -> OsmGraph:
    used, nodes = np.unique(refs, return_inverse=True)
    lon, lat = xy[used].T / PER_DEGREE
    return OsmGraph(
        node_id=held[used],
        lon=lon,
        lat=lat,
        way_id=np.frombuffer(ways.number, dtype=np.int64)[way],
        way_first=first,
        way_node=nodes.astype(np.int64),
        travel=np.frombuffer(ways.travel, dtype=np.int8)[way],
        tags={
            tag: np.array(column, dtype=object)[way]
            for tag, column in zip(TAGS, ways.tags, strict=True)
        },
    )


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
