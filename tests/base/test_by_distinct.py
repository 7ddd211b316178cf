"""What is made of each distinct value is what is made of every row (by hand)."""

from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from roadrisk.base.by_distinct import by_distinct, listed


@pytest.mark.parametrize("rows", [5, 5000])
@pytest.mark.parametrize("words", [3, 4000])
def test_alike_whether_values_are_looked_at_once_or_row_by_row(rows, words):
    text = pd.Series(
        [f"w{k}" for k in np.random.default_rng(1).integers(0, words, rows)],
        index=np.arange(rows)[::-1], dtype=str,
    )  # fmt: skip
    upper = by_distinct(text, lambda t: t.str.upper())
    pd.testing.assert_series_equal(upper, text.str.upper())
    size = by_distinct(text, lambda t: t.str.len().to_numpy(np.float64))
    assert size.tolist() == [float(len(t)) for t in text]
    assert listed(text) == list(text)


def test_each_value_is_looked_at_once_where_many_share_it():
    seen = []

    def noted(text):
        seen.extend(text)
        return text

    by_distinct(pd.Series(["a", "b"] * 5000, dtype=str), noted)
    assert seen == ["a", "b"]
