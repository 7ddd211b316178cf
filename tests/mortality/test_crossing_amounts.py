"""Crossings of tagged animals at places: by hand."""

from __future__ import annotations

from types import SimpleNamespace

import numpy as np
import pandas as pd
import pytest

from roadrisk.mortality.crossing_amounts import COLUMNS, crossing_amounts
from roadrisk.telemetry.crossing_mass import CrossingMass


def found(rows, ratios=()):
    """Rows of (animal, draw, lixel, days); ratios of (animal, segment, days, crossings)."""
    table = np.array(rows, dtype=float).reshape(-1, 4)
    ints = [table[:, k].astype(np.int32) for k in range(3)]
    days = table[:, 3].astype(np.float32)
    mass = CrossingMass(*ints, days, np.zeros(len(days), np.float32), ("a", "b"), 2)
    by_animal = pd.DataFrame(
        list(ratios), columns=["organismID", "segment", "crossing_days", "total_crossings"]
    )
    animals = pd.DataFrame({"organismID": ["a", "b"]})
    return SimpleNamespace(mass=mass, by_animal=by_animal, animals=animals)


SEGMENT = np.array([0, 0, 1, 1])
PLACE = np.array([0, 0, 0, -1])


def test_lixels_of_a_place_add_up_by_segment_animal_and_draw() -> None:
    rows = crossing_amounts(
        found([(0, 0, 0, 1.0), (0, 0, 1, 0.5), (0, 1, 2, 2.0), (1, 0, 0, 1.0), (1, 1, 3, 9.0)]),
        PLACE, SEGMENT,
    )  # fmt: skip
    assert rows[["place", "segment", "animal", "draw"]].to_numpy().tolist() == [
        [0, 0, 0, 0], [0, 1, 0, 1], [0, 0, 1, 0],
    ]  # fmt: skip
    assert rows["days"].tolist() == pytest.approx([1.5, 2.0, 1.0])


def test_crossings_a_day_are_the_animal_s_own_on_that_segment() -> None:
    """Animal a crosses segment 0 three times a day; b isn't known there and crosses once."""
    rows = crossing_amounts(
        found([(0, 0, 0, 2.0), (1, 0, 0, 2.0)], [("a", 0, 10.0, 30.0), ("b", 1, 1.0, 5.0)]),
        PLACE, SEGMENT,
    )  # fmt: skip
    assert rows["crossings"].tolist() == pytest.approx([6.0, 2.0])


def test_nothing_crosses() -> None:
    rows = crossing_amounts(found([]), PLACE, SEGMENT)
    assert rows.columns.tolist() == COLUMNS
    assert len(rows) == 0
