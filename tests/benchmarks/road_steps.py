"""Roads: reading, building, placing, distances, beside osmnx, geopandas, shapely and scipy."""

from __future__ import annotations

from collections.abc import Callable
from functools import cache
from typing import Any

import geopandas as gpd
import numpy as np
import shapely
from scipy import special

from roadrisk.base.seeds import generator
from roadrisk.roads.grid import PieceIndex
from roadrisk.roads.lixels import places_xy
from roadrisk.roads.meetings import step_meetings
from roadrisk.roads.nearest import nearest
from roadrisk.roads.network import Floats, Network
from roadrisk.roads.placing import spread
from tests.benchmarks.beside import Case, Step
from tests.benchmarks.lattices import lattice, lixels_of

SPACING_M = 150.0


def points_near(network: Network, count: int, off_m: float, seed: int = 1) -> Floats:
    """Places along the roads, moved off them either way."""
    rng = generator(seed, "points")
    edge = rng.integers(network.edges, size=count)
    a, b = network.edge_xy[2 * edge], network.edge_xy[2 * edge + 1]
    along = rng.random(count)[:, None]
    return np.asarray(a + along * (b - a) + rng.normal(0, off_m, (count, 2)))


@cache
def roads(segments: int) -> tuple[Network, PieceIndex, np.ndarray]:
    """A lattice, its index, and its segments as lines."""
    network = lattice(segments, SPACING_M)
    lines = shapely.linestrings(network.edge_xy.reshape(-1, 2, 2))
    network.segments["level"] = 0
    network.segments["bridge"] = network.segments["tunnel"] = False
    return network, PieceIndex.build(network), np.asarray(lines, dtype=object)


def _same_places(
    points: gpd.GeoDataFrame, lines: np.ndarray
) -> Callable[[Any, gpd.GeoDataFrame], None]:
    def same(ours: Any, theirs: gpd.GeoDataFrame) -> None:
        edge, _, distance = ours
        first = ~theirs.index.duplicated()
        np.testing.assert_allclose(distance, theirs["d"].to_numpy()[first], atol=1e-6)
        # Where several roads are equally near, ours is one of them; within a micrometre is equal.
        own = theirs.index[theirs["index_right"].to_numpy() == edge[theirs.index]]
        other = np.setdiff1d(np.arange(len(edge)), own)
        there = points.geometry.to_numpy()[other]
        away = shapely.distance(there, lines[edge[other]])
        np.testing.assert_allclose(away, distance[other], atol=1e-6)
        assert len(other) < 1e-3 * len(edge) + 1

    return same


def placing(reports: int) -> Case:
    network, index, lines = roads(reports)
    xy = points_near(network, reports, 15.0)
    frame = gpd.GeoDataFrame(geometry=lines, crs=network.crs)
    points = gpd.GeoDataFrame(geometry=gpd.points_from_xy(*xy.T), crs=network.crs)
    frame.sindex.query(points.geometry.iloc[0])
    return Case(
        lambda: nearest(index, xy),
        lambda: gpd.sjoin_nearest(points, frame, distance_col="d"),
        _same_places(points, lines),
    )


def placing_from_nothing(reports: int) -> Case:
    network, _, lines = roads(reports)
    xy = points_near(network, reports, 15.0)
    points = gpd.GeoDataFrame(geometry=gpd.points_from_xy(*xy.T), crs=network.crs)

    def theirs() -> gpd.GeoDataFrame:
        frame = gpd.GeoDataFrame(geometry=lines, crs=network.crs)
        return gpd.sjoin_nearest(points, frame, distance_col="d")

    return Case(lambda: nearest(PieceIndex.build(network), xy), theirs, _same_places(points, lines))


def spreading(reports: int) -> Case:
    network, index, _ = roads(reports)
    lixels = lixels_of(network)
    xy, sd = points_near(network, reports, 15.0), 15.0
    begin = places_xy(network, lixels.edge, lixels.start_m)
    end = places_xy(network, lixels.edge, lixels.end_m)
    tree = shapely.STRtree(shapely.linestrings(np.stack([begin, end], axis=1)))
    long_m = lixels.length_m

    def theirs() -> tuple[Floats, np.ndarray, Floats]:
        points = shapely.points(xy)
        near, away = tree.query_nearest(points, return_distance=True, all_matches=False)
        least = np.empty(len(xy))
        least[near[0]] = away
        reach = np.sqrt(least**2 + 32 * sd**2)
        point, lixel = tree.query(points, predicate="dwithin", distance=reach)
        unit = (end[lixel] - begin[lixel]) / long_m[lixel][:, None]
        off = xy[point] - begin[lixel]
        foot = (off * unit).sum(axis=1)
        across = off[:, 0] * unit[:, 1] - off[:, 1] * unit[:, 0]
        scale = sd * np.sqrt(2.0)
        mass = special.erf((long_m[lixel] - foot) / scale) - special.erf(-foot / scale)
        mass *= np.exp(-(across**2 - least[point] ** 2) / (2 * sd**2))
        most = np.zeros(len(xy))
        np.maximum.at(most, point, mass)
        kept = mass >= 1e-3 * most[point]
        point, lixel, mass = point[kept], lixel[kept], mass[kept]
        mass /= np.bincount(point, mass, len(xy))[point]
        order = np.lexsort((lixel, point))
        return point[order], lixel[order], mass[order]

    def same(ours: Any, others: Any) -> None:
        size = len(lixels)
        a, b = ours.point * size + ours.lixel, others[0] * size + others[1]
        both, i, j = np.intersect1d(a, b, assume_unique=True, return_indices=True)
        # What lies at the very cut may be in or out.
        assert len(both) > 0.999 * max(len(a), len(b))
        np.testing.assert_allclose(ours.weight[i], others[2][j], atol=2e-3)

    return Case(lambda: spread(network, lixels, index, xy, sd, 100.0), theirs, same)


def crossings(steps: int) -> Case:
    return crossings_on(steps, max(10 * steps, 1000) if steps < 100_000 else 1_000_000)


def crossings_on(steps: int, segments: int) -> Case:
    network, index, lines = roads(segments)
    a = points_near(network, steps, 60.0)
    b = a + generator(2, "steps").normal(0, 150.0, a.shape)
    tree = shapely.STRtree(lines)
    tree.query(shapely.points(0, 0))

    def theirs() -> tuple[np.ndarray, np.ndarray, np.ndarray]:
        walked = shapely.linestrings(np.stack([a, b], axis=1))
        step, line = tree.query(walked, predicate="intersects")
        met = shapely.intersection(walked[step], lines[line])
        return step, line, shapely.get_coordinates(met)

    def same(ours: Any, others: Any) -> None:
        step, line, xy = others
        mine, theirs_too = ours.step * segments * 2 + ours.edge, step * segments * 2 + line
        both, one, two = np.intersect1d(mine, theirs_too, return_indices=True)
        # Ours are decided in whole millimetres: at a junction one in many goes the other way.
        assert max(len(mine), len(theirs_too)) - len(both) <= 1e-4 * len(both) + 1
        gap = np.hypot(ours.x[one] - xy[two, 0], ours.y[one] - xy[two, 1])
        assert np.quantile(gap, 0.999) < 0.05

    return Case(lambda: step_meetings(network, index, a, b), theirs, same)


PLACING = Step(
    "placing reports", "geopandas sjoin_nearest", placing, "reports, as many segments", 300,
    "distance 1e-6 m, road one of the nearest (1e-6 m)", big=1_000_000, wanted=15.0,
)  # fmt: skip
PLACING_WHOLE = Step(
    "placing reports, index made", "geopandas sjoin_nearest", placing_from_nothing,
    "reports, as many segments", 300, "distance 1e-6 m, road one of the nearest (1e-6 m)",
    big=1_000_000,
)  # fmt: skip
SPREADING = Step(
    "reports over road by uncertainty", "shapely STRtree dwithin, scipy erf", spreading,
    "reports, as many segments", 300, "weight 2e-3 (the cut at a thousandth)", most=100_000,
)  # fmt: skip
CROSSINGS = Step(
    "steps across roads", "shapely STRtree, intersection", crossings,
    "steps, ten times as many segments (at most a million)", 1000,
    "the same pairs but for 1e-4, place 5 cm", big=100_000, wanted=15.0,
)  # fmt: skip

STEPS = (PLACING, PLACING_WHOLE, SPREADING, CROSSINGS)
