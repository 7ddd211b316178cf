"""Findings of a large invented network, in the shape of the made-up study's; nothing is computed.

Names repeat, numbers are drawn, and each table has the columns of `tests.reporting.made_up`.
"""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING, Any

import geopandas as gpd
import numpy as np
import pandas as pd
import shapely
from scipy.spatial import KDTree

from roadrisk.base.seeds import generator
from tests.benchmarks.lattices import lattice
from tests.reporting import made_up
from tests.reporting.made_up_deaths import EXCESS, RATE, TIMES, with_ends

if TYPE_CHECKING:
    from numpy.typing import NDArray

    from roadrisk.findings import Findings

    Floats = NDArray[np.float64]

SPACING_M = 150.0
# Vertices of a road between two junctions.
BENDS = 6
HILL_M = 200.0
WINDOWS = 30
STRETCHES = 3


def large_findings(segments: int, reports: int) -> Findings:
    """Return findings with about so many segments and reports.

    A third of the roads lies on hills of evidence, as in the made-up study and the demonstration.

    Parameters
    ----------
    segments, reports : int

    Returns
    -------
    Findings
        In the made-up study's coordinate system.
    """
    base = made_up.findings()
    roads = _segments(base, segments)
    rng = generator(1, "large findings")
    hills = _Hills(roads, rng)
    lixels = _lixels(roads, hills)
    middles = lixels.geometry.interpolate(0.5, normalized=True)
    best = np.argsort(-lixels["density_per_km_year"].to_numpy(), kind="stable")
    apart = _apart(shapely.get_coordinates(middles), best, 400.0, WINDOWS)
    in_stretch = np.zeros(len(lixels), np.int64)
    for letter, row in enumerate(apart[:STRETCHES], 1):
        in_stretch[_run(lixels, row, 15)] = letter
    lixels["stretch"] = in_stretch
    lixels["p_value"] = np.where(in_stretch > 0, 0.004, 0.7)
    return replace(
        base,
        segments=roads, lixels=lixels,
        ranked=_windows(base, roads, lixels, apart),
        stretches=_stretches(base, lixels),
        stretch_years=pd.concat([base.stretch_years.assign(stretch=k + 1)
                                 for k in range(STRETCHES)], ignore_index=True),
        crossings=_on_roads(base.crossings, lixels, reports // 2, rng),
        sightings=_on_roads(base.sightings, lixels, reports, rng),
        deaths=replace(base.deaths, pieces=_pieces(base, roads, hills)),
        measures=_measures(base, lixels, apart),
    )  # fmt: skip


class _Hills:
    """Places where much was recorded; the value of a point is that of its nearest hill."""

    def __init__(self, roads: gpd.GeoDataFrame, rng: np.random.Generator) -> None:
        west, south, east, north = roads.total_bounds
        area = (east - west) * (north - south)
        count = max(int(area / 3 / (np.pi * HILL_M**2)), STRETCHES)
        self._tree = KDTree(rng.uniform((west, south), (east, north), (count, 2)))
        self._height = np.exp(rng.normal(0.5, 1.2, count))

    def at(self, xy: Floats) -> Floats:
        far, which = self._tree.query(xy)
        return np.asarray(self._height[which] * np.maximum(0, 1 - (far / HILL_M) ** 2))


def _segments(base: Findings, count: int) -> gpd.GeoDataFrame:
    network = lattice(count, SPACING_M)
    a, b = network.node_xy[network.edge_u], network.node_xy[network.edge_v]
    along = np.linspace(0, 1, BENDS)[None, :, None]
    aside = np.stack([-(b - a)[:, 1], (b - a)[:, 0]], axis=1)[:, None, :]
    bend = 0.06 * np.sin(np.pi * along) * np.sign(np.sin(np.arange(len(a))))[:, None, None]
    xy = a[:, None, :] + along * (b - a)[:, None, :] + bend * aside
    lines = shapely.linestrings(xy + np.array([made_up.X0, made_up.Y0]))
    n = len(lines)
    some = base.segments.iloc[np.arange(n) % len(base.segments)].reset_index(drop=True)
    length = shapely.length(lines)
    east = np.abs((b - a)[:, 0]) > np.abs((b - a)[:, 1])
    street = np.where(east, a[:, 1], a[:, 0]) // SPACING_M
    names = np.where(east, "East Lane ", "North Lane ") + street.astype(int).astype(str)
    table = pd.DataFrame(some.drop(columns="geometry")).assign(
        segment_id=[f"s{i}" for i in range(n)], road=names, name=names, length_m=length,
        # A bridge in a hundred.
        bridge=np.arange(n) % 100 == 2, tunnel=False, level=np.where(np.arange(n) % 100 == 2, 1, 0),
    )  # fmt: skip
    return gpd.GeoDataFrame(table, geometry=lines, crs=made_up.CRS)


def _lixels(roads: gpd.GeoDataFrame, hills: _Hills) -> gpd.GeoDataFrame:
    edge, start, end = _cuts(roads, 10.0)
    shapes, middles = _cut(roads, edge, start, end)
    value = hills.at(middles)
    dead = 0.05 + 0.1 * value
    table = pd.DataFrame({
        "segment_id": roads["segment_id"].to_numpy()[edge], "edge": edge, "start_m": start,
        "end_m": end, "density_per_km_year": value, "density_crossings": 0.6 * value,
        "density_reports": 0.4 * value, "density_alive": 0.3 * value, "density_dead": 0.1 * value,
        RATE: dead, TIMES: dead / 0.35, "statistic": value / 5, "p_value": 0.7, "stretch": 0,
    })  # fmt: skip
    return gpd.GeoDataFrame(table, geometry=shapes, crs=roads.crs)


def _pieces(base: Findings, roads: gpd.GeoDataFrame, hills: _Hills) -> gpd.GeoDataFrame:
    edge, start, end = _cuts(roads, 100.0)
    shapes, middles = _cut(roads, edge, start, end)
    rate = 0.05 + 0.1 * hills.at(middles)
    known, n = base.deaths.pieces, len(edge)
    rank = pd.Series(rate).rank(ascending=False, method="first").astype("int64")
    table = pd.DataFrame(known.drop(columns="geometry")).iloc[np.arange(n) % len(known)]
    table = table.reset_index(drop=True).assign(
        piece=np.arange(1, n + 1), road=roads["road"].to_numpy()[edge],
        segment_id=roads["segment_id"].to_numpy()[edge], length_m=end - start,
        # Watched over some kilometres together, as a survey watches.
        watched=(edge // 200) % 3 == 0, rank=rank.astype("Int64"),
        rank_low=(rank - 3).clip(lower=1).astype("Int64"), rank_high=(rank + 9).astype("Int64"),
        **with_ends(RATE, rate), **with_ends(EXCESS, rate - 0.3), **with_ends(TIMES, rate / 0.35),
    )  # fmt: skip
    return gpd.GeoDataFrame(table, geometry=shapes, crs=roads.crs)


def _cuts(roads: gpd.GeoDataFrame, piece_m: float) -> tuple[Any, Floats, Floats]:
    length = roads["length_m"].to_numpy(np.float64)
    count = np.maximum(1, np.round(length / piece_m)).astype(np.int64)
    edge = np.repeat(np.arange(len(roads)), count)
    within = np.arange(count.sum()) - np.repeat(np.cumsum(count) - count, count)
    step = (length / count)[edge]
    return edge, within * step, (within + 1) * step


def _cut(roads: gpd.GeoDataFrame, edge: Any, start: Floats, end: Floats) -> tuple[Any, Floats]:
    lines = roads.geometry.to_numpy()[edge]
    a, m, b = (shapely.get_coordinates(shapely.line_interpolate_point(lines, at))
               for at in (start, (start + end) / 2, end))  # fmt: skip
    # Where a piece ends the next one begins, to the last bit.
    on = np.flatnonzero(edge[1:] == edge[:-1])
    b[on] = a[on + 1]
    return shapely.linestrings(np.stack([a, m, b], axis=1)), m


def _apart(xy: Floats, order: NDArray[np.int64], least_m: float, count: int) -> list[int]:
    chosen: list[int] = []
    for row in order:
        if all(np.hypot(*(xy[row] - xy[c])) >= least_m for c in chosen):
            chosen.append(int(row))
        if len(chosen) == count:
            break
    return chosen


def _run(lixels: gpd.GeoDataFrame, row: int, most: int) -> slice:
    """Return lixels of one edge about a row."""
    edge = lixels["edge"].to_numpy()
    first = int(np.searchsorted(edge, edge[row], side="left"))
    last = int(np.searchsorted(edge, edge[row], side="right"))
    return slice(max(first, row - most // 2), min(last, row + most // 2))


def _line(lixels: gpd.GeoDataFrame, where: slice) -> shapely.LineString:
    xy = shapely.get_coordinates(lixels.geometry.iloc[where])
    return shapely.LineString(xy[np.r_[True, (xy[1:] != xy[:-1]).any(axis=1)]])


def _windows(
    base: Findings, roads: gpd.GeoDataFrame, lixels: gpd.GeoDataFrame, at: list[int]
) -> gpd.GeoDataFrame:
    ranked = base.ranked.iloc[np.arange(len(at)) % len(base.ranked)].reset_index(drop=True)
    segment = lixels["edge"].to_numpy()[at]
    table = pd.DataFrame(ranked.drop(columns="geometry")).assign(
        rank=np.arange(1, len(at) + 1), road=roads["road"].to_numpy()[segment],
        segment_ids=roads["segment_id"].to_numpy()[segment],
        stretch=[k if k <= STRETCHES else 0 for k in range(1, len(at) + 1)],
    )  # fmt: skip
    lines = [_line(lixels, _run(lixels, row, 10)) for row in at]
    return gpd.GeoDataFrame(table, geometry=lines, crs=roads.crs)


def _stretches(base: Findings, lixels: gpd.GeoDataFrame) -> gpd.GeoDataFrame:
    tables = [pd.DataFrame(base.stretches.drop(columns="geometry")).assign(stretch=k)
              for k in range(1, STRETCHES + 1)]  # fmt: skip
    lines = [shapely.MultiLineString(list(lixels.geometry[lixels["stretch"] == k]))
             for k in range(1, STRETCHES + 1)]  # fmt: skip
    return gpd.GeoDataFrame(pd.concat(tables, ignore_index=True), geometry=lines, crs=lixels.crs)


def _on_roads(
    base: gpd.GeoDataFrame, lixels: gpd.GeoDataFrame, count: int, rng: np.random.Generator
) -> gpd.GeoDataFrame:
    """Return a table's rows again and again, where much is recorded."""
    value = lixels["density_per_km_year"].to_numpy() + 0.01
    lixel = np.searchsorted(np.cumsum(value / value.sum()), rng.random(count))
    lixel = np.minimum(lixel, len(lixels) - 1)
    xy = shapely.get_coordinates(lixels.geometry.iloc[lixel].centroid)
    table = pd.DataFrame(base.drop(columns="geometry")).iloc[np.arange(count) % len(base)]
    table = table.reset_index(drop=True).assign(
        segment_id=lixels["segment_id"].to_numpy()[lixel]
    )  # fmt: skip
    if "occurrenceID" in table:
        table["occurrenceID"] = [f"S-{k}" for k in range(count)]
    points = shapely.points(xy + rng.normal(0, 10, xy.shape))
    return gpd.GeoDataFrame(table, geometry=points, crs=lixels.crs)


def _measures(base: Findings, lixels: gpd.GeoDataFrame, at: list[int]) -> Any:
    lines = [shapely.MultiLineString([_line(lixels, _run(lixels, row, 15))]) for row in at]
    known = base.measures
    chosen, pieces, signs = known.chosen, known.pieces, known.signs
    posts = [line.interpolate(0) for line in lines]
    return replace(
        known,
        chosen=chosen.set_geometry(lines[: len(chosen)], crs=lixels.crs),
        pieces=pieces.set_geometry(lines[: len(pieces)], crs=lixels.crs),
        signs=signs.set_geometry(posts[: len(signs)], crs=lixels.crs),
    )
