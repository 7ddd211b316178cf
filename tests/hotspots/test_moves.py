"""How groups move: by hand on three lixels, folded, by season, and against the draws."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from roadrisk.hotspots.drawn_masses import ExpectedMasses, drawn_masses, unit_weights
from roadrisk.hotspots.events import ALIVE, CROSSING, Events, gather
from roadrisk.hotspots.moves import Rule, begin_of, lay_out, planted_middles, rule_of_groups
from roadrisk.hotspots.strands import Strands, lay_strands
from roadrisk.roads.lixels import lay_lixels
from roadrisk.roads.network import Floats, Ints
from tests.roads.small import make_network
from tests.truth.worlds import Ground, country_roads, ground, mixed


def line(length: float, lixel_m: float, *rules: Rule, window_m: float = 1e6) -> Strands:
    network = make_network([[(0, 0), (length, 0)]])
    lixels = lay_lixels(network, lixel_m)
    laid = lay_strands(network, lixels, np.ones(len(lixels), bool), window_m)
    return replace(laid, rules=rules)


def reports(strands: Strands, lixel: list[int], along: list[float], who: list[int],
            rule: list[int]) -> Events:  # fmt: skip
    """One event each, by hand; xy along the line."""
    at, into = np.array(lixel), np.array(along, float)
    position = strands.position_m(at, into)
    return gather(
        strands, lixel=at, along_m=into, weight=np.ones(len(at)), event=np.arange(len(at)),
        event_unit=[(True, f"o{w}") for w in who], event_kind=np.full(len(at), ALIVE),
        event_xy=np.column_stack([position, np.zeros(len(at))]), link_m=200.0, window_m=2000.0,
        event_rule=np.array(rule),
    )  # fmt: skip


def lixels_hit(strands: Strands, events: Events, draws: int = 6000) -> Floats:
    rows = drawn_masses(events, strands, events.weight, draws=draws, rng=np.random.default_rng(1))
    return np.asarray(rows.mean(axis=0))


def test_draws_follow_the_chances_on_three_lixels() -> None:
    """By hand: chances 1, 3, 0 on three lixels; a quarter, three quarters, none."""
    strands = line(30, 10, Rule(anywhere=True, chance=np.array([1.0, 3.0, 0.0])))
    events = reports(strands, [0], [5.0], [1], [0])
    assert lixels_hit(strands, events) == pytest.approx([0.25, 0.75, 0.0], abs=0.02)


def test_places_within_a_lixel_are_turned_back_into_metres() -> None:
    """By hand: of all chance, 1/8 lies at 5 m, 1/4 at 10 m, 5/8 at 15 m, all at 20 m."""
    strands = line(30, 10, Rule(anywhere=True, chance=np.array([1.0, 3.0, 0.0])))
    laid = lay_out(reports(strands, [0], [5.0], [1], [0]), strands)
    share = np.array([[0.0], [0.125], [0.25], [0.625], [0.9999999]])
    assert laid.middles(share).ravel() == pytest.approx([0, 5, 10, 15, 20], abs=1e-5)


def test_pieces_beyond_the_end_are_folded_back() -> None:
    """By hand: a group of two places 8 m apart whose middle is the first; at 28 m of 30 m the
    second would lie at 36 m and comes back to 24 m."""
    strands = line(30, 10, Rule(anywhere=True, chance=np.array([0.0, 0.0, 1.0])))
    events = reports(strands, [0, 0], [1.0, 9.0], [1, 1], [0, 0])
    laid = lay_out(events, strands)
    assert laid.offset == pytest.approx([0, 8])
    assert laid.positions(np.array([[0.8]]))[0] == pytest.approx([28, 24])


def test_each_kind_follows_its_own_rule() -> None:
    """By hand: rule 0 by length in windows of 100 m, rule 1 to the last lixel only."""
    chance = np.zeros(40)
    chance[39] = 1.0
    strands = line(400, 10, Rule(), Rule(anywhere=True, chance=chance), window_m=100)
    events = reports(strands, [5, 5], [5.0, 5.0], [1, 2], [0, 1])
    rows = drawn_masses(
        events, strands, np.array([1.0, 100.0]), draws=2000, rng=np.random.default_rng(2)
    )
    mean = np.asarray(rows.mean(axis=0))
    assert mean[:10] == pytest.approx(0.1, abs=0.03)
    assert mean[10:39].max() == 0
    assert mean[39] == pytest.approx(100)


def test_chances_within_windows() -> None:
    """By hand: two windows; the group stays in its own, where the chances are 1 to 4."""
    chance = np.array([1.0] * 5 + [4.0] * 5 + [100.0] * 10)
    strands = line(200, 10, Rule(chance=chance), window_m=100)
    got = lixels_hit(strands, reports(strands, [2], [5.0], [1], [0]))
    assert got[:5].sum() == pytest.approx(0.2, abs=0.02)
    assert got[5:10].sum() == pytest.approx(0.8, abs=0.02)
    assert got[10:].max() == 0


def test_a_window_without_any_chance_is_left_by_length() -> None:
    """By hand: nothing known of the window, so every metre alike."""
    chance = np.array([0.0] * 10 + [1.0] * 10)
    strands = line(200, 10, Rule(chance=chance), window_m=100)
    got = lixels_hit(strands, reports(strands, [2], [5.0], [1], [0]))
    assert got[:10] == pytest.approx(0.1, abs=0.02)


def test_a_group_goes_by_the_season_of_most_of_its_weight() -> None:
    """By hand: one observer's linked reports, two of season 1 and one of season 2."""
    strands = line(400, 10, Rule(), Rule(chance=np.ones(40)), Rule(chance=np.ones(40)))
    events = reports(strands, [5, 5, 6, 30], [5.0] * 4, [1, 1, 1, 1], [1, 2, 1, 2])
    assert sorted(rule_of_groups(events, strands)) == [1, 2]
    assert rule_of_groups(events, strands)[events.block[events.lixel == 5][0]] == 1


def rated(on: Ground, anywhere: bool) -> tuple[Strands, Events]:
    events = mixed(on, np.random.default_rng(3))
    rng = np.random.default_rng(8)
    chance = on.lixels.length_m * np.exp(rng.normal(0, 1, len(on.lixels)))
    chance[rng.random(len(on.lixels)) < 0.2] = 0
    strands = replace(on.strands, rules=(Rule(), Rule(anywhere, chance)))
    return strands, replace(events, rule=np.where(events.kind == CROSSING, 0, 1))


@pytest.mark.parametrize("anywhere", [True, False])
def test_expected_masses_are_the_mean_of_many_draws(anywhere: bool) -> None:
    """Against the draws themselves: mass kept, and no lixel off by more than its chance error."""
    strands, events = rated(ground(country_roads()), anywhere)
    weight = unit_weights(events)
    rows = drawn_masses(events, strands, weight, draws=4000, rng=np.random.default_rng(4))
    due = ExpectedMasses(events, strands).of(weight)
    assert due.sum() == pytest.approx(weight.sum())
    # In tens of lixels along the line, so that rounded offsets and single draws matter little.
    run = np.arange(len(strands.order)) // 10
    drawn = rows.toarray()[:, strands.order]
    sums = np.array([np.bincount(run, d) for d in drawn])
    error = sums.std(axis=0) / np.sqrt(len(sums))
    off = (sums.mean(axis=0) - np.bincount(run, due[strands.order])) / np.maximum(error, 1e-3)
    assert np.abs(off).max() < 5
    assert off.std() < 1.3


def test_planted_stretches_follow_the_chances() -> None:
    """By hand: 100 m at 1 and 100 m at 3; a stretch over the second half of the first at 5x holds
    5 * 50 of 50 + 250 + 300."""
    strands = line(200, 10, Rule(anywhere=True, chance=np.array([1.0] * 10 + [3.0] * 10)))
    rule: Ints = np.zeros(6000, np.int64)
    share = (np.arange(6000) + 0.5) / 6000
    middle = planted_middles(strands, rule, 50.0, 50.0, 5.0, share)
    inside = (middle >= 50) & (middle < 100)
    assert inside.mean() == pytest.approx(250 / 600, abs=1e-3)
    even = planted_middles(line(200, 10), rule, 50.0, 50.0, 5.0, share)
    assert ((even >= 50) & (even < 100)).mean() == pytest.approx(250 / 400, abs=1e-3)


def test_planted_stretches_begin_where_someone_looks() -> None:
    """By hand: only the second of two halves is watched."""
    strands = line(200, 10, Rule(), Rule(anywhere=True, chance=np.repeat([0.0, 1.0], 10)))
    begins = [begin_of(strands, 50.0, share) for share in (0.0, 0.25, 0.99)]
    assert begins == pytest.approx([100, 125, 150])
    assert begin_of(line(200, 10), 50.0, 0.5) == pytest.approx(75)
