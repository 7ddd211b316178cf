"""What is left of the chance that a crossing kills: identities of the formula."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from roadrisk.kill_settings import KillSection
from roadrisk.mitigation.traffic_cut import LeftOver, TrafficCut, closed_share
from roadrisk.mortality.kill_chance import kill_chances, kill_inputs
from roadrisk.mortality.kill_curves import chances_of
from tests.mortality.made_crossings import made_segments
from tests.mortality.test_kill_chance import BOX_TURTLE, SURE, TOAD


def inputs_of(aadt, *, sure=False, profile=BOX_TURTLE, draws=40, **more):
    section = KillSection(**SURE) if sure else KillSection()
    segments = made_segments(aadt=aadt, name=[f"Road {k}" for k in range(len(aadt))])
    return kill_inputs(segments, profile, section, 3, study_year=2024.0, draws=draws, **more)


def left_of(inputs, chance=None):
    return LeftOver(inputs, np.arange(len(inputs.traffic.lanes)), chance)


def one_hour(inputs, hour=9):
    animals = np.zeros(24)
    animals[hour] = 1.0
    return replace(inputs, how=replace(inputs.how, animals=animals))


def test_inputs_give_the_chances_of_a_run() -> None:
    segments = made_segments(aadt=[300.0, 2500.0], name=["Road 0", "Road 1"])
    run = kill_chances(segments, BOX_TURTLE, KillSection(), 3, study_year=2024.0, draws=40)
    inputs = inputs_of([300.0, 2500.0])
    again = chances_of(inputs.traffic.aadt, inputs.traffic.lanes, inputs.zone, inputs.how)
    assert np.array_equal(run.draws, again)


@pytest.mark.parametrize("times", [0.5, 2.0, 3.0])
def test_in_one_hour_survival_is_a_power(times) -> None:
    """p(kN) = 1 − (1 − p(N))^k where all crossings fall into one hour and nobody stops."""
    inputs = one_hour(inputs_of([10.0, 400.0, 3000.0], sure=True))
    p = chances_of(inputs.traffic.aadt, inputs.traffic.lanes, inputs.zone, inputs.how)
    left = left_of(inputs)
    assert left.under(TrafficCut(times=times)) * p == pytest.approx(1 - (1 - p) ** times, rel=1e-5)
    assert left.with_traffic(times) == pytest.approx(left.under(TrafficCut(times=times)))


def test_little_traffic_halved_halves_and_much_hardly() -> None:
    left = left_of(inputs_of([0.5, 60_000.0], sure=True)).under(TrafficCut(times=0.5))
    assert left[0] == pytest.approx(0.5, abs=1e-3)
    assert (left[1] > 0.95).all()


def test_active_hours_halved_is_all_halved() -> None:
    left = left_of(inputs_of([200.0, 3000.0]))
    halved, active = (
        left.under(cut) for cut in (TrafficCut(times=0.5), TrafficCut(times_in_active_hours=0.5))
    )
    assert halved == pytest.approx(active, abs=2e-3)
    assert (halved < 1).all()


def test_stops_make_a_cut_count_for_more() -> None:
    """Without stops half of the traffic leaves half or more; an animal that stops for one vehicle
    and is hit by the next needs two, so that less than half may be left."""
    inputs = inputs_of([50.0])
    never = replace(inputs, zone=replace(inputs.zone, stop=np.zeros(40)))
    halved = TrafficCut(times=0.5)
    assert (left_of(never).under(halved) >= 0.5).all()
    assert (left_of(inputs).under(halved) < left_of(never).under(halved)).all()


def test_closing_all_active_hours_or_months_averts_all() -> None:
    inputs = inputs_of([200.0, 3000.0])
    left = left_of(inputs)
    months = tuple(inputs.months)
    assert (left.under(TrafficCut(closed_to_h=24.0)) == 0).all()
    assert (left.under(TrafficCut(closed_months=months)) == 0).all()
    assert left.under(TrafficCut(times_in_active_hours=0.0)).max() < 1e-9
    hours = np.flatnonzero(inputs.how.animals)
    cut = TrafficCut(closed_from_h=float(hours[0]), closed_to_h=float(hours[-1]) + 1)
    assert (left.under(cut) == 0).all()


def test_nothing_closed_changes_nothing() -> None:
    left = left_of(inputs_of([200.0, 3000.0]))
    assert (left.under(TrafficCut()) == 1).all()
    assert (left.under(TrafficCut(closed_months=(1,))) == 1).all()  # no crossings in January
    night = left.under(TrafficCut(closed_from_h=22.0, closed_to_h=4.0))
    assert (night == 1).all()  # animals of the day


def test_closed_and_open_parts_add_up() -> None:
    """What is left with hours closed, and with the rest of the day closed, make the whole."""
    for profile in (BOX_TURTLE, TOAD):
        left = left_of(inputs_of([200.0, 3000.0], profile=profile))
        one = left.under(TrafficCut(closed_from_h=20.5, closed_to_h=9.25))
        other = left.under(TrafficCut(closed_from_h=9.25, closed_to_h=20.5))
        assert one + other == pytest.approx(1.0, abs=2e-3)
        early, late = (
            left.under(TrafficCut(closed_months=m))
            for m in (tuple(range(1, 7)), tuple(range(7, 13)))
        )
        assert early + late == pytest.approx(1.0, abs=2e-3)


def test_a_night_helps_animals_of_the_night_only() -> None:
    night = TrafficCut(closed_from_h=20.0, closed_to_h=6.0)
    day, dark = (
        left_of(inputs_of([500.0], profile=p)).under(night).mean() for p in (BOX_TURTLE, TOAD)
    )
    assert day > 0.9
    assert dark < 0.3


def test_a_closed_month_leaves_the_crossings_of_the_others() -> None:
    """Three quarters of the crossings in July. Traffic is alike in all hours, so hours don't
    matter, and a quarter is left."""
    inputs = inputs_of([500.0], sure=True, month_weights={6: 1.0, 7: 3.0})
    assert inputs.tracked_months
    left = left_of(inputs).under(TrafficCut(closed_months=(7,)))
    assert left == pytest.approx(0.25, abs=1e-6)


def test_a_road_without_vehicles_has_the_share_of_very_few() -> None:
    left = left_of(inputs_of([0.0, 0.02], sure=True))
    for cut in (TrafficCut(times=0.5), TrafficCut(closed_to_h=12.0)):
        none, few = left.under(cut)
        assert none == pytest.approx(few, abs=2e-3)


def test_fates_keep_the_share_until_chances_reach_one() -> None:
    inputs = inputs_of([100.0, 20_000.0], sure=True)
    p = chances_of(inputs.traffic.aadt, inputs.traffic.lanes, inputs.zone, inputs.how)
    cut = TrafficCut(times=0.5)
    plain = left_of(inputs).under(cut)
    assert left_of(inputs, p * 0.2).under(cut) == pytest.approx(plain)
    factor = 0.9 / p[0]  # brings the busy road's chance to 1
    capped = left_of(inputs, np.minimum(p * factor, 1.0)).under(cut)
    assert capped[0] == pytest.approx(plain[0])
    assert capped[1] == pytest.approx(1.0)


def test_closed_share_of_hours() -> None:
    assert closed_share(22.5, 1.25).nonzero()[0].tolist() == [0, 1, 22, 23]
    assert closed_share(22.5, 1.25)[[0, 1, 22, 23]] == pytest.approx([1.0, 0.25, 0.5, 1.0])
    assert closed_share(0, 24).sum() == 24
    assert closed_share(5, 5).sum() == 0


def test_many_roads_in_single_precision_and_in_blocks_say_the_same(monkeypatch) -> None:
    inputs = inputs_of([0.0, 10.0, 400.0, 3000.0, 20_000.0])
    traffic = replace(inputs.traffic, aadt=inputs.traffic.aadt.astype(np.float32))
    monkeypatch.setattr("roadrisk.mortality.draw_sums.ROWS", 2)
    chance = chances_of(inputs.traffic.aadt, inputs.traffic.lanes, inputs.zone, inputs.how) * 0.3
    exact, many = left_of(inputs, chance), left_of(replace(inputs, traffic=traffic), chance)
    for cut in (TrafficCut(times=0.5), TrafficCut(closed_months=(5, 6))):
        assert many.under(cut).dtype == np.float32
        assert many.under(cut) == pytest.approx(exact.under(cut), rel=1e-4)
    rows = np.array([1, 4])
    assert exact.with_traffic(0.1, 7, rows) == pytest.approx(exact.with_traffic(0.1)[rows, :7])
