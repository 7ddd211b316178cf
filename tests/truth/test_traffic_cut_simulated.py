"""Deaths left under another traffic against vehicles and animals simulated one by one.

200,000 crossings: month by weight, hour by the species' active hours of that month, minute evenly
in the hour; vehicles come at random times at the hour's rate, and none while the road is closed. An
animal dies if one or more come in its time on the strips. Standard error of a ratio about 0.005.
"""

from __future__ import annotations

import numpy as np
import pytest

from roadrisk.kill_settings import KillSection
from roadrisk.mitigation.traffic_cut import LeftOver, TrafficCut
from roadrisk.mortality.kill_chance import kill_inputs
from roadrisk.mortality.traffic_by_hour import FROM_MEMORY
from tests.mortality.made_crossings import made_segments
from tests.mortality.test_kill_chance import BOX_TURTLE, SURE, TOAD

MONTHS = {4: 2.0, 7: 1.0, 9: 1.5}
MANY = 200_000
AADT = 4000.0


def deaths(profile, cut: TrafficCut, seed: int) -> int:
    rng = np.random.default_rng(seed)
    weights = np.array(list(MONTHS.values()))
    month = rng.choice(list(MONTHS), MANY, p=weights / weights.sum())
    clock = np.empty(MANY)
    for m in MONTHS:
        here = month == m
        share = np.array(profile.active.hour_shares(m))
        hour = rng.choice(24, here.sum(), p=share / share.sum())
        clock[here] = hour + rng.random(here.sum())
    per_min = AADT * cut.times * np.array(FROM_MEMORY)[clock.astype(int)] / sum(FROM_MEMORY) / 60
    begin, end = cut.closed_from_h, cut.closed_to_h
    shut = (
        (clock >= begin) & (clock < end) if begin < end else (clock >= begin) | (clock < end)
    ) & (begin != end)
    per_min[shut | np.isin(month, cut.closed_months)] = 0.0
    return int((rng.poisson(per_min * 0.5 / 3.0) > 0).sum())


@pytest.mark.parametrize("profile", [BOX_TURTLE, TOAD], ids=["day", "night"])
@pytest.mark.parametrize(
    "cut",
    [
        TrafficCut(times=0.5),
        TrafficCut(closed_from_h=18.5, closed_to_h=7.75),
        TrafficCut(closed_months=(4,)),
        TrafficCut(times=2.0, closed_from_h=10.0, closed_to_h=12.0, closed_months=(9,)),
    ],
    ids=["halved", "night", "spring", "all at once"],
)
def test_share_left_is_what_was_simulated(profile, cut: TrafficCut) -> None:
    section = KillSection(**{**SURE, "traffic_by_hour": ()})
    inputs = kill_inputs(
        made_segments(aadt=[AADT]), profile, section, 1, study_year=2024.0, month_weights=MONTHS,
        draws=2,
    )  # fmt: skip
    found = LeftOver(inputs, np.array([0])).under(cut)[0, 0]
    simulated = deaths(profile, cut, 1) / deaths(profile, TrafficCut(), 2)
    assert found == pytest.approx(simulated, abs=0.02)
