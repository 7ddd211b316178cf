"""How long the review's computations take on many reports; others may add a step to `STEPS`.

    python -m tests.benchmarks.review_speed [reports]

50,000 reports unless told, on 2,000 km of invented road, a third of them at 100 dense spots, and
on 600 km, a third at 40. Each step is run once on a few reports to compile it, then timed; the
largest memory of the whole run follows.
"""

from __future__ import annotations

import datetime as dt
import resource
import sys
import time
from collections.abc import Callable
from dataclasses import dataclass

import geopandas as gpd
import numpy as np
import pandas as pd

from roadrisk.base.seeds import generator
from roadrisk.sightings.linking import link_reports
from roadrisk.table_settings import SightingsSection
from tests.sightings.made_reports import reports

GROUNDS = ((2_000_000.0, 100), (600_000.0, 40))  # metres of road, dense spots
DAYS = 1096
FIRST, LAST = dt.date(2021, 1, 1), dt.date(2023, 12, 31)
WORDS = ("crushed", "shell", "muddy", "verge", "bridge", "large", "small", "painted", "culvert")


@dataclass(frozen=True)
class Many:
    """Reports and the nearest place on a road of each."""

    table: gpd.GeoDataFrame
    on_road_xy: np.ndarray
    road_m: float


def many_reports(number: int, road_m: float = GROUNDS[0][0], spots: int = GROUNDS[0][1]) -> Many:
    """Draw reports along parallel roads of 20 km, some repeated within days."""
    rng = generator(1, "benchmarks.review_speed")
    along = rng.uniform(0, road_m, number)
    centres = rng.uniform(0, road_m, spots)
    dense = rng.random(number) < 1 / 3
    along[dense] = rng.choice(centres, dense.sum()) + rng.normal(0, 150, dense.sum())
    season = np.concatenate([np.arange(120, 274) + 365 * y for y in range(3)])
    day = rng.choice(season, number) + rng.uniform(0.25, 0.9, number)
    again = rng.permutation(number)[: number // 4]
    source = rng.integers(number, size=len(again))
    along[again] = along[source] + rng.normal(0, 10, len(again))
    day[again] = np.clip(day[source] + rng.exponential(2, len(again)), 0, DAYS - 1)
    along = np.clip(along, 0, road_m - 1)
    xy = np.column_stack([along % 20_000.0, np.floor(along / 20_000.0) * 3000.0])
    names = np.array(["", *(f"Person {k}" for k in range(400))])
    said = [" ".join(rng.choice(WORDS, 4)) if rng.random() < 0.5 else "" for _ in range(number)]
    table = reports(
        xy,
        time=pd.Timestamp("2021-01-01", tz="UTC") + pd.to_timedelta(day, unit="D"),
        vitality=rng.choice(["dead", "alive", "uncertain"], number, p=[0.75, 0.2, 0.05]),
        recordedBy=names[np.minimum(rng.pareto(0.7, number) * 3, 400).astype(int)],
        coordinateUncertaintyInMeters=rng.choice([5.0, 20.0, 50.0, 100.0], number),
        time_known=rng.random(number) > 0.1,
        sex=rng.choice(["", "", "female", "male"], number),
        occurrenceRemarks=said,
    )
    return Many(table.assign(repeats=1), xy, road_m)


def link(many: Many) -> None:
    """Link reports of one animal, with all other choices."""
    link_reports(
        many.table, many.on_road_xy, settings=SightingsSection(file="reports.csv"), zone="UTC",
        road_m=many.road_m, first_day=FIRST, last_day=LAST, pairs={},
    )  # fmt: skip


STEPS: dict[str, Callable[[Many], None]] = {"linkage": link}


def main(number: int) -> None:
    few = many_reports(300)
    for name, step in STEPS.items():
        step(few)
        for road_m, spots in GROUNDS:
            many = many_reports(number, road_m, spots)
            begin = time.perf_counter()
            step(many)
            seconds = time.perf_counter() - begin
            print(
                f"{name}: {seconds:.1f} s for {number} reports on {road_m / 1000:g} km", flush=True
            )
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024**2
    print(f"largest memory {peak:.2f} GiB")


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 50_000)
