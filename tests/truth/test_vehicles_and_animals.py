"""Chance that a crossing kills, asked back of roads with wheels, bodies, stops and bunches.

Nothing of the formula is in the simulation: vehicles have two tyres each, drive a little off
their lane's middle, and come at random times or in bunches; animals have a length, walk across
all lanes, and may stop when a vehicle passes. Whoever lies under a tyre as it passes is dead.
"""

from __future__ import annotations

import numpy as np
import pytest

from roadrisk.kill_settings import KillSection
from roadrisk.mortality.kill_chance import kill_chances
from roadrisk.species import built_in_profile
from tests.mortality.made_crossings import made_segments

BOX_TURTLE = built_in_profile("terrapene_carolina")
LANE_M, APART_M, TYRE_M, BODY_M = 3.25, 1.5, 0.22, 0.14
STRIP_M = 2 * (TYRE_M + BODY_M)
LANES = 2


def section(speed, stay):
    """Speed, strip and stay known; hours alike; what stays open is where wheels run."""
    return KillSection(
        killing_width_m_low=STRIP_M, killing_width_m_high=STRIP_M,
        walking_speed_m_min_low=speed, walking_speed_m_min_high=speed,
        crossing_angle_deg_low=0, crossing_angle_deg_high=0, speed_varies=0.0,
        stop_minutes_low=stay, stop_minutes_high=stay, traffic_varies=0.0,
        traffic_change_a_year=0.0, traffic_by_hour=(1.0,) * 24, vehicles_in_a_bunch=5.0,
        bunch_gap_s=2.0,
    )  # fmt: skip


def hit(body, vehicle):
    """Whether a body's middle lies under either tyre, tyre and body having their widths."""
    half = (TYRE_M + BODY_M) / 2
    return abs(body - vehicle - APART_M / 2) < half or abs(body - vehicle + APART_M / 2) < half


def killed(rng, times, speed, stop, stay, off_m):
    """Let one animal cross; `times` are those of vehicles from its first step on [min]."""
    at, clock, held = 0.0, 0.0, 0.0
    for t in times:
        rest = min(held, t - clock)
        at += speed * (t - clock - rest)
        held -= rest
        clock = t
        if at > LANES * LANE_M:
            return False
        vehicle = (rng.integers(LANES) + 0.5) * LANE_M + off_m * rng.standard_normal()
        if hit(at, vehicle):
            return True
        if rng.random() < stop:
            held = stay
    raise AssertionError("the vehicles ran out before the animal was over")


def at_random(rng, per_min):
    return np.cumsum(rng.exponential(1 / per_min, 4000))


def in_bunches(rng, per_min, mean=5.0, gap=2 / 60):
    """Bunches of a geometric number on each lane alone would need more; here on one road."""
    leaders = np.cumsum(rng.exponential(mean / per_min, 400))
    size = rng.geometric(1 / mean, len(leaders))
    return np.sort(np.repeat(leaders, size) + gap * np.concatenate([np.arange(s) for s in size]))


@pytest.mark.parametrize(
    ("aadt", "speed", "stay", "off_m"),
    [(800, 3.0, 0.5, 0.05), (800, 1.5, 1.0, 0.25), (2500, 3.0, 0.3, 0.25), (300, 1.2, 3.0, 0.5)],
)
def test_animals_that_stop(aadt, speed, stay, off_m) -> None:
    """Share killed of 2,500 lies in the 90 % range, give or take what chance does."""
    rng = np.random.default_rng(aadt)
    many = 2500
    dead = sum(
        killed(rng, at_random(rng, aadt / 1440)[:400], speed, rng.triangular(0.7, 0.875, 0.95),
               stay, off_m)
        for _ in range(many)
    ) / many  # fmt: skip
    row = kill_chances(
        made_segments(aadt=[float(aadt)]), BOX_TURTLE, section(speed, stay), 1, study_year=2024.0
    ).table.iloc[0]
    error = 2 * np.sqrt(dead * (1 - dead) / many)
    assert row["kill_chance_low"] - error <= dead <= row["kill_chance_high"] + error
    plain = -np.expm1(-aadt / 1440 * STRIP_M / speed)
    assert dead > plain  # stops do harm


def test_animals_that_never_stop() -> None:
    rng = np.random.default_rng(1)
    many, aadt, speed = 6000, 3000, 2.5
    dead = sum(
        killed(rng, at_random(rng, aadt / 1440)[:60], speed, 0.0, 1.0, 0.25) for _ in range(many)
    ) / many  # fmt: skip
    found = kill_chances(
        made_segments(aadt=[float(aadt)]), BOX_TURTLE, section(speed, 1e-9), 1, study_year=2024.0
    ).table.iloc[0]
    assert dead == pytest.approx(found["kill_chance"], abs=3 * np.sqrt(0.25 / many))


def test_bunched_vehicles() -> None:
    """One lane, bunches of five 2 s apart; the animal steps out at any time."""
    rng = np.random.default_rng(2)
    many, aadt, speed = 4000, 6000, 4.0
    tau, dead = STRIP_M / speed, 0
    for _ in range(many):
        times = in_bunches(rng, aadt / 1440)
        start = rng.uniform(20.0, 60.0)
        dead += bool(((times > start) & (times < start + tau)).any())
    compared = kill_chances(
        made_segments(aadt=[float(aadt)], lanes=[1.0]), BOX_TURTLE, section(speed, 1e-9), 1,
        study_year=2024.0,
    ).compared.set_index("assumption")["kill_chance"]  # fmt: skip
    error = 3 * np.sqrt(0.25 / many)
    assert dead / many == pytest.approx(compared["vehicles in bunches of 5"], abs=error)
    assert dead / many < compared["as used"] - error
