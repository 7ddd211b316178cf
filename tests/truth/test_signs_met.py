"""Drivers who come from anywhere meet a sign before the site; signs stand where they should.

Drivers take the shortest way (networkx's Dijkstra, on a graph made here) from every node more than
500 m from the sites to the nearest site, on an invented tree of roads and on a real town's streets
with loops and one-way roads, which drivers keep to.
"""

from __future__ import annotations

from itertools import pairwise

import networkx as nx
import numpy as np
import pytest

from roadrisk.mitigation.sign_stretches import signs_of_sites
from roadrisk.mitigation.sign_walk import SignRules, SignWalk
from roadrisk.roads.bands import with_bands
from roadrisk.roads.lixels import lay_lixels
from tests.truth.networks import town_streets, tree_of_roads

EVERY_ARM = SignRules(shortest_dead_end_m=0.0, without=())


def lixel_ways(net, lixels, travel):
    """Graph of places (lixel ends) along which traffic may move, lixel by lixel."""
    graph = nx.DiGraph()
    for edge in range(net.edges):
        first, after = lixels.first[edge : edge + 2].tolist()
        names = [
            int(net.edge_u[edge]), *((edge, k) for k in range(first + 1, after)),
            int(net.edge_v[edge]),
        ]  # fmt: skip
        for n, k in enumerate(range(first, after)):
            way = int(travel[lixels.segment[k]])
            length = float(lixels.length_m[k])
            for a, b, ahead in ((names[n], names[n + 1], True), (names[n + 1], names[n], False)):
                if way == 0 or (way == 1) == ahead:
                    old = graph.get_edge_data(a, b)
                    if old is None or old["weight"] > length:
                        graph.add_edge(a, b, weight=length, lixel=k, ahead=ahead)
    return graph


def made(name, seed):
    net = with_bands(tree_of_roads() if name == "tree" else town_streets())
    lixels = lay_lixels(net, 10.0)
    rng = np.random.default_rng(seed)
    first = rng.choice(len(lixels) - 30, 3, replace=False)
    sites = [np.arange(k, k + rng.integers(5, 30)) for k in first]
    walk = SignWalk(net, lixels, EVERY_ARM)
    return net, lixels, walk, sites, signs_of_sites(walk, net, lixels, sites)


@pytest.mark.parametrize("name", ["tree", "town"])
@pytest.mark.parametrize("seed", range(4))
def test_every_driver_meets_a_sign(name, seed) -> None:
    net, lixels, walk, sites, signs = made(name, seed)
    graph = lixel_ways(net, lixels, walk.travel)
    inside = set(np.concatenate(sites).tolist())
    targets = {a for a, _, d in graph.edges(data=True) if d["lixel"] in inside}
    back = graph.reverse(copy=True)
    distance, ways = nx.multi_source_dijkstra(back, targets)
    facing = {
        (int(lixels.at(np.array([s.at.edge]), np.array([s.at.offset_m]))[0]), s.at.outward_ahead)
        for s in signs
    }
    near = facing | {(k + d, ahead) for k, ahead in facing for d in (-1, 1)}
    drivers = missed = 0
    for node in range(len(net.node_xy)):
        if distance.get(node, 0.0) < 500.0:
            continue
        way = ways[node][::-1]
        drivers += 1
        passed = {(d["lixel"], not d["ahead"]) for d in (graph[a][b] for a, b in pairwise(way))}
        missed += not passed & near
    assert drivers > 20
    assert missed == 0


@pytest.mark.parametrize("name", ["tree", "town"])
@pytest.mark.parametrize("seed", range(4))
def test_signs_stand_far_enough_and_clear_of_junctions(name, seed) -> None:
    net, _, walk, _, signs = made(name, seed)
    degree = np.bincount(np.concatenate([net.edge_u, net.edge_v]))
    assert len(signs) >= 4
    for sign in signs:
        at = sign.at
        assert at.dead_end or at.distance_m >= walk._distance(at.fastest_kmh) - 1e-6
        length = net.edge_length_m[at.edge]
        ends = ((net.edge_u, at.offset_m), (net.edge_v, length - at.offset_m))
        for node, far in ends:
            if degree[node[at.edge]] > 2 and not at.cramped and not at.dead_end:
                assert far >= 30.0 - 1e-6
        if at.cramped:
            assert length < 60.0
