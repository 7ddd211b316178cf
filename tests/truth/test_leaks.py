"""What a thief finds and works out of random studies' public editions: half of 30 studies.

By recovery of what must not be there, with all public files of all editions, the roads and the
species' profile in hand. Each study grows and loses records between three editions. The other
half is in `test_leaks_more.py`, so that two workers share them; planted truths that the same
search must find are in `test_leaks_planted.py` and `test_leaks_worked_out.py`.
"""

from __future__ import annotations

import pytest

from tests.truth.leak_studies import assert_kept, public_of


@pytest.mark.parametrize("seed", range(15))
def test_the_thief_learns_nothing(seed, tmp_path):
    assert_kept(public_of(seed, tmp_path))
