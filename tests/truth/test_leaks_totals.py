"""Coarse totals of a public edition tell nothing of a home.

By analysing a study anew with a tagged animal's home elsewhere; `leak_totals` tries more.
"""

from __future__ import annotations

from roadrisk.reporting.editions.coarse_totals import coarse_totals
from tests.truth.leak_runs import whole_run
from tests.truth.leak_totals import totals_left
from tests.truth.leak_worlds import leak_world


def test_totals_do_not_change_with_a_home(tmp_path):
    world = leak_world(23)
    whole = whole_run(world, tmp_path)
    assert "Between about" in coarse_totals(*whole)[0]
    left = totals_left(world, whole, (2, 2))
    assert (left.inside, left.elsewhere) == (1.0, 1.0)
