"""False alarms where one carcass is reported by several people.

    python -m tests.truth.shared_animals [--worlds 400] [--first 0]

Worlds without any hot stretch on a line of 30 km: carcasses at random places and times, each
reported by one person and, while it lies there, by Poisson many others. Prints the share of worlds
in which a stretch is shown at the 5 % level where every report counts as one, and where reports
count by the chances that they are of animals reported before, as in a run.
"""

from __future__ import annotations

import argparse
import datetime as dt

import numpy as np
import pandas as pd

from roadrisk.base.seeds import generator
from roadrisk.hotspots.events import DEAD, Events, gather
from roadrisk.roads.along import places_xy
from roadrisk.sightings.linking import link_reports
from roadrisk.table_settings import SightingsSection
from tests.sightings.made_reports import reports
from tests.truth.worlds import Ground, compared, ground, line_30_km

CARCASSES, OTHERS, DAYS_THERE, SEASON_DAYS = 70, 1.5, 4.0, 190
FIRST_DAY, LAST_DAY = dt.date(2023, 1, 1), dt.date(2025, 12, 31)


def shared_world(on: Ground, rng: np.random.Generator, *, linked: bool) -> Events:
    """Return the events of one world, each report of weight 1 or by what it counts as."""
    found = 1 + rng.poisson(OTHERS, CARCASSES)
    carcass = np.repeat(np.arange(CARCASSES), found)
    start = rng.integers(0, 3, CARCASSES) * 365 + 90 + rng.uniform(0, SEASON_DAYS, CARCASSES)
    lag = rng.gamma(2.0, DAYS_THERE / 2.0, len(carcass)) * rng.random(len(carcass))
    first = np.r_[True, carcass[1:] != carcass[:-1]]
    day = start[carcass] + np.where(first, 0.0, lag)
    true = rng.uniform(0, on.network.length_m, CARCASSES)[carcass]
    written = np.clip(true + rng.normal(0, 8, len(true)), 0, on.network.length_m - 0.01)
    lixel = on.lixels.at(np.zeros(len(true), np.int64), written)
    who = [f"o{n}" for n in rng.integers(0, 2000, len(true))]
    weight = np.ones(len(true))
    xy = places_xy(on.network, np.zeros(len(true), np.int64), written)
    if linked:
        time = pd.Timestamp("2023-01-01", tz="UTC") + pd.to_timedelta(day, unit="D").round("s")
        table = reports(xy, on.network.crs, time=time, vitality="dead", recordedBy=who)
        weight = link_reports(
            table, xy, settings=SightingsSection(file=("r.csv",)), zone="UTC",
            road_m=on.network.length_m, first_day=FIRST_DAY, last_day=LAST_DAY, pairs={},
        ).first  # fmt: skip
    events = np.arange(len(true))
    return gather(
        on.strands, lixel=lixel, along_m=on.lixels.length_m[lixel] / 2, weight=weight,
        event=events, event_unit=[(True, name) for name in who],
        event_kind=np.full(len(true), DEAD), event_xy=xy, link_m=200.0, window_m=2000.0,
        nameless_join=True,
    )  # fmt: skip


def share_shown(worlds: int, *, linked: bool, first: int = 0) -> float:
    """Share of worlds in which a stretch is shown at the 5 % level."""
    on = ground(line_30_km())
    shown = 0
    for number in range(first, first + worlds):
        rng = generator(number, "shared animals")
        events = shared_world(on, rng, linked=linked)
        shown += compared(on, events, rng).p_value.min() <= 0.05
    return shown / worlds


def main() -> None:
    ask = argparse.ArgumentParser()
    ask.add_argument("--worlds", type=int, default=400)
    ask.add_argument("--first", type=int, default=0)
    asked = ask.parse_args()
    for words, linked in (("every report counts", False), ("as in a run", True)):
        share = share_shown(asked.worlds, linked=linked, first=asked.first)
        error = np.sqrt(share * (1 - share) / asked.worlds)
        print(
            f"{words}: {asked.worlds} worlds, shown in {100 * share:.1f} % "
            f"(standard error {100 * error:.1f})", flush=True,
        )  # fmt: skip


if __name__ == "__main__":
    main()
