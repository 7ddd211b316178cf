"""Do intervals of deaths from carcasses hold the truth: python -m tests.truth.carcass_coverage.

For the figures: --worlds 300 --first 7000 (settings were chosen on worlds below that; three
quarters of an hour on one busy core). Every world is searched on irregular dates from some weeks
after deaths begin, and tried with 15 to 40 carcasses.
"""

from __future__ import annotations

import argparse
import zlib

import geopandas as gpd
import numpy as np
import pandas as pd
from scipy import sparse

from roadrisk.mortality.carcass_deaths import deaths_from
from roadrisk.mortality.carcass_trials import carcass_trials
from roadrisk.mortality.deaths_tables import drawn_deaths, interval
from roadrisk.mortality.survey_carcasses import SurveyCarcasses
from roadrisk.mortality.survey_passes import Looks, Searched
from roadrisk.mortality_settings import MortalitySection
from tests.truth.carcass_worlds import MONTHS, SCENARIOS, SIZES, START, Scenario, World, make_world

SETTINGS = MortalitySection(draws=200)


def as_study(world: World) -> tuple[Searched, SurveyCarcasses]:
    """One kilometre of road, as the readers and the roads hand it on."""
    count = len(world.look_day)
    surveys = gpd.GeoDataFrame(
        {"time": pd.to_datetime(world.look_day, unit="D", utc=True), "eventID": np.arange(count)}
    )
    looks = Looks(world.look_day, ("walk",) * count, np.arange(count))
    covered = sparse.csr_array(np.ones((count, 1), bool))
    metres = sparse.csr_array(np.full((1, 1), 1000.0 * count))
    searched = Searched(surveys, covered, np.zeros(1, np.int64), (looks,), ("2024",), metres, ())
    size = [s for s in SIZES for _ in range(world.found[s])]
    table = pd.DataFrame({"size": size, "survey": 0}, index=range(len(size)))
    rows = np.arange(len(size))
    where = np.zeros(len(size), np.int64)
    return searched, SurveyCarcasses(table, rows, where, np.ones(len(size)), pd.DataFrame())


def one_world(scenario: Scenario, number: int) -> dict[str, float]:
    rng = np.random.default_rng([zlib.crc32(scenario.name.encode()), number])
    world = make_world(scenario, rng)
    searched, found = as_study(world)
    sizes = (*SIZES, "")
    kinds = [("walk", s) for s in sizes]
    trials = carcass_trials(world.trials, kinds, SETTINGS, seed=number)
    deaths = deaths_from(searched, found, trials, np.ones(1), sizes, MONTHS, SETTINGS)
    drawn = drawn_deaths(deaths, np.zeros(1, np.int64), seed=number, name="road")
    first = max(float(world.look_day[0]) - SETTINGS.before_first_days, START)
    last = float(world.look_day[-1])
    died = int(((world.died_at >= first) & (world.died_at <= last)).sum())
    per_year = world.rate_a_day * 214.0
    low, high = interval(drawn.per_year, drawn.found)
    low_n, high_n = interval(drawn.watched, drawn.found)
    none = drawn.found == 0
    return {
        "holds": float((none or low <= per_year) and per_year <= high),
        "below": float(per_year > high),
        "above": float(not none and per_year < low),
        "holds_died": float((none or low_n <= died) and died <= high_n),
        "estimate": 0.0 if none else float(drawn.best[0]),
        "shoenfeld": 0.0 if none else float(drawn.best[1]),
        "huso": 0.0 if none else float(drawn.best[2]),
        "truth": per_year,
        "found": drawn.found,
        "died": float(died),
        "none": float(none),
        "ratio": high / low if not none else np.nan,
    }


def summary(scenario: Scenario, worlds: int, first: int = 0) -> pd.Series:
    table = pd.DataFrame([one_world(scenario, n) for n in range(first, first + worlds)])
    mean = table.mean()
    truth = mean["truth"]
    return pd.Series(
        {
            "scenario": scenario.name,
            "found": mean["found"],
            "died": mean["died"],
            "none": mean["none"],
            "coverage": mean["holds"],
            "coverage_died": mean["holds_died"],
            "above": mean["above"],
            "below": mean["below"],
            "bias": mean["estimate"] / truth - 1,
            "bias_se": table["estimate"].std() / truth / np.sqrt(worlds),
            "shoenfeld": mean["shoenfeld"] / truth - 1,
            "huso": mean["huso"] / truth - 1,
            "high_over_low": table["ratio"].median(),
        }
    )


def main() -> None:
    parser = argparse.ArgumentParser()
    parser.add_argument("--worlds", type=int, default=300)
    parser.add_argument("--first", type=int, default=0, help="number of the first world")
    parser.add_argument("--only", default="")
    asked = parser.parse_args()
    chosen = [s for s in SCENARIOS if asked.only in s.name]
    for n, scenario in enumerate(chosen):
        row = pd.DataFrame([summary(scenario, asked.worlds, asked.first).to_dict()])
        print(row.to_csv(float_format="%.3f", header=n == 0, index=False), end="", flush=True)


if __name__ == "__main__":
    main()
