"""The number of deaths in one sentence: by hand."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from roadrisk.mortality.crossing_source import NAME as CROSSINGS
from roadrisk.mortality.deaths_words import source_table, total_words
from roadrisk.mortality.report_sources import ALIVE, DEAD
from roadrisk.mortality.sources import Source
from tests.mortality.test_death_field import PIECES, field

SURVEYS = Source("carcass surveys", np.array([3.0, 1.0]), np.array([0.1, 0.0]), np.zeros(4))


def source(name: str, counted: float = 2.0, *, known: bool = False) -> Source:
    return Source(
        name, np.array([counted, 0.0]), np.array([0.1, 0.1]), np.zeros(4) if known else None
    )


def with_result(made, **changes):
    return replace(made, result=replace(made.result, **changes))


def test_a_number_with_its_interval() -> None:
    """Totals 0.26, 0.32, 0.98: their harmonic mean 0.375 is the single number."""
    said = total_words(field(), [SURVEYS])
    harmonic = 3 / (1 / 0.26 + 1 / 0.32 + 1 / 0.98)
    assert harmonic == pytest.approx(0.375, abs=0.001)
    assert said == (
        "About 0.38 animals die a year on these 0.05 km of road (90 % interval 0.27 to 0.91), as "
        "carcass surveys say."
    )


def test_large_numbers_are_written_out() -> None:
    made = field()
    said = total_words(with_result(made, rate=1e4 * made.result.rate), [SURVEYS])
    assert "About 3,800 animals" in said
    assert "(90 % interval 2,700 to 9,100)" in said


def test_miles() -> None:
    assert "on these 0.0311 mi of road" in total_words(field(), [SURVEYS], units="us")


def test_unwatched_roads_are_judged_from_others() -> None:
    """The first piece alone was watched: 0.03 km with 2, 4 and 6 deaths a km."""
    watched = np.array([True, False])
    said = total_words(with_result(field(), watched=watched), [SURVEYS])
    assert "On the 0.03 km that these watched it is 0.11 (0.066 to 0.17)" in said
    assert "the rest is judged from roads like them" in said
    assert "the rest" not in total_words(field(), [SURVEYS])


def test_nothing_found_is_a_bound() -> None:
    said = total_words(field(bound_only=True), [SURVEYS])
    assert said.startswith("No death was counted by carcass surveys: on these 0.05 km of road at")
    assert "at most 0.91 animals die a year (one-sided 95 % bound), which is not zero." in said


def test_sources_that_contradict_each_other_are_said_to() -> None:
    both = [SURVEYS, source(CROSSINGS, known=True)]
    for factor, warned in ((1.0, False), (2.0, False), (5.0, True), (0.2, True)):
        made = with_result(field(), chance_moved={CROSSINGS: factor})
        assert ("contradict each other" in total_words(made, both)) is warned


def test_days_with_crossings_are_the_least() -> None:
    crossings = source(CROSSINGS, known=True)
    assert "deaths may be more" in total_words(field(), [crossings], days_only=True)
    assert "deaths may be more" not in total_words(field(), [crossings])
    assert "deaths may be more" not in total_words(field(), [SURVEYS], days_only=True)


def test_without_a_known_chance_the_sentence_says_why_and_what_ranks() -> None:
    free = field(known=False)
    said = total_words(free, [source(DEAD), source(ALIVE)])
    assert "isn't known" in said
    assert f"where more die than elsewhere, as {DEAD} and {ALIVE} say." in said
    live = total_words(free, [source(DEAD, 0.0), source(ALIVE)])
    assert f"No dead animal was counted either: places are ranked by {ALIVE}" in live
    assert "where more die" not in live
    assert not any(digit in said + live for digit in "0123456789")


def test_nothing_at_all() -> None:
    said = total_words(field(known=False, ordered=False), [])
    assert said.startswith("How many animals die on these roads, and where, isn't known")
    assert "ranked" not in said


def test_table_of_sources() -> None:
    table = source_table([SURVEYS, source(DEAD)], PIECES)
    assert table.to_numpy(object).tolist() == [
        ["carcass surveys", 4.0, pytest.approx(0.03), True], [DEAD, 2.0, pytest.approx(0.05), False]
    ]  # fmt: skip
    assert source_table([], PIECES).columns.tolist() == table.columns.tolist()
