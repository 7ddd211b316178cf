"""Coarse totals of a public edition leave at least the roadside of a cell to a home.

By analysing a study anew with a tagged animal's home elsewhere; `leak_totals` tries more.
"""

from __future__ import annotations

from roadrisk.reporting.editions.coarse_totals import coarse_totals
from tests.truth.leak_runs import whole_run
from tests.truth.leak_totals import totals_left
from tests.truth.leak_worlds import leak_world


def test_totals_leave_the_roadside_of_a_cell(tmp_path):
    world = leak_world(5)
    whole = whole_run(world, tmp_path)
    assert "Between about" in coarse_totals(*whole)[0]
    assert totals_left(world, whole, (2, 2)).region >= 1.0
