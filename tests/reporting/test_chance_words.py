"""Chances in words; all by hand."""

from dataclasses import replace

import numpy as np
import pytest

from roadrisk.reporting.chance_words import (
    p_note,
    p_short,
    place_chance,
    q_words,
    stretch_chance,
    window_chance,
    window_p_source,
    within_stretch,
)
from roadrisk.reporting.other_tables import stretches_table
from roadrisk.reporting.ranked_list import ranked_table
from roadrisk.reporting.stretch_page import stretches_html
from tests.reporting import made_up


@pytest.mark.parametrize(
    ("p", "draws", "words"),
    [(0.001, 999, "0.001 or less"), (0.002, 999, "0.002"), (0.005, 199, "0.005 or less"),
     (0.7, 999, "0.7"), (np.nan, 0, "not tested")],
)  # fmt: skip
def test_the_smallest_that_draws_can_show_is_marked(p: float, draws: int, words: str) -> None:
    """p = (r + 1)/(n + 1), so no draw reached as far where p = 1/(n + 1)."""
    assert p_short(p, draws) == words


def test_a_stretch_by_chance() -> None:
    """r of n tries in words, with the corrected p-value and the method's name beside them."""
    assert stretch_chance({"p_value": 0.001}, 999) == (
        "in none of 999 tries did chance gather as much anywhere on these roads "
        "(p = 0.001 or less, for all roads at once; permutation test, maximum over the network)"
    )
    assert stretch_chance({"p_value": 0.004}, 999).startswith("in 3 of 999 tries did chance")
    assert stretch_chance({"p_value": np.nan}, 0) == "not tested"


def window(stretch: int, inside: float, p: float = 0.001) -> dict[str, object]:
    return {"p_value": p, "stretch": stretch, "metres_in_stretch": inside, "length_m": 99.6}


def test_a_window_is_not_said_to_have_the_networks_p() -> None:
    """Eight windows of one stretch are one finding, also where only smoothing reaches them."""
    assert within_stretch(window(3, 40.2), "metric") == "40 of its 100 m lie in stretch C"
    assert within_stretch(window(3, 99.6), "metric") == "all of it lies in stretch C"
    assert within_stretch(window(3, 0.0), "metric") == "beside stretch C, none of it inside"
    assert within_stretch(window(3, 40.2), "us") == "132 of its 327 ft lie in stretch C"
    assert within_stretch(window(0, 0.0), "metric") == ""
    assert window_chance(window(3, 40.2), 999, "metric") == (
        "40 of its 100 m lie in stretch C; that stretch stands out as a whole (p = 0.001 or less "
        "for all roads at once), this piece was not tested by itself"
    )
    assert window_chance(window(0, 0.0, 0.7), 999, "metric") == place_chance(0.7, 0, 999)
    note = p_note(window(1, 40.2), 999, "metric")
    assert note.startswith("no test of this row by itself")
    assert "all rows of stretch A stand for one finding" in note
    assert "(40 of its 100 m lie in stretch A)" in note
    assert note.endswith("0.001 or less: no draw of 999 reached as far")
    assert "one finding" not in p_note(window(0, 0.0, 0.7), 999, "metric")
    assert p_note(window(0, 0.0, np.nan), 0, "metric") == "not tested"


def test_a_place_on_the_map_by_chance() -> None:
    assert place_chance(0.001, 2, 999).startswith(
        "belongs to the smoothed evidence of stretch B, which stands out (p = 0.001 or less"
    )
    assert place_chance(0.7, 0, 999).startswith("does not stand out (p = 0.7 for its strongest")
    assert place_chance(np.nan, 0, 0) == "not tested; that is no proof of safety"
    assert place_chance(0.7, 0, 999).endswith("no proof of safety")


@pytest.mark.parametrize("source", ["draws", "tail fit"])
def test_a_windows_own_chance_stands_in_the_tables_alone(source: str) -> None:
    """A tail fit is marked as such; the q-value says what it is and when; no sheet has either."""
    study, findings = made_up.study(), made_up.findings()
    stretches = findings.stretches.assign(
        window_p_value=0.00002, window_p_from=source, q_value=0.00933
    )
    findings = replace(findings, stretches=stretches)
    listed, tabled = ranked_table(study, findings), stretches_table(study, findings)
    for words in (tabled["window_p_from"][0], listed["stretch_window_p_from"][0]):
        assert ("extrapolated by a tail fit" in words) is (source == "tail fit")
    for words in (tabled["q_value_words"][0], listed["stretch_q_value_words"][0]):
        assert words.startswith("at most 0.0093, where reports fall evenly within the window")
    assert listed["stretch_q_value"].notna().sum() == 3
    assert listed["stretch_q_value_words"][3] == ""
    page = stretches_html(study, findings).decode()
    assert "tail fit" not in page
    assert "0.0093" not in page
    assert "ends_p_value" not in tabled


def test_where_a_windows_chance_comes_from_is_a_sentence() -> None:
    assert window_p_source(0.001, "draws", 999) == (
        "counted in 999 draws; none of them reached as far, so it is 0.001 or less"
    )
    assert window_p_source(0.004, "draws", 999) == "counted in 999 draws"
    assert (window_p_source(np.nan, "", 999), q_words(np.nan)) == ("", "")
