"""How often intervals of deaths from crossings hold the truth: a table, by hand to be run.

    python -m tests.truth.crossing_deaths_coverage 300

Animals cross three roads at gamma distributed rates, a few of them are tagged for a year, and
their crossings are known; the chance that a crossing kills is known up to a factor that is
log-normal with deviation 0.3, in the truth as in the draws.
"""

from __future__ import annotations

import sys

import numpy as np

from roadrisk.mortality.crossing_deaths import deaths_from_crossings
from tests.mortality.made_crossings import made_amounts

DRAWS = 400
RATES = np.array([6.0, 2.0, 0.5])
CHANCES = np.array([0.02, 0.05, 0.1])
SCENARIOS = {
    "6 animals, alike": (6, 2.0, 1.0), "15 animals, alike": (15, 2.0, 1.0),
    "30 animals, alike": (30, 2.0, 1.0), "15 animals, few make most crossings": (15, 0.4, 1.0),
    "15 animals, roads that kill five times as many": (15, 1.2, 5.0),
}  # fmt: skip


def world(
    rng: np.random.Generator, animals: int, shape: float, times: float
) -> tuple[list[bool], list[float], list[float]]:
    """Whether intervals hold the truth, estimate and truth: all roads, then each of three."""
    rates = rng.gamma(shape, 1 / shape, (100_000, 1)) * RATES
    p = np.minimum(CHANCES * times * np.exp(0.3 * rng.standard_normal()), 1.0)
    hazard = rates @ p
    part = -np.expm1(-hazard) / np.maximum(hazard, 1e-300)
    truth = (rates * p * part[:, None]).mean(axis=0)
    factor = np.exp(0.3 * rng.standard_normal(DRAWS))
    kill = np.minimum(CHANCES[:, None] * times * factor, 1.0)
    found = deaths_from_crossings(
        made_amounts(rng.poisson(rates[:animals]), DRAWS), np.ones(animals), np.ones(animals),
        kill, int(rng.integers(1 << 30)), places=3, paths=DRAWS, totals_identified=True,
    )  # fmt: skip
    held, guess, true = [], [], []
    for draws, plain, value in zip(
        [found.total_per_animal, *found.per_animal], [found.plain.sum(), *found.plain],
        [truth.sum(), *truth], strict=True,
    ):  # fmt: skip
        if np.isfinite(draws).all():
            low, high = np.quantile(draws, [0.05, 0.95])
            held.append(bool(low <= value <= high))
            guess.append(float(plain))
            true.append(float(value))
        else:
            held.append(False)
            guess.append(np.nan)
            true.append(np.nan)
    return held, guess, true


def main() -> None:
    worlds = int(sys.argv[1]) if len(sys.argv) > 1 else 100
    print(
        "scenario | coverage: all, road 1, 2, 3 | bias: all, road 1, 2, 3 | not identified, road 3"
    )
    for name, (animals, shape, times) in SCENARIOS.items():
        rng = np.random.default_rng(5)
        rows = [world(rng, animals, shape, times) for _ in range(worlds)]
        held, guess, true = (np.array([r[k] for r in rows], dtype=float) for k in range(3))
        known = np.isfinite(guess)
        cover = (held * known).sum(axis=0) / known.sum(axis=0)
        bias = np.nansum(guess, axis=0) / np.nansum(true, axis=0)
        print(
            f"{name} | {' '.join(f'{c:.2f}' for c in cover)} | "
            f"{' '.join(f'{b:.2f}' for b in bias)} | {(~known[:, 3]).mean():.2f}",
            flush=True,
        )


if __name__ == "__main__":
    main()
