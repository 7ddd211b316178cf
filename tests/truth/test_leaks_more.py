"""What a thief finds and works out of random studies' public editions: the half that
`test_leaks.py` leaves to another worker.
"""

from __future__ import annotations

import pytest

from tests.truth.leak_studies import assert_kept, public_of


@pytest.mark.parametrize("seed", range(15, 30))
def test_the_thief_learns_nothing(seed, tmp_path):
    assert_kept(public_of(seed, tmp_path))
