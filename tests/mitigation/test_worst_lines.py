"""Where measures are weighed in a large network, and pairs of arms at junctions."""

from __future__ import annotations

from itertools import combinations, pairwise

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from roadrisk.mitigation.lines import RoadLines, _paired, _turn
from roadrisk.mitigation.worst_lines import left_out_words, weighed_places

# Lines of 3, 2, 4 and 1 places.
FIRST = np.array([0, 3, 5, 9, 10])
LENGTH_M = np.full(10, 100.0)
DEATHS = np.array([0.1, 0.2, 0.1, 0.9, 0.0, 0.3, 0.3, 0.3, 0.3, 0.5])[:, None] * np.ones(4)


def lines() -> RoadLines:
    every = np.arange(10)
    start = np.concatenate([100.0 * np.arange(n) for n in np.diff(FIRST)])
    road = np.array(list("abcd"), dtype=object)
    return RoadLines(every, np.zeros(10, bool), FIRST, start, LENGTH_M, road)


def test_small_network_is_weighed_whole() -> None:
    assert weighed_places(lines(), DEATHS, 10).all()
    assert left_out_words(lines(), DEATHS, np.ones(10, bool), known=True, units="metric") == ()


def test_whole_lines_from_the_worst_as_far_as_there_is_room() -> None:
    # In order of their worst place: b (2 places), d (1), c (4), a (3).
    assert np.flatnonzero(weighed_places(lines(), DEATHS, 3)).tolist() == [3, 4, 9]
    assert np.flatnonzero(weighed_places(lines(), DEATHS, 6)).tolist() == [3, 4, 9]
    assert np.flatnonzero(weighed_places(lines(), DEATHS, 9)).tolist() == [3, 4, 5, 6, 7, 8, 9]


def test_words_say_how_bad_it_is_elsewhere() -> None:
    weighed = weighed_places(lines(), DEATHS, 3)
    (said,) = left_out_words(lines(), DEATHS, weighed, known=True, units="metric")
    # 1.4 of 3.0 deaths; elsewhere at most 0.3 on 100 m.
    assert said == (
        "Measures were weighed on the 3 of 10 places on roads where most die (46.7 % of all "
        "deaths); no place elsewhere has more than 3 deaths per km and year."
    )
    (said,) = left_out_words(lines(), DEATHS, weighed, known=False, units="metric")
    assert said.endswith("(46.7 % of all deaths).")


def paired_by_sorting(
    arms: list[int], own: np.ndarray, heading: np.ndarray, road: np.ndarray, stops: np.ndarray
) -> list[tuple[int, int]]:
    """All pairs of one road sorted by bend, each arm taken once: the plain way."""
    same = [(a, b) for a, b in combinations([a for a in arms if own[a]], 2) if road[a] == road[b]]
    same.sort(key=lambda ab: (abs(abs(_turn(heading[ab[0]] - heading[ab[1]])) - np.pi), ab))
    taken: set[int] = set()
    chosen = []
    for a, b in same:
        if taken.isdisjoint((a, b)):
            taken |= {a, b}
            chosen.append((a, b))
    return [
        (a, b)
        for a, b in chosen
        if not any(stops[c] and (own[c] or road[c] != road[a]) for c in arms if c not in (a, b))
    ]


@settings(deadline=None)
@given(st.integers(0, 2**32 - 1))
def test_arms_pair_as_by_sorting_all_pairs(seed: int) -> None:
    rng = np.random.default_rng(seed)
    sizes = rng.integers(1, 7, 5)
    count = int(sizes.sum())
    order = rng.permutation(count)
    starts = np.concatenate([[0], np.cumsum(sizes)])
    for a, b in pairwise(starts):
        order[a:b].sort()
    own = rng.random(count) < 0.8
    # Few directions, so that bends are equal often.
    heading = rng.integers(0, 8, count) * np.pi / 4
    road = rng.integers(0, 3, count)
    stops = rng.random(count) < 0.2
    found = _paired(order, starts, own, heading, road, stops).tolist()
    expected = []
    for a, b in pairwise(starts):
        expected += paired_by_sorting(order[a:b].tolist(), own, heading, road, stops)
    assert [tuple(pair) for pair in found] == expected
