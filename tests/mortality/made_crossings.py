"""Made-up crossings and roads for tests of the room."""

from __future__ import annotations

import numpy as np
import pandas as pd


def made_segments(**columns: object) -> pd.DataFrame:
    """Segments of invented roads; scalars hold for all."""
    base = {
        "name": "", "ref": "", "road_class": "tertiary", "lanes": np.nan, "oneway": 0,
        "band_of": "", "aadt": np.nan, "aadt_year": np.nan, "length_m": 1000.0,
    }  # fmt: skip
    many = max((len(v) for v in columns.values() if isinstance(v, list)), default=1)
    table = pd.DataFrame({**base, **columns}, index=range(many))
    if "segment_id" not in columns:
        table["segment_id"] = [f"s{k}" for k in range(many)]
    return table


def made_amounts(
    crossings: np.ndarray, paths: int, *, a_day: float = 2.0, seed: int | None = None
) -> pd.DataFrame:
    """Crossings at places (= segments) of animals, shape (animals, places), alike in all paths.

    With a seed, each path has Poisson numbers around them.
    """
    animals, places = crossings.shape
    full = np.repeat(crossings[:, :, None], paths, axis=2).astype(float)
    if seed is not None:
        full = np.random.default_rng(seed).poisson(full).astype(float)
    animal, place, draw = (k.ravel() for k in np.indices((animals, places, paths)))
    table = pd.DataFrame({
        "place": place, "segment": place, "animal": animal, "draw": draw,
        "days": full.ravel() / a_day, "crossings": full.ravel(),
    })  # fmt: skip
    return table[table["crossings"] > 0].reset_index(drop=True)
