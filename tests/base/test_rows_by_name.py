"""Rows of each name: those that a look at every name finds, in the same order."""

from __future__ import annotations

import numpy as np

from roadrisk.base.memory import give_back
from roadrisk.base.rows_by_name import rows_by_name


def test_rows_are_those_of_a_look_at_each_name() -> None:
    rng = np.random.default_rng(1)
    names = np.array(["", "b", "a", "Ä", "a b"], dtype=object)[rng.integers(0, 5, 200)]
    wanted = {name: np.flatnonzero(names == name).tolist() for name in sorted(set(names)) if name}
    found = rows_by_name(names)
    assert [name for name, _ in found] == list(wanted)
    assert {name: rows.tolist() for name, rows in found} == wanted
    assert rows_by_name(np.array([], dtype=object)) == []
    assert rows_by_name(np.array(["", ""], dtype=object)) == []


def test_memory_is_given_back_and_nothing_else_changes() -> None:
    kept = np.arange(10)
    give_back()
    assert kept.tolist() == list(range(10))
