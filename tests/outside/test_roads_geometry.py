"""Nearest places and meetings against geopandas and shapely, distances against spatstat."""

from __future__ import annotations

from pathlib import Path

import geopandas as gpd
import numpy as np
import pandas as pd
import pytest
import shapely
from shapely import LineString

from roadrisk.roads.distances import distances_between
from roadrisk.roads.edges import network_from_segments, network_of_lines
from roadrisk.roads.grid import PieceIndex
from roadrisk.roads.lixels import lay_lixels, lixel_geometry, places_xy
from roadrisk.roads.meetings import step_meetings
from roadrisk.roads.nearest import nearest
from roadrisk.roads.network import Network
from roadrisk.roads.noding import noded_lines
from roadrisk.roads.placing import spread


@pytest.fixture(scope="module")
def town() -> Network:
    """A bent street grid of 40 x 40 junctions, a fifth of the streets missing (seeded)."""
    rng = np.random.default_rng(11)
    step = np.arange(40) * 150.0
    x, y = np.meshgrid(step + 400_000, step + 5_000_000, indexing="ij")
    x, y = x + rng.normal(0, 25, x.shape), y + rng.normal(0, 25, y.shape)
    lines = []
    for i in range(40):
        for j in range(40):
            for k, m in ((i + 1, j), (i, j + 1)):
                if k < 40 and m < 40 and rng.random() < 0.8:
                    bend = rng.normal(0, 12, 2)
                    middle = ((x[i, j] + x[k, m]) / 2 + bend[0], (y[i, j] + y[k, m]) / 2 + bend[1])
                    lines.append(LineString([(x[i, j], y[i, j]), middle, (x[k, m], y[k, m])]))
    return network_from_segments(gpd.GeoDataFrame({"name": "x"}, index=range(len(lines)),
                                                  geometry=lines, crs=32633))  # fmt: skip


@pytest.fixture(scope="module")
def points() -> np.ndarray:
    rng = np.random.default_rng(12)
    return rng.uniform([399_500, 4_999_500], [406_500, 5_006_500], (20_000, 2))


def test_nearest(town: Network, points: np.ndarray) -> None:
    """Distance and road against geopandas `sjoin_nearest`; where several roads are equally
    near (at junctions) ours is one of them.
    """
    edge, offset, distance = nearest(PieceIndex.build(town), points)
    asked = gpd.GeoDataFrame(geometry=gpd.points_from_xy(*points.T), crs=town.crs)
    found = gpd.sjoin_nearest(asked, town.segments[["edge", "geometry"]], distance_col="d")
    best = found.groupby(level=0)["d"].min()
    np.testing.assert_allclose(distance, best.to_numpy(), atol=1e-8)
    several = found.groupby(level=0)["edge"].agg(set)
    single = several.map(len).to_numpy() == 1
    assert single.mean() > 0.9
    named = np.array([next(iter(s)) for s in several])
    np.testing.assert_array_equal(edge[single], named[single])
    place = places_xy(town, edge, offset)
    np.testing.assert_allclose(np.hypot(*(place - points).T), distance, atol=1e-7)


def test_placement_without_uncertainty(town: Network, points: np.ndarray) -> None:
    """At zero uncertainty a report goes to the lixel that geopandas `sjoin_nearest` names."""
    lixels = lay_lixels(town, 10.0)
    inside = points[:4000]
    placed = spread(town, lixels, PieceIndex.build(town), inside, 0.0, 1e9)
    assert placed.point.tolist() == list(range(4000))
    assert (placed.weight == 1.0).all()
    lines = gpd.GeoDataFrame(geometry=lixel_geometry(town, lixels), crs=town.crs)
    asked = gpd.GeoDataFrame(geometry=gpd.points_from_xy(*inside.T), crs=town.crs)
    found = gpd.sjoin_nearest(asked, lines, distance_col="d")
    single = found[~found.index.duplicated(keep=False)]
    assert len(single) > 3000
    np.testing.assert_array_equal(placed.lixel[single.index], single["index_right"])


def test_meetings(town: Network) -> None:
    """Places against shapely `intersection` of 20,000 random steps with the segments.

    Both agree but for steps that pass within a millimetre of a vertex or end, since ours are
    decided in whole millimetres; the seeded steps hold no such case.
    """
    rng = np.random.default_rng(13)
    a = rng.uniform([400_000, 5_000_000], [406_000, 5_006_000], (20_000, 2))
    b = a + rng.normal(0, 150, a.shape)
    mine = step_meetings(town, PieceIndex.build(town), a, b)
    steps = shapely.linestrings(np.stack([a, b], axis=1))
    lines = town.segments.geometry.to_numpy()
    step, row = shapely.STRtree(lines).query(steps, predicate="intersects")
    shapes, of = shapely.get_parts(shapely.intersection(steps[step], lines[row]), return_index=True)
    xy = shapely.get_coordinates(shapes)
    theirs = pd.DataFrame({"step": step[of], "row": row[of], "x": xy[:, 0], "y": xy[:, 1]})
    ours = pd.DataFrame({"step": mine.step, "row": mine.segment, "x": mine.x, "y": mine.y})
    keys = ["step", "row", "x", "y"]
    theirs, ours = (t.sort_values(keys).reset_index(drop=True) for t in (theirs, ours))
    assert len(ours) > 20_000
    assert len(ours) == len(theirs)
    np.testing.assert_array_equal(ours[["step", "row"]], theirs[["step", "row"]])
    gap = np.hypot(ours["x"] - theirs["x"], ours["y"] - theirs["y"])
    assert gap.max() < 0.05
    np.testing.assert_allclose(
        places_xy(town, mine.edge, mine.offset_m), np.column_stack([mine.x, mine.y]), atol=1e-6
    )


def reference_network(folder: Path) -> tuple[Network, np.ndarray]:
    """The small network, 1,000 times as large, and its 20 points in the same measure."""
    vertices = pd.read_csv(folder / "simplenet20_vertices.csv").set_index("vertex")
    edges = pd.read_csv(folder / "simplenet20_edges.csv")
    xy = vertices[["x", "y"]] * 1000
    lines = [
        LineString([xy.loc[a], xy.loc[b]]) for a, b in zip(edges["from"], edges["to"], strict=True)
    ]
    net = network_from_segments(gpd.GeoDataFrame({"name": "x"}, index=range(len(lines)),
                                                 geometry=lines, crs=32633))  # fmt: skip
    points = pd.read_csv(folder / "simplenet20_points.csv")
    return net, points[["x", "y"]].to_numpy() * 1000


def test_distances_against_spatstat(open_data: Path) -> None:
    """Pairwise network distances of 20 points against R's spatstat.linnet 3.0-6.

    Source: pairdist.lpp of the dataset simplenet (Ang, Baddeley & Nair 2012, Scandinavian
    Journal of Statistics 39:591-617), tables in small_network_reference, read in place.
    """
    folder = open_data / "small_network_reference"
    net, xy = reference_network(folder)
    edge, offset, distance = nearest(PieceIndex.build(net), xy)
    assert distance.max() < 0.01
    mine = distances_between(net, edge, offset)
    theirs = np.loadtxt(folder / "simplenet20_pairdist.csv", delimiter=",") * 1000
    np.testing.assert_allclose(mine, theirs, atol=0.02)


def test_a_real_agency_layer(open_data: Path) -> None:
    """973 real state roads build into a network: nothing is lost, nodes are real.

    Source: gps_tracks_and_roads (repository bsmity13/MSU_GAM_SSF), read in place. The length
    of the layer is shapely's union of all lines, which also counts what is drawn twice once.
    """
    layer = gpd.read_file(open_data / "gps_tracks_and_roads" / "roads.shp")
    lines = layer.explode(index_parts=False, ignore_index=True)
    lines = lines.rename(columns={"FULLNAME": "name"}).assign(level=0)
    lines["name"] = lines["name"].fillna("")
    pieces, _ = noded_lines(lines[["name", "level", "geometry"]], "join")
    net = network_of_lines(pieces)
    union = shapely.unary_union(lines.geometry.to_numpy(), grid_size=0.001)
    assert net.length_m == pytest.approx(union.length, rel=1e-4)
    degree = np.bincount(np.concatenate([net.edge_u, net.edge_v]))
    ring = net.edge_u[net.edge_u == net.edge_v]
    assert not np.setdiff1d(np.flatnonzero(degree == 2), ring).size
    assert net.segments["segment_id"].is_unique
    # Noded: no two segments cross anywhere but at their ends (beyond the snapping distance).
    table = net.segments.geometry.to_numpy()
    a, b = shapely.STRtree(table).query(table, predicate="crosses")
    meet = shapely.intersection(table[a], table[b])
    ends_of = shapely.boundary(table)
    inner = shapely.distance(meet, ends_of[a]) > 1.0
    inner &= shapely.distance(meet, ends_of[b]) > 1.0
    assert not inner.any()
