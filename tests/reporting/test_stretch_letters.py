"""Letters of stretches; by hand."""

import numpy as np
import pytest

from roadrisk.reporting.stretch_letters import stretch_letter


@pytest.mark.parametrize(
    ("number", "letter"),
    [(1, "A"), (2.0, "B"), (26, "Z"), (27, "AA"), (52, "AZ"), (53, "BA"), (702, "ZZ"),
     (703, "AAA"), (0, ""), (np.nan, "")],
)  # fmt: skip
def test_letters_go_on_after_z(number: float, letter: str) -> None:
    assert stretch_letter(number) == letter
