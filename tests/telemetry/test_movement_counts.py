"""Counts in one pass against the same counts by pandas and by numpy's sorting."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np
import pandas as pd
import pytest

from roadrisk.telemetry.movement_counts import (
    by_day,
    day_begins,
    place_days,
    ranked,
    shared_days,
)
from roadrisk.telemetry.movement_draws import Drawn

if TYPE_CHECKING:
    from roadrisk.roads.network import Floats

SIZES = [0, 1, 2, 30, 4000]


def _drawn(rng: np.random.Generator, n: int) -> Drawn:
    """Crossings by draw, days out of order within it."""
    draw = np.sort(rng.integers(0, 9, n))
    day, edge = rng.integers(19_000, 19_007, n), rng.integers(0, 5, n)
    return Drawn(draw, day, edge, edge // 2, rng.uniform(0, 9, n), rng.uniform(0, 99, n))


@pytest.mark.parametrize("n", SIZES)
def test_crossings_by_day_keep_their_order_within_one(n: int) -> None:
    drawn = _drawn(np.random.default_rng(n), n)
    table = pd.DataFrame(drawn._asdict())
    wanted = table.sort_values(["draw", "day"], kind="stable")
    found = by_day(drawn)
    for name in table:
        assert np.array_equal(getattr(found, str(name)), wanted[name])
    assert by_day(found) is found
    days = int(day_begins(found.draw, found.day).sum())
    assert days == len(table[["draw", "day"]].drop_duplicates())


@pytest.mark.parametrize("n", SIZES)
def test_ranks_are_those_of_sorting(n: int) -> None:
    value = np.random.default_rng(n).integers(0, 50, n)
    distinct, row = ranked(value, 50)
    wanted, wanted_row = np.unique(value, return_inverse=True)
    assert np.array_equal(distinct, wanted)
    assert np.array_equal(row, wanted_row)


@pytest.mark.parametrize("n", SIZES)
def test_days_and_crossings_of_places_are_those_of_groups(n: int) -> None:
    drawn = by_day(_drawn(np.random.default_rng(n), n))
    found = place_days(drawn, drawn.segment, 7)
    rows = pd.DataFrame(drawn._asdict()).groupby(["segment", "draw"])["day"]
    wanted = rows.agg(["nunique", "size"]).reset_index()
    for column, name in zip(found, ("segment", "draw", "nunique", "size"), strict=True):
        assert np.array_equal(column, wanted[name])


def _by_sorting(drawn: Drawn, lixel: np.ndarray, along: Floats) -> pd.DataFrame:
    table = pd.DataFrame(drawn._asdict()).assign(lixel=lixel, along=along)
    share = 1.0 / table.groupby(["draw", "day", "edge"])["day"].transform("size")
    table = table.assign(days=share, mean=share * table["along"])
    out = table.groupby(["draw", "lixel"])[["days", "mean"]].sum().reset_index()
    return out.assign(mean=out["mean"] / out["days"])


@pytest.mark.parametrize("n", SIZES)
def test_shares_of_days_are_those_of_groups(n: int) -> None:
    rng = np.random.default_rng(n)
    drawn = by_day(_drawn(rng, n))
    lixel = drawn.edge * 10 + rng.integers(0, 10, n)
    along = rng.uniform(0, 20, n)
    draw, place, days, mean = shared_days(drawn, lixel, 50, drawn.edge, 5, along)
    wanted = _by_sorting(drawn, lixel, along)
    assert np.array_equal(draw, wanted["draw"])
    assert np.array_equal(place, wanted["lixel"])
    np.testing.assert_allclose(days, wanted["days"], rtol=1e-13)
    np.testing.assert_allclose(mean, wanted["mean"], rtol=1e-13)
    # Each day of an edge is shared out whole.
    whole = len(pd.DataFrame(drawn._asdict())[["draw", "day", "edge"]].drop_duplicates())
    assert days.sum() == pytest.approx(whole)
