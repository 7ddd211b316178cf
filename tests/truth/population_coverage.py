"""How often the population's interval holds the population's mean, on simulated animals.

Run ``python -m tests.truth.population_coverage 1000`` for the table (some minutes).

Animals' rates are gamma distributed about a mean, their crossing-days are Poisson, the time they
are watched differs. Their crossing-days are known either exactly, or half of them: then each
drawn path holds the days seen and a draw of those unseen, as a right movement model would.
"""

from __future__ import annotations

import sys

import numpy as np
import pandas as pd

from roadrisk.base.seeds import generator
from roadrisk.telemetry.population_rate import population_rate

ANIMALS = (2, 4, 6, 10, 20, 40)
SHAPES = (0.4, 1.0, 3.0)
MEANS = (3.0, 15.0)
_PATHS = 100


def coverage(
    animals: int, shape: float, mean: float, known: float, times: int, *, seed: int = 1
) -> dict[str, float]:
    """Return the share of 90 % intervals that hold the mean, and how wide they are.

    Parameters
    ----------
    animals : int
    shape, mean : float
        Of the gamma law of the animals' rates [crossing-days per animal-year].
    known : float
        Share of crossing-days that are sure, above 0 to 1.
    times : int
        Simulated studies.
    seed : int

    Returns
    -------
    dict
        held, too_high (share of intervals that lie above the mean), too_low (below), width
        (median, over the mean), bias (mean estimate over the mean).
    """
    rng = generator(seed, f"tests.population.{animals}.{shape}.{mean}.{known}")
    rows = np.empty((times, 3))
    for row in rows:
        years = rng.uniform(0.5, 1.2, animals)
        count = rng.poisson(rng.gamma(shape, mean / shape, animals) * years)
        found = population_rate(_draws(count, known, rng), years, rng, replicates=1000)
        row[:] = found.mean, found.low, found.high
    low, high = rows[:, 1] > mean, rows[:, 2] < mean
    return {
        "held": float(1 - (low | high).mean()),
        "too_high": float(low.mean()),
        "too_low": float(high.mean()),
        "width": float(np.median(rows[:, 2] - rows[:, 1]) / mean),
        "bias": float(rows[:, 0].mean() / mean),
    }


def _draws(count: np.ndarray, known: float, rng: np.random.Generator) -> np.ndarray:
    if known == 1.0:
        return np.repeat(count[:, None], _PATHS, axis=1).astype(np.float64)
    seen = rng.binomial(count, known)[:, None]
    rate = rng.gamma(seen + 0.1, 1 / known, (len(count), _PATHS))
    return (seen + rng.poisson(rate * (1 - known))).astype(np.float64)


def main(times: int) -> None:
    rows = [
        {"known": known, "animals": animals, "shape": shape, "mean": mean}
        | coverage(animals, shape, mean, known, times)
        for known in (1.0, 0.5)
        for animals in ANIMALS
        for shape in SHAPES
        for mean in MEANS
    ]
    print(pd.DataFrame(rows).round(3).to_string(index=False))


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 1000)
