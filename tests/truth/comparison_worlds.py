"""Worlds in which works did nothing, or halved deaths: what is said of them.

Run as ``python -m tests.truth.comparison_worlds [worlds]``; prints the figures of DEVELOPERS.md.
"""

from __future__ import annotations

import sys
from dataclasses import dataclass

import numpy as np
import pandas as pd

from roadrisk.mitigation.comparison import Rules, compare_sites

SITES, CHOSEN, WORST = 20, 3, 2


@dataclass(frozen=True)
class World:
    """How a world is made.

    Counts are Poisson around site · year (common to all) · own year, gamma factors with the
    coefficients of variation given. The worst sites over the chosen years get works.
    """

    mean: float = 4.0
    site_cv: float = 0.5
    year_cv: float = 0.0
    own_cv: float = 0.0
    effect: float = 1.0
    later: int = 3
    after: int = 3
    controls: int = 6


def made(
    world: World, rng: np.random.Generator, *, tell: bool = True
) -> tuple[pd.DataFrame, pd.DataFrame]:
    """Return sites and bins of one world; without `tell` the choice's years aren't told."""
    years = CHOSEN + world.later + world.after
    site = _gamma(rng, world.site_cv, (SITES, 1)) * world.mean
    year, own = _gamma(rng, world.year_cv, (1, years)), _gamma(rng, world.own_cv, (SITES, years))
    mean = site * year * own
    counts = rng.poisson(mean)
    order = np.argsort(-counts[:, :CHOSEN].sum(axis=1), kind="stable")
    works, controls = order[:WORST], rng.permutation(order[WORST:])[: world.controls]
    built = CHOSEN + world.later
    counts[works, built:] = rng.poisson(mean[works, built:] * world.effect)
    names = [f"s{k}" for k in range(SITES)]
    rows = [*works.tolist(), *controls.tolist()]
    kinds = ["works"] * WORST + ["control"] * len(controls)
    first = 2000
    n = len(rows)
    sites = pd.DataFrame({
        "site": [names[k] for k in rows], "kind": kinds, "of_site": "",
        "begun_day": [365.0 * built] * WORST + [np.nan] * (n - WORST),
        "built_day": [365.0 * built] * WORST + [np.nan] * (n - WORST),
        "chosen_from": [first if tell else np.nan] * WORST + [np.nan] * (n - WORST),
        "chosen_to": [first + CHOSEN - 1 if tell else np.nan] * WORST + [np.nan] * (n - WORST),
    })  # fmt: skip
    at = np.tile(np.arange(years), n)
    bins = pd.DataFrame({
        "site": np.repeat(sites["site"].to_numpy(object), years),
        "kind": np.repeat(np.array(kinds, dtype=object), years), "year": first + at,
        "from_day": 365.0 * at, "to_day": 365.0 * (at + 1), "counted": counts[rows].ravel(),
        "effort": 1.0, "km_searched": 20.0, "visits": 20,
    })  # fmt: skip
    return sites, bins


def _gamma(rng: np.random.Generator, cv: float, shape: tuple[int, int]) -> np.ndarray:
    return rng.gamma(1 / cv**2, cv**2, shape) if cv else np.ones(shape)


def share_of(
    world: World, worlds: int, *, seed: int = 1, tell: bool = True, rules: Rules | None = None
) -> tuple[dict[str, float], float]:
    """Return the shares of verdicts, and of intervals that hold the true ratio."""
    rng = np.random.default_rng(seed)
    verdicts, held = [], []
    for _ in range(worlds):
        sites, bins = made(world, rng, tell=tell)
        row = compare_sites(sites, bins, rules or Rules(), combined_only=True).table.iloc[0]
        verdicts.append(row["verdict"])
        held.append(row["ratio_low"] <= world.effect <= row["ratio_high"])
    said = {str(v): verdicts.count(v) / worlds for v in dict.fromkeys(verdicts)}
    return said, float(np.mean(held))


CASES = {
    "Poisson": World(),
    "few counted": World(mean=1.0),
    "common years differ": World(year_cv=0.4),
    "own years differ": World(own_cv=0.4),
    "own years differ much": World(own_cv=0.8),
    "both differ": World(year_cv=0.4, own_cv=0.4),
    "sites alike, 1 year later": World(site_cv=0.2, later=1),
    "sites alike, all in table": World(site_cv=0.2, later=1, controls=18),
    "no years but the choice's": World(site_cv=0.2, later=0, controls=18),
    "sites alike, own years": World(site_cv=0.2, later=1, own_cv=0.4),
    "no controls, own years": World(own_cv=0.4, controls=0),
    "one control": World(controls=1, own_cv=0.4),
    "2 years each, one control": World(later=2, after=2, own_cv=0.4, controls=1),
}


def main(worlds: int = 1000) -> None:
    """Print shares of verdicts."""
    eb = Rules(by_empirical_bayes=True)
    for name, world in CASES.items():
        for label, tell, rules in (("default", True, None), ("naive", False, None),
                                   ("empirical bayes", True, eb)):  # fmt: skip
            said, held = share_of(world, worlds, tell=tell, rules=rules)
            print(f"{name:28}{label:17}{_shown(said)} held {held:.3f}", flush=True)
        halved, held = share_of(World(**{**world.__dict__, "effect": 0.5}), worlds)
        print(f"{name:28}{'truly halved':17}{_shown(halved)} held {held:.3f}", flush=True)


def _shown(said: dict[str, float]) -> str:
    return ", ".join(f"{k} {100 * v:.1f}" for k, v in sorted(said.items()))


if __name__ == "__main__":
    main(*map(int, sys.argv[1:]))
