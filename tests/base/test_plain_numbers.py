"""Numbers as people write them: by hand."""

from __future__ import annotations

import numpy as np
import pytest

from roadrisk.base.plain_numbers import number, span


@pytest.mark.parametrize(
    ("value", "digits", "written"),
    [
        (123.4, 2, "120"), (1512.0, 2, "1,500"), (0.000089, 2, "0.000089"), (0.375, 2, "0.38"),
        (9.96, 2, "10"), (2.0, 3, "2"), (0.0, 3, "0"), (-12.34, 3, "-12.3"), (np.nan, 3, ""),
        (np.inf, 3, ""), (1e7, 2, "10,000,000"),
    ],
)  # fmt: skip
def test_numbers(value, digits, written) -> None:
    assert number(value, digits) == written


def test_spans() -> None:
    assert span(14.21, 8.1, 1234.0) == "14.2 (8.1 to 1,230)"
