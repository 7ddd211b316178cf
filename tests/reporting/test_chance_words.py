"""Chances in words; all by hand."""

from dataclasses import replace

import numpy as np
import pandas as pd
import pytest

from roadrisk.reporting.chance_words import (
    p_note,
    p_short,
    place_chance,
    stretch_chance,
    window_words,
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
    assert stretch_chance({"p_value": 0.001}, 999, "2 km") == (
        "in none of 999 tries did chance gather as much anywhere on these roads "
        "(p = 0.001 or less, for all roads at once; permutation test, maximum over the network)"
    )
    assert stretch_chance({"p_value": 0.004}, 999, "2 km").startswith(
        "in 3 of 999 tries did chance"
    )
    assert stretch_chance({"p_value": np.nan}, 0, "2 km") == "not tested"


def test_a_window_is_not_said_to_have_the_networks_p() -> None:
    assert place_chance(0.001, 2, 999) == (
        "part of stretch 2, which stands out (p = 0.001 or less for its strongest point, for all "
        "roads at once)"
    )
    assert place_chance(0.7, 0, 999).startswith("does not stand out (p = 0.7 for its strongest")
    assert place_chance(np.nan, 0, 0) == "not tested; that is no proof of safety"
    assert place_chance(0.7, 0, 999).endswith("no proof of safety")
    assert p_note(0.001, 1, 999) == (
        "of this window's strongest point, smoothed along the road (it lies in stretch 1), for all "
        "roads at once; 0.001 or less: no draw of 999 reached as far"
    )
    assert p_note(np.nan, 0, 0) == "not tested"


@pytest.mark.parametrize("source", ["draws", "tail fit"])
def test_a_tail_fit_is_marked_wherever_it_is_printed(source: str) -> None:
    """In the sheet, on the page to print, in both tables."""
    study, findings = made_up.study(), made_up.findings()
    stretches = findings.stretches.assign(
        window_p_value=0.00002, window_p_from=source, q_value=0.0003
    )
    findings = replace(findings, stretches=stretches)
    row = pd.DataFrame(stretches.drop(columns="geometry")).to_dict("records")[0]
    tables = (stretches_table(study, findings)["window_p_from"][0],
              ranked_table(study, findings)["stretch_window_p_from"][0])  # fmt: skip
    said = stretch_chance(row, 999, "2 km")
    page = stretches_html(study, findings).decode()
    for words in (said, page, *tables):
        assert ("extrapolated by a tail fit" in words) is (source == "tail fit")
    assert "about 0.03 in 100 are expected to be false (q = 0.0003, Benjamini" in said
    assert "the 2 km window of road around it, by itself: p = 2e-05" in said
    assert ranked_table(study, findings)["stretch_q_value"].notna().sum() == 3
    assert (stretches_table(study, findings)["q_value"] == 0.0003).all()


def test_nothing_is_said_of_windows_that_were_not_tested() -> None:
    assert window_words({"p_value": 0.01}, 999, "2 km") == []
    nothing = {"window_p_value": np.nan, "window_p_from": "", "q_value": np.nan}
    assert window_words(nothing, 999, "2 km") == []
