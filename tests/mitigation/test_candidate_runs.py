"""Runs of road and what they need, by hand and against plain loops."""

from __future__ import annotations

from itertools import pairwise
from math import ceil

import numpy as np
import pytest

from roadrisk.mitigation.candidate_runs import candidate_runs, counted_in_runs, passages_of_runs
from roadrisk.mitigation.lines import RoadLines
from roadrisk.mitigation.passages import crossings_kept, lay_passages


def lay_lines(*lengths: list[float]) -> RoadLines:
    size = [len(part) for part in lengths]
    every = np.concatenate([np.asarray(part, float) for part in lengths])
    start = np.concatenate([np.cumsum([0.0, *part])[:-1] for part in lengths])
    return RoadLines(
        np.arange(len(every)), np.zeros(len(every), bool), np.cumsum([0, *size]), start, every,
        np.array([f"Road {k}" for k in range(len(size))], object),
    )  # fmt: skip


def pairs(runs) -> list[tuple[int, int]]:
    return list(zip(runs.first.tolist(), runs.last.tolist(), strict=True))


def test_runs_of_two_lines_by_hand() -> None:
    lines = lay_lines([100, 100, 100], [60, 50, 400])
    runs = candidate_runs(lines, least_m=100, longest_m=200)
    # A single place longer than the longest is a run of its own.
    assert pairs(runs) == [(0, 1), (0, 2), (1, 2), (1, 3), (2, 3), (3, 5), (5, 6)]
    assert runs.line.tolist() == [0, 0, 0, 0, 0, 1, 1]
    np.testing.assert_allclose(runs.length_m, [100, 200, 100, 200, 100, 110, 400])
    fenced = np.array([False, True, False, False, False, False])
    assert pairs(candidate_runs(lines, least_m=100, longest_m=200, left_out=fenced)) == [
        (0, 1), (2, 3), (3, 5), (5, 6),
    ]  # fmt: skip
    assert not len(candidate_runs(lay_lines([30, 20]), least_m=100, longest_m=200))


def test_passages_by_hand() -> None:
    """s = 200 m. Counts are worked out from the rule that no point is farther than 100 m."""
    lines = lay_lines([50] * 20, [50] * 20)
    runs = candidate_runs(lines, least_m=50, longest_m=1000)
    new, there = passages_of_runs(
        lines, runs, passage_at_m=np.array([300.0, 750.0]), passage_line=np.array([1, 1]),
        spacing_m=200.0,
    )  # fmt: skip
    of = {pair: (int(n), int(t)) for pair, n, t in zip(pairs(runs), new, there, strict=True)}
    assert of[0, 20] == (5, 0)
    assert of[0, 4] == (1, 0)
    assert of[0, 5] == (2, 0)
    assert of[20, 40] == (1 + 2 + 1, 2)  # 300 m before, a gap of 450 m, 250 m after
    assert of[24, 28] == (0, 1)  # 200 to 400 m, one at 300 m
    assert of[23, 28] == (1, 1)  # 150 m before it: 50 m too far
    assert of[27, 30] == (1, 0)
    free, _ = passages_of_runs(
        lines, runs, passage_at_m=np.array([300.0]), passage_line=np.array([1]), spacing_m=np.inf
    )
    assert not free.any()


@pytest.mark.parametrize("seed", range(3))
def test_passages_against_a_loop(seed) -> None:
    """Against plain loops, and laid out they leave no point farther than s/2."""
    rng = np.random.default_rng(seed)
    lines = lay_lines(rng.uniform(30, 150, 15), rng.uniform(30, 150, 12), rng.uniform(30, 150, 9))
    runs = candidate_runs(lines, least_m=100, longest_m=1500)
    line = np.sort(rng.integers(3, size=12))
    at = rng.uniform(0, [float(lines.length_m[lines.line == k].sum()) for k in line])
    at = at[np.lexsort((at, line))]
    s = 170.0
    new, there = passages_of_runs(lines, runs, passage_at_m=at, passage_line=line, spacing_m=s)
    begin = lines.start_m[runs.first]
    for k in range(len(runs)):
        end = begin[k] + runs.length_m[k]
        here = at[(line == runs.line[k]) & (at >= begin[k]) & (at <= end)]
        edges = [begin[k], *here, end]
        need = [max(0, ceil((g - s / 2) / s)) for g in (here[0] - begin[k], end - here[-1])] if (
            len(here)
        ) else [ceil(runs.length_m[k] / s)]  # fmt: skip
        need += [ceil((b - a) / s) - 1 for a, b in pairwise(here)]
        assert (new[k], there[k]) == (sum(need), len(here))
        laid = np.sort(np.append(lay_passages(begin[k], end, here, s), here))
        assert len(laid) == new[k] + there[k]
        assert max(laid[0] - edges[0], edges[-1] - laid[-1]) <= s / 2 + 1e-9
        assert np.all(np.diff(laid) <= s + 1e-9)


def test_a_million_runs_are_counted_quickly() -> None:
    lines = lay_lines(*[[100.0] * 100] * 350)
    runs = candidate_runs(lines, least_m=100, longest_m=3000)
    assert len(runs) == 350 * sum(min(30, 100 - a) for a in range(100))  # 897,750
    openings = np.arange(len(lines.length_m)) % 3
    out = counted_in_runs(openings, runs.first, runs.last)
    k = 500_000
    assert out[k] == openings[runs.first[k] : runs.last[k]].sum()
    new, _ = passages_of_runs(
        lines, runs, passage_at_m=np.array([5.0]), passage_line=np.array([0]), spacing_m=150.0
    )
    assert new[-1] == ceil(100 / 150)


def kept(spacing_m: float, reach_m: float, crossings=None, at=()) -> float:
    lines = lay_lines([100.0] * 12)
    amount = np.ones(12) if crossings is None else np.asarray(crossings, float)
    out = crossings_kept(
        lines, np.array([0]), np.array([12]), amount, passage_at_m=np.array(at, float),
        passage_line=np.zeros(len(at), int), new_spacing_m=spacing_m, reach_m=reach_m,
    )  # fmt: skip
    return float(out[0])


def test_passages_too_far_apart_lose_crossings() -> None:
    """By hand: reach 75 m (a species that walks 150 m); 1,200 m of fence."""
    assert kept(150.0, 75.0) == pytest.approx(1.0)
    assert kept(300.0, 75.0) == pytest.approx(0.5)  # 4 passages, 150 m each
    assert kept(600.0, 75.0) == pytest.approx(0.25)
    assert kept(np.inf, 75.0) == 0.0
    assert kept(np.inf, 75.0, at=[600.0]) == pytest.approx(150 / 1200)
    assert kept(np.inf, 75.0, at=[0.0, 50.0]) == pytest.approx(125 / 1200)  # they overlap
    only = np.eye(12)[3]  # all cross at 300 to 400 m
    assert kept(np.inf, 75.0, only, at=[350.0]) == pytest.approx(1.0)
    assert kept(np.inf, 75.0, only, at=[900.0]) == 0.0
    assert np.isnan(kept(150.0, 75.0, np.zeros(12)))
