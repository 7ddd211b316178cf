"""Chances of segments: by hand, and whether their range holds what simulated animals met."""

from __future__ import annotations

import numpy as np
import pytest

from roadrisk.kill_settings import KillSection
from roadrisk.mortality.kill_chance import kill_chances
from roadrisk.mortality.kill_formula import chance_killed, hits_expected, minutes_on_strip
from roadrisk.mortality.killing_zone import draw_zone
from roadrisk.mortality.traffic_by_hour import crossing_shares, road_traffic, traffic_shares
from roadrisk.species import built_in_profile
from roadrisk.telemetry.movement_roads import LANE_M
from tests.mortality.made_crossings import made_segments

BOX_TURTLE = built_in_profile("terrapene_carolina")
TOAD = built_in_profile("bufo_bufo")
SURE = {
    "killing_width_m_low": 0.5, "killing_width_m_high": 0.5, "walking_speed_m_min_low": 3.0,
    "walking_speed_m_min_high": 3.0, "crossing_angle_deg_low": 0.0, "crossing_angle_deg_high": 0.0,
    "speed_varies": 0.0, "traffic_varies": 0.0, "traffic_change_a_year": 0.0,
    "stop_minutes_low": 1e-9, "stop_minutes_high": 1e-9, "traffic_by_hour": (1.0,) * 24,
}  # fmt: skip


def chances(segments, section=None, profile=BOX_TURTLE, draws=400, **more):
    return kill_chances(
        segments, profile, section or KillSection(), 3, study_year=2024.0, draws=draws, **more
    )


def test_all_known_is_the_plain_formula() -> None:
    """Several lanes, traffic alike in all hours, no stops: 1 − exp(−N a / v) of all vehicles."""
    aadt = [0.0, 0.02, 1.0, 17.0, 500.0, 2000.0, 5988.79, 20000.0, 90000.0]
    segments = made_segments(aadt=aadt, lanes=[1.0, 2, 2, 2, 1, 2, 4, 4, 6])
    found = chances(segments, KillSection(**SURE), draws=20)
    plain = chance_killed(np.array(aadt) / 1440, 0.5, 3.0)
    assert found.table["kill_chance"].to_numpy() == pytest.approx(plain, abs=1e-9, rel=1e-6)
    assert found.draws.std(axis=1) == pytest.approx(0.0, abs=1e-9)


def test_chances_between_grid_points_are_right() -> None:
    """Worked out hour by hour, speed by speed at each draw's own traffic, without a grid."""
    rng = np.random.default_rng(4)
    segments = made_segments(aadt=np.exp(rng.uniform(0, 11, 40)).tolist(), name="")
    section = KillSection()
    found = chances(segments, section, draws=60)
    zone = draw_zone(BOX_TURTLE, section, 3, 60)
    traffic = road_traffic(segments, section, 3, study_year=2024.0, draws=60)
    hours = crossing_shares(BOX_TURTLE.active, dict.fromkeys(BOX_TURTLE.months(), 1.0))
    per_min = traffic.aadt[:, :, None] * traffic_shares(section) / 60
    places, heights = np.polynomial.hermite_e.hermegauss(5)
    expected = np.zeros(traffic.aadt.shape)
    for place, height in zip(places, heights / heights.sum(), strict=True):
        speed = zone.speed_m_min * np.exp(0.3 * place)
        minutes = minutes_on_strip(zone.width_m, speed, zone.angle_deg)[:, None]
        stops = {"stop": zone.stop[:, None], "stop_minutes": zone.stop_minutes[:, None]}
        own = per_min / 2
        one = 2 * hits_expected(own, own, minutes, **stops)
        free = 2 * hits_expected(
            own, own, minutes, strip_share=zone.width_m[:, None] / LANE_M, **stops
        )
        mix = zone.wander[:, None]
        expected += height * ((1 - np.exp(-(1 - mix) * one - mix * free)) @ hours)
    assert np.abs(found.draws - expected).max() < 1e-3


def test_animals_of_the_day_meet_more_and_those_of_the_night_less() -> None:
    segments = made_segments(aadt=[2000.0])
    alike = KillSection(traffic_by_hour=(1.0,) * 24)
    for profile, more in ((BOX_TURTLE, True), (TOAD, False)):
        by_hour = chances(segments, profile=profile, draws=100).table["kill_chance"].iloc[0]
        flat = chances(segments, alike, profile, draws=100).table["kill_chance"].iloc[0]
        assert (by_hour > flat) == more


def test_months_change_the_hours() -> None:
    segments = made_segments(aadt=[2000.0])
    spring = chances(segments, month_weights={4: 1.0}).table["kill_chance"].iloc[0]
    summer = chances(segments, month_weights={7: 1.0}).table["kill_chance"].iloc[0]
    assert abs(spring - summer) > 0.002


def test_other_assumptions_move_it_the_right_way() -> None:
    compared = chances(made_segments(aadt=[1500.0])).compared.set_index("assumption")["times"]
    assert compared["as used"] == 1.0
    assert compared["vehicles in bunches of 4"] < 1.0
    assert compared["animals never stop"] < compared["stops, wheels in one track"]
    assert compared["stops, wheels in one track"] < compared["stops, wheels anywhere in the lane"]
    assert compared["slow (5 % point of speed)"] > 1 > compared["fast (95 % point of speed)"]
    assert compared["narrow strip (5 % point)"] < 1 < compared["wide strip (95 % point)"]


def test_words_name_sources_and_what_nobody_measured() -> None:
    notes = " ".join(chances(made_segments()).notes)
    assert "Nobody counted the traffic" in notes
    assert "Gould 1957" in notes
    assert "two tyres (their width from memory)" in notes
    assert "with one assumption changed" in notes


def test_same_seed_same_chances_and_no_roads_none() -> None:
    first = chances(made_segments(aadt=[1500.0, 90.0]))
    again = chances(made_segments(aadt=[1500.0, 90.0]))
    assert np.array_equal(first.draws, again.draws)
    assert chances(made_segments().iloc[:0]).draws.shape == (0, 400)


def simulated_share(rng, aadt, lanes, width, speed, angle, varies, hours, shares, many):
    """Share of simulated animals that vehicles on several lanes hit, event by event."""
    dead = 0
    hour = rng.choice(24, size=many, p=hours)
    walks = speed * np.exp(varies * rng.standard_normal(many)) * np.cos(np.radians(angle))
    for h, v in zip(hour.tolist(), walks.tolist(), strict=True):
        rate = aadt * shares[h] / 60
        across = lanes * LANE_M / v
        times = rng.uniform(0, across, rng.poisson(rate * across))
        lane = rng.integers(lanes, size=len(times))
        # Both wheel tracks of a lane together are the strip; where in the lane doesn't matter.
        begin = (lane * LANE_M + 1.0) / v
        dead += bool(((times >= begin) & (times < begin + width / v)).any())
    return dead / many


def test_truth_simulated_animals_lie_in_the_range() -> None:
    """Sixteen worlds whose values are drawn from the stated ranges: 90 % ranges hold them.

    Animals don't stop in them (chance 0 in the section's reading: stays of no length). At least
    eleven of sixteen, which a true 90 % misses once in 300.
    """
    rng = np.random.default_rng(21)
    section = KillSection(stop_minutes_low=1e-9, stop_minutes_high=1e-9)
    hours = crossing_shares(BOX_TURTLE.active, dict.fromkeys(BOX_TURTLE.months(), 1.0))
    shares = traffic_shares(section)
    zone = draw_zone(BOX_TURTLE, section, 99, 16)
    counted = np.exp(rng.uniform(5.5, 8.5, 16))
    lanes = [1 + k % 4 for k in range(16)]
    segments = made_segments(
        aadt=counted.tolist(), aadt_year=[2020.0] * 16, lanes=[float(n) for n in lanes],
        name=[f"Road {k}" for k in range(16)],
    )  # fmt: skip
    table = chances(segments, section, draws=200).table
    inside, off = 0, []
    for k, row in table.iterrows():
        share = simulated_share(
            rng, counted[k] * float(np.exp(0.17 * rng.standard_normal())), lanes[k],
            zone.width_m[k], zone.speed_m_min[k], zone.angle_deg[k], 0.3, hours, shares, 500,
        )  # fmt: skip
        inside += bool(row["kill_chance_low"] <= share <= row["kill_chance_high"])
        off.append(share - row["kill_chance"])
    assert inside >= 11
    assert abs(np.mean(off)) < 0.12
