"""The one model of deaths against a long chain and invented worlds: by recovering a truth.

Full figures: `python -m tests.truth.death_coverage`, `death_planted`, `long_chain`.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from tests.truth.death_coverage import fit, run, score
from tests.truth.death_planted import (
    deadly_road,
    identified,
    moved,
    planted,
    quiet_road,
    tenfold,
)
from tests.truth.death_worlds import SCENARIOS, lay_place, make_world
from tests.truth.long_chain import fast, run_chain, small_road


def test_fast_shape_against_a_long_chain() -> None:
    """Against the project's own Markov chain: totals within 6 %, log rates within their spread."""
    known, _ = small_road(reports=False)
    slow, _ = run_chain(known, None, 3000, seed=1)
    quick, _ = fast(known, None)
    for level in (0.05, 0.5, 0.95):
        a, b = (np.quantile(np.exp(r).sum(axis=0), level) for r in (slow, quick))
        assert b == pytest.approx(a, rel=0.06)
    apart = np.abs(slow.mean(axis=1) - quick.mean(axis=1)) / slow.std(axis=1)
    assert apart.max() < 0.45
    assert apart.mean() < 0.15
    np.testing.assert_allclose(quick.std(axis=1), slow.std(axis=1), rtol=0.25)


def test_surveyed_worlds_hold_the_truth() -> None:
    """By recovery, 16 worlds: what 90 % intervals hold, and no gross bias."""
    scores = run("surveys on all roads", 16, length_m=250.0)
    assert len(scores) == 16
    # 11 of 16 or fewer has a chance below 1 % if intervals hold nine in ten.
    assert sum(s.total_held for s in scores) >= 12
    assert 0.8 < np.mean([s.pieces_held for s in scores]) < 0.98
    bias = np.mean([s.total_best for s in scores]) / np.mean([s.total_true for s in scores]) - 1
    assert abs(bias) < 0.2


def test_reports_move_only_where() -> None:
    """By recovery: ten times the reports, and 200 planted on a quiet road, move no total."""
    world = make_world(
        lay_place(250.0), SCENARIOS["surveys on all roads, reports"], np.random.default_rng(4)
    )
    before = fit(world, 1)
    ten = moved(before, fit(tenfold(world), 1), world.place.road < 0)
    assert ten.watched_total < 1e-9
    road = quiet_road(world, before.watched)
    lied = moved(before, fit(planted(world, road, 200), 1), world.place.road == road)
    assert lied.watched_total < 1e-9
    assert lied.ranks_out < 0.02 * lied.ranks
    # Of pieces whose rank carcasses tell without reports none leaves its interval.
    alone = fit(replace(world, sources=[s for s in world.sources if s.known]), 1)
    deadly = deadly_road(world)
    there = world.place.road == deadly
    lied = moved(before, fit(planted(world, deadly, 200), 1), there, identified(alone))
    assert lied.identified > 0
    assert lied.identified_out == 0
    assert 0 <= score(world, before).top_model <= score(world, before).top_best
