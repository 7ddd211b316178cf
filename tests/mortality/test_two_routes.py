"""Two routes beside each other: by hand."""

from __future__ import annotations

import numpy as np
import pytest

from roadrisk.mortality.two_routes import (
    AGREE,
    MORE_BY_CARCASSES,
    MORE_BY_CROSSINGS,
    NO_CARCASS,
    ONE_ONLY,
    SAYS_LITTLE,
    compare_routes,
)


def drawn(median, spread, rng, draws=4000):
    return median * np.exp(spread * rng.standard_normal(draws))


def test_ratio_by_hand() -> None:
    """Log-normal deaths: the ratio's median is that of medians, its log spread adds in squares."""
    rng = np.random.default_rng(1)
    found = compare_routes(["Osier Lane"], drawn(12, 0.3, rng)[None], drawn(3, 0.4, rng)[None], 1)
    row = found.table.iloc[0]
    assert row["ratio"] == pytest.approx(4.0, rel=0.05)
    half = 1.6449 * 0.5
    assert [row["ratio_low"], row["ratio_high"]] == pytest.approx(
        [4 * np.exp(-half), 4 * np.exp(half)], rel=0.06
    )
    assert row["verdict"] == MORE_BY_CROSSINGS
    assert "avoid the road" in found.notes[-1]


def test_verdicts() -> None:
    rng = np.random.default_rng(2)
    sure = {"same": (5, 0.2), "more": (1, 0.2), "wide": (5, 2.0)}
    carcasses = np.array([drawn(m, s, rng) for m, s in sure.values()])
    found = compare_routes(list(sure), np.array([drawn(0.2, 0.2, rng)] * 3) * [[25], [1], [25]],
                           carcasses, 1)  # fmt: skip
    assert found.table["verdict"].tolist() == [AGREE, MORE_BY_CARCASSES, SAYS_LITTLE]
    assert "nest" in found.notes[-1]
    assert found.table["ratio_below_one"].iloc[1] > 0.95


def test_what_isn_t_identified_is_said() -> None:
    known, unknown = np.full((2, 50), 2.0), np.full((2, 50), np.nan)
    for pair in ((known, unknown), (unknown, known)):
        found = compare_routes(["a", "b"], *pair, 1)
        assert found.table["verdict"].tolist() == [ONE_ONLY] * 2
        assert "not identified" in found.notes[1]
        assert found.table["ratio"].isna().all()


def test_no_deaths_by_carcasses_and_none_by_either() -> None:
    some, none = np.full((1, 50), 2.0), np.zeros((1, 50))
    row = compare_routes(["a"], some, none, 1).table.iloc[0]
    assert np.isinf(row["ratio_low"])
    assert compare_routes(["a"], none, none, 1).table["verdict"].tolist() == [AGREE]


def test_different_numbers_of_draws_and_no_places() -> None:
    found = compare_routes(["a"], np.full((1, 40), 2.0), np.full((1, 300), 1.0), 1)
    assert found.table["ratio"].tolist() == [2.0]
    assert len(compare_routes([], np.zeros((0, 40)), np.zeros((0, 40)), 1).table) == 0


def test_no_carcass_found_leaves_a_bound_and_the_least_ratio() -> None:
    """By hand: of 0 to 10 deaths in even steps the 95 % point is 9.5; 30 over 10 is the least."""
    crossings, carcasses = np.full((2, 1001), 30.0), np.tile(np.linspace(0, 10, 1001), (2, 1))
    found = compare_routes(["a", "b"], crossings, carcasses, 1, none_found=[True, False])
    none, some = found.table.iloc[0], found.table.iloc[1]
    assert none[["deaths_by_carcasses", "ratio", "ratio_high", "ratio_below_one"]].isna().all()
    assert none["deaths_by_carcasses_low"] == 0
    assert none["deaths_by_carcasses_high"] == pytest.approx(9.5)
    assert none["ratio_low"] == pytest.approx(30 / 9.5, rel=0.01)
    assert none["verdict"] == MORE_BY_CROSSINGS
    assert (
        "by carcasses at most 9.5 (none found, one-sided 95 % bound); at least 3.2 times"
        in (found.notes[1])
    )
    assert some["deaths_by_carcasses"] == pytest.approx(5.0)
    few = compare_routes(["a"], crossings[:1] / 10, carcasses[:1], 1, none_found=[True])
    assert few.table["verdict"].tolist() == [NO_CARCASS]
    blind = compare_routes(["a"], crossings[:1], carcasses[:1] * np.nan, 1, none_found=[True])
    assert blind.table["verdict"].tolist() == [ONE_ONLY]
    assert blind.table["deaths_by_carcasses_high"].isna().all()
