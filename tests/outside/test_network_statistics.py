"""Network K and Gi* against reference libraries on streets and crimes that libpysal ships."""

from __future__ import annotations

from itertools import pairwise

import esda
import geopandas as gpd
import libpysal
import numpy as np
import pytest
import shapely
from scipy import sparse
from scipy.spatial.distance import cdist

from roadrisk.hotspots.local_gi import gi_star, neighbours_within
from roadrisk.hotspots.network_k import network_k
from roadrisk.roads.lixels import lay_lixels
from roadrisk.roads.network import Network
from roadrisk.roads.placing import PieceIndex, nearest
from tests.roads.small import make_network

Streets = tuple[gpd.GeoDataFrame, gpd.GeoDataFrame, Network, np.ndarray, np.ndarray]


@pytest.fixture(scope="module")
def streets() -> Streets:
    """Every straight piece as a line of its own, so that both programs join roads alike; the
    feet of the files are taken for metres."""
    lines = gpd.read_file(libpysal.examples.get_path("streets.shp"))
    crimes = gpd.read_file(libpysal.examples.get_path("crimes.shp"))
    pieces = []
    for line in lines.geometry:
        xy = shapely.get_coordinates(line)
        pieces += [[tuple(a), tuple(b)] for a, b in pairwise(xy)]
    network = make_network(pieces)
    table = gpd.GeoDataFrame(geometry=[shapely.LineString(p) for p in pieces], crs=lines.crs)
    edge, offset, _ = nearest(
        PieceIndex.build(network), shapely.get_coordinates(crimes.geometry.to_numpy())
    )
    return table, crimes, network, edge, offset


@pytest.mark.filterwarnings("ignore::FutureWarning")  # that library's own, when imported and used
def test_network_k_of_streets_and_crimes(streets: Streets) -> None:
    """spaghetti's global K; its divisor is n squared, ours n (n - 1), else they are the same."""
    import spaghetti

    table, crimes, network, edge, offset = streets
    theirs = spaghetti.Network(in_data=table)
    theirs.snapobservations(crimes[["geometry"]], "crimes")
    assert network.length_m == pytest.approx(sum(theirs.arc_lengths.values()), rel=1e-6)
    k = theirs.GlobalAutoK(
        theirs.pointpatterns["crimes"], nsteps=25, permutations=1, upperbound=3000.0
    )
    t = k.xaxis[1:]
    got = network_k(network, (edge, offset), t)
    assert got == pytest.approx(k.observed[1:], rel=0.01)
    assert got * 286 / 287 == pytest.approx(k.observed[1:], rel=1e-9)


def published_points() -> tuple[np.ndarray, np.ndarray]:
    """Points and values of the docstring of esda's G_Local (pysal/esda, esda/getisord.py)."""
    points = np.array([(10, 10), (20, 10), (40, 10), (15, 20), (30, 20), (30, 30)], float)
    return points, np.array([2, 3, 3.2, 5, 8, 7])


def test_gi_star_of_published_values() -> None:
    """The z-scores printed in that docstring, points within 15 of each other."""
    points, values = published_points()
    near = sparse.csr_array(cdist(points, points) <= 15)
    assert gi_star(values, near) == pytest.approx(
        [-1.39727626, -0.28917762, 0.65064964, -0.28917762, 1.23452088, 2.02424331], abs=1e-8
    )


def test_gi_star_of_crimes_on_streets(streets: Streets) -> None:
    """esda's G_Local with star, binary weights, on counts of crimes on pieces of street within 500
    of each other along the streets."""
    _, _, network, edge, offset = streets
    lixels = lay_lixels(network, 100.0)
    counts = np.bincount(lixels.at(edge, offset), minlength=len(lixels)).astype(float)
    middle = (lixels.start_m + lixels.end_m) / 2
    near = neighbours_within(network, lixels.edge, middle, 500.0)
    rows = np.repeat(np.arange(len(lixels)), np.diff(near.indptr))
    away = rows != near.indices
    graph = libpysal.graph.Graph.from_arrays(rows[away], near.indices[away], np.ones(away.sum()))
    theirs = esda.G_Local(counts, graph, transform="B", star=True, permutations=0)
    assert counts.sum() == 287
    assert gi_star(counts, near) == pytest.approx(theirs.Zs, abs=1e-6)
