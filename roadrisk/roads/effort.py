"""Survey effort on the roads: from rows that say which road was gone along to lixels."""

from __future__ import annotations

import re
from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING, Any

import numpy as np
import shapely
from scipy import sparse
from scipy.sparse.csgraph import dijkstra
from shapely import ops

from roadrisk.errors import InputError, Remark
from roadrisk.roads.nearest import nearest
from roadrisk.roads.route_measures import lines_by_route, plain_route

if TYPE_CHECKING:
    import geopandas as gpd
    import pandas as pd

    from roadrisk.roads.grid import PieceIndex
    from roadrisk.roads.network import Floats, Ints, Lixels, Network

_STEP_M = 2.0
_APART = re.compile(r"[|;]")
# A way along the roads so much longer than the straight line, and 2 km more, is not looked for.
_LONGEST_DETOUR, _MORE_M = 5.0, 2000.0

Part = tuple["Ints", "Floats"]  # lixels, and metres of each


@dataclass(frozen=True, eq=False)
class RoadEffort:
    """Effort of each row on each lixel.

    Attributes
    ----------
    amount : scipy.sparse.csr_array, shape (rows, lixels)
        Metres gone along, all passes together, or hours.
    time : Series of datetime64[ns, UTC], length rows
        NaT where the row has no date.
    unit : {"metres", "hours"}
    remarks : tuple of Remark
        Rows that lie on no road, kind "left out".
    """

    amount: sparse.csr_array[Any, tuple[int, int]]
    time: pd.Series[pd.Timestamp]
    unit: str
    remarks: tuple[Remark, ...]


def effort_on_roads(
    effort: gpd.GeoDataFrame,
    network: Network,
    lixels: Lixels,
    index: PieceIndex,
    partner: Ints,
    agency_lines: gpd.GeoDataFrame | None,
    *,
    within_m: float,
) -> RoadEffort:
    """Put survey effort on lixels.

    Parameters
    ----------
    effort : geopandas.GeoDataFrame
        Columns of `records.survey_schemas.EFFORT`, in the network's system; index 0..n-1.
    network : Network
    lixels : Lixels
    index : PieceIndex
        Of `network`.
    partner : ndarray of int64, shape (lixels,)
        The lixel on which events are counted.
    agency_lines : geopandas.GeoDataFrame or None
        For rows by route and measures; columns route, begin_measure, end_measure.
    within_m : float
        A line, or an end, this far from a road is still on it [m].

    Returns
    -------
    RoadEffort

    Raises
    ------
    InputError
        If no row lies on a road.

    Notes
    -----
    A row by two ends is taken along the shortest way on the roads between them: where another
    way was gone, write its ends piece by piece, or give the line itself. Lines are laid on the
    nearest road every 2 m.
    """
    parts = parts_of_road(effort, network, lixels, index, agency_lines, within_m=within_m)
    rows, columns, values, remarks = [], [], [], []
    for k, (row, found) in enumerate(zip(effort.itertuples(index=False), parts, strict=True)):
        if isinstance(found, str):
            remarks.append(Remark(row.source_file, int(row.source_row), "", found, "", "left out"))
            continue
        lixel, metres = found
        factor = row.amount if row.amount_unit == "passes" else row.amount / metres.sum()
        rows.append(np.full(len(lixel), k))
        columns.append(partner[lixel])
        values.append(metres * factor)
    if not rows:
        mend = "check the effort table's places, or match_within_m in [effort]"
        raise InputError([Remark(r.file, r.row, "", f"{r.problem}.", mend) for r in remarks[:1]])
    where = (np.concatenate(rows), np.concatenate(columns))
    amount = sparse.coo_array((np.concatenate(values), where), (len(effort), len(lixels)))
    unit = "hours" if (effort["amount_unit"] == "hours").any() else "metres"
    return RoadEffort(sparse.csr_array(amount), effort["time"], unit, tuple(remarks))


def parts_of_road(
    table: gpd.GeoDataFrame,
    network: Network,
    lixels: Lixels,
    index: PieceIndex,
    agency_lines: gpd.GeoDataFrame | None,
    *,
    within_m: float,
) -> list[Part | str]:
    """Find the piece of road that each row of a table is about.

    Parameters
    ----------
    table : geopandas.GeoDataFrame
        Columns placed_by ("route", "ends", "line"), route, begin_measure, end_measure, and
        geometry, in the network's system.
    network : Network
    lixels : Lixels
    index : PieceIndex
        Of `network`.
    agency_lines : geopandas.GeoDataFrame or None
        For rows by route and measures; columns route, begin_measure, end_measure.
    within_m : float
        A line, or an end, this far from a road is still on it [m].

    Returns
    -------
    list, length rows
        Lixels and the metres on each, or the words why there are none. See `effort_on_roads` for
        how lines and ends are taken.
    """
    finder = _Finder(network, lixels, index, agency_lines, within_m)
    known: dict[Any, Part | str] = {}
    out = []
    for row in table.itertuples(index=False):
        key = _key(row)
        if key not in known:
            known[key] = finder.part(row)
        out.append(known[key])
    return out


def _key(row: Any) -> Any:
    if row.placed_by == "route":
        return plain_route(row.route), row.begin_measure, row.end_measure
    return row.placed_by, row.geometry.wkb


class _Finder:
    """Lixels of one row's piece of road."""

    def __init__(
        self,
        network: Network,
        lixels: Lixels,
        index: PieceIndex,
        agency_lines: gpd.GeoDataFrame | None,
        within_m: float,
    ) -> None:
        self._network, self._lixels, self._index = network, lixels, index
        self._lines, self._within = agency_lines, within_m
        self._routes = {} if agency_lines is None else lines_by_route(agency_lines)

    @cached_property
    def _ways(self) -> _Ways:
        return _Ways(self._network)

    def part(self, row: Any) -> Part | str:
        """Return lixels and metres, or why there are none."""
        if row.placed_by == "ends":
            return self._between(row.geometry)
        if row.placed_by == "route":
            return self._on_roads(row.route, row.begin_measure, row.end_measure)
        return self._along([row.geometry])

    def _on_roads(self, said: str, begin: float, end: float) -> Part | str:
        """Return the lixels of an agency's route, or of roads by name or number."""
        parts = []
        for name in [n.strip() for n in _APART.split(said) if n.strip()]:
            found = self._on_route(name, begin, end)
            part = found if isinstance(found, str) else self._along(found)
            named = self._called(name) if isinstance(found, str) and np.isnan(begin) else None
            if named is not None:
                part = named
            if isinstance(part, str):
                return part
            parts.append(part)
        lixel, metres = (np.concatenate(v) for v in zip(*parts, strict=True))
        some, where = np.unique(lixel, return_inverse=True)
        return some.astype(np.int64), np.bincount(where, metres).astype(np.float64)

    def _called(self, name: str) -> Part | None:
        here = self._segments.get(plain_route(name), [])
        order, starts = self._by_segment
        runs = [order[starts[k] : starts[k + 1]] for k in here]
        lixel = np.sort(np.concatenate(runs)) if runs else np.empty(0, dtype=np.int64)
        return (lixel, self._length_m[lixel]) if len(lixel) else None

    @cached_property
    def _length_m(self) -> Floats:
        return self._lixels.length_m

    @cached_property
    def _segments(self) -> dict[str, list[int]]:
        """Segments by name and by number; several numbers of one road stand in one text."""
        table = self._network.segments
        found: dict[str, list[int]] = {}
        for k, (name, refs) in enumerate(zip(table["name"], table["ref"], strict=True)):
            numbers = refs.split(";") if isinstance(refs, str) else []
            for called in {plain_route(text) for text in (name, *numbers)}:
                found.setdefault(called, []).append(k)
        return found

    @cached_property
    def _by_segment(self) -> tuple[Ints, Ints]:
        """Lixels in the order of their segments, and where each segment's begin."""
        segment = self._lixels.segment
        order = np.argsort(segment, kind="stable").astype(np.int64)
        every = np.arange(len(self._network.segments) + 1)
        return order, np.searchsorted(segment[order], every).astype(np.int64)

    def _on_route(self, route: str, begin: float, end: float) -> list[Any] | str:
        here = self._routes.get(plain_route(route))
        if here is None or self._lines is None:
            also = ", and no road of that name or number" if np.isnan(begin) else ""
            return f"there is no route {route!r} in the agency layer{also}"
        low, high = (-np.inf, np.inf) if np.isnan(begin) else sorted((begin, end))
        out = []
        for k in here.tolist():
            line = self._lines.geometry.iloc[k]
            ends = (float(self._lines[c].iloc[k]) for c in ("begin_measure", "end_measure"))
            from_m, to_m = ends
            if np.isnan(begin):
                out.append(line)
                continue
            if np.isnan(from_m) or from_m == to_m:
                continue
            shares = sorted((m - from_m) / (to_m - from_m) for m in (low, high))
            a, b = (min(max(s, 0.0), 1.0) for s in shares)
            if b > a:
                out.append(ops.substring(line, a, b, normalized=True))
        return out or f"route {route} has no measures from {begin:g} to {end:g}"

    def _along(self, lines: list[Any]) -> Part | str:
        pieces = []
        for line in shapely.get_parts(lines):
            count = max(1, int(np.ceil(line.length / _STEP_M)))
            share = (np.arange(count) + 0.5) / count
            xy = shapely.get_coordinates(
                shapely.line_interpolate_point(line, share, normalized=True)
            )
            edge, offset, distance = nearest(self._index, xy)
            near = distance <= self._within
            lixel = self._lixels.at(edge[near], offset[near])
            pieces.append((lixel, np.full(int(near.sum()), line.length / count)))
        lixel, metres = (np.concatenate(v) for v in zip(*pieces, strict=True))
        if not len(lixel):
            return f"no road lies within {self._within:g} m of this line"
        some, where = np.unique(lixel, return_inverse=True)
        return some.astype(np.int64), np.bincount(where, metres).astype(np.float64)

    def _between(self, ends: Any) -> Part | str:
        xy = shapely.get_coordinates(ends)[[0, -1]]
        edge, offset, distance = nearest(self._index, xy)
        if distance.max() > self._within:
            return f"an end lies {distance.max():.0f} m from the nearest road"
        limit = _LONGEST_DETOUR * float(np.hypot(*(xy[1] - xy[0]))) + _MORE_M
        runs = self._ways.shortest(edge, offset, limit)
        if not runs:
            return "no way along the roads joins the two ends without a long detour"
        parts = [_covered(self._lixels, e, a, b) for e, a, b in runs]
        lixel, metres = (np.concatenate(v) for v in zip(*parts, strict=True))
        some, where = np.unique(lixel[metres > 0], return_inverse=True)
        if not len(some):
            return "both ends are the same place"
        return some.astype(np.int64), np.bincount(where, metres[metres > 0]).astype(np.float64)


def _covered(lixels: Lixels, edge: int, a: float, b: float) -> tuple[Ints, Floats]:
    low, high = min(a, b), max(a, b)
    run = np.arange(lixels.first[edge], lixels.first[edge + 1])
    inside = np.clip(lixels.end_m[run], low, high) - np.clip(lixels.start_m[run], low, high)
    return run[inside > 0], inside[inside > 0]


class _Ways:
    """Shortest ways on the network; of parallel edges the shortest counts."""

    def __init__(self, network: Network) -> None:
        u, v, length = network.edge_u, network.edge_v, network.edge_length_m
        self._network, self._nodes = network, len(network.node_xy)
        order = np.argsort(length, kind="stable")
        pair = np.minimum(u, v) * self._nodes + np.maximum(u, v)
        some, first = np.unique(pair[order], return_index=True)
        kept = order[first]
        self._edge = dict(zip(some.tolist(), kept.tolist(), strict=True))
        self._graph = sparse.csr_array(
            (length[kept], (u[kept], v[kept])), (self._nodes, self._nodes)
        )

    def shortest(self, edge: Ints, offset: Floats, limit: float) -> list[tuple[int, float, float]]:
        """Return runs (edge, from, to) from one place to another; none beyond `limit` [m]."""
        best, runs = np.inf, []
        if edge[0] == edge[1]:
            best = abs(float(offset[1] - offset[0]))
            runs = [(int(edge[0]), float(offset[0]), float(offset[1]))]
        for node, before, leave in self._exits(edge[0], offset[0]):
            far, back = dijkstra(
                self._graph, directed=False, indices=[node], return_predecessors=True, limit=limit
            )
            far, back = far[0], back[0]
            for other, after, enter in self._exits(edge[1], offset[1]):
                whole = before + float(far[other]) + after
                if whole < best and whole <= limit:
                    between = self._edges(node, other, back)
                    length = self._network.edge_length_m[between].tolist()
                    best, runs = whole, [
                        (int(edge[0]), float(offset[0]), leave),
                        *((e, 0.0, m) for e, m in zip(between, length, strict=True)),
                        (int(edge[1]), enter, float(offset[1])),
                    ]  # fmt: skip
        return runs

    def _exits(self, edge: int, offset: float) -> tuple[tuple[int, float, float], ...]:
        """Both nodes of an edge, how far they are, and their place on it."""
        length = float(self._network.edge_length_m[edge])
        u, v = int(self._network.edge_u[edge]), int(self._network.edge_v[edge])
        return (u, float(offset), 0.0), (v, length - float(offset), length)

    def _edges(self, node: int, other: int, back: Ints) -> list[int]:
        out, at = [], other
        while at != node:
            before = int(back[at])
            out.append(self._edge[min(at, before) * self._nodes + max(at, before)])
            at = before
        return out
