"""Deaths of a place in words: by hand, whatever is known and whatever isn't."""

from __future__ import annotations

from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np
import pandas as pd
import pytest

from roadrisk.reporting.death_words import kill_words, ranks_of
from roadrisk.reporting.map_layers import rows_of
from roadrisk.reporting.place_sheets import (
    Kill,
    row_words,
    scale_of,
    stretch_lines,
    window_lines,
)
from roadrisk.reporting.sheets import SHEETS
from tests.reporting import made_up
from tests.reporting.made_up_deaths import by_evidence, not_known, only_a_bound

if TYPE_CHECKING:
    from collections.abc import Callable

    from roadrisk.findings import Findings


def window(findings: Findings, which: int = 0, units: str = "metric") -> dict[str, str]:
    """Return a ranked window's sheet, value by label."""
    scale = scale_of(made_up.study(units=units), findings)
    values = window_lines(rows_of(findings.ranked)[which], [[19, 52], [20, 53]], scale)
    return dict(zip(SHEETS["windows"], values, strict=True))


def stretch(findings: Findings) -> dict[str, str]:
    """Return the stretch's sheet, value by label."""
    scale = scale_of(made_up.study(), findings)
    ranked = findings.ranked[findings.ranked["stretch"] == 1]
    row = rows_of(findings.stretches)[0]
    values = stretch_lines(row, findings.stretch_years, ranked, scale)
    return dict(zip(SHEETS["stretches"], values, strict=True))


DEATHS, ABOVE = "Road deaths per {unit} and year", "Above similar roads, per {unit} and year"
WORST, TIMES = "Is it among the worst", "Beside the mean of all roads"


def test_a_window_says_how_many_die_and_how_sure_its_rank_is() -> None:
    """By hand: 3.14159 with ends at 0.4 and 2 times of it; less 0.5; over 0.35."""
    said = window(made_up.findings())
    assert said[DEATHS] == "3.14 (1.26 to 6.28)"
    assert said[ABOVE] == "2.64 (0.757 to 5.78)"
    assert said[TIMES] == "8.98 times as many (3.59 to 18)"
    assert said[WORST] == "with a chance of 0.97 one of the 5 worst places"
    assert said["Its rank may be"] == "1 to 7 (90 % interval)"
    assert said["Chance that a crossing kills"] == "0.2 (0.08 to 0.4); traffic: counted in 2019"


def test_per_mile() -> None:
    """By hand: times 1.609344."""
    assert window(made_up.findings(), units="us")[DEATHS] == "5.06 (2.02 to 10.1)"


def test_where_how_many_is_not_known_the_words_stand_there() -> None:
    """No number without an interval: only where, only a bound, nothing."""
    said = window(not_known(made_up.findings()))
    assert said[DEATHS].startswith("how many die isn't known")
    assert said[ABOVE] == ""
    assert said[TIMES] == "8.98 times as many (3.59 to 18)"
    said = window(only_a_bound(made_up.findings()))
    assert said[DEATHS].startswith("at most 6.28 (one-sided 95 % bound")
    assert said[ABOVE] == "not known: of deaths only an upper bound is"
    said = window(by_evidence(made_up.findings()))
    assert said[DEATHS] == "deaths were not estimated"
    assert (said[ABOVE], said[TIMES], said[WORST]) == ("", "", "")
    assert said["Its rank may be"] == "1 to 7 (90 % interval, in resamples)"
    unknown = window(by_evidence(made_up.findings()), 3)["Its rank may be"]
    assert unknown == "can't be told from so few animals and observers"


@pytest.mark.parametrize(("poorer", "line"), [
    (lambda findings: findings, "3.14 road deaths per km and year (1.26 to 6.28)"),
    (not_known, "8.98 times as many (3.59 to 18), beside the mean of all roads; how many die isn't "
     "known"),
    (only_a_bound, "8.98 times as many (3.59 to 18), beside the mean of all roads; at most 6.28 "
     "road deaths per km and year (95 % bound)"),
    (by_evidence, "31.4 crossing-days and reports per km and year (14.1 to 56.5)"),
])  # fmt: skip
def test_a_row_of_the_list_begins_with_what_it_is_ranked_by(
    poorer: Callable[[Findings], Findings], line: str
) -> None:  # fmt: skip
    findings = poorer(made_up.findings())
    scale = scale_of(made_up.study(), findings)
    assert row_words(rows_of(findings.ranked)[0], scale)[0] == line


def test_a_row_without_a_record_says_so() -> None:
    """As `hotspots.looking` words it."""
    findings = made_up.findings()
    row = rows_of(findings.ranked)[1] | {"rests_on": "no record of its own: deaths are judged"}
    said = row_words(row, scale_of(made_up.study(), findings))
    assert said[1] == "no record of its own: deaths are judged"


def test_a_stretch_says_deaths_and_the_ranks_of_its_places() -> None:
    """By hand: known, only a bound, nothing."""
    said = stretch(made_up.findings())
    assert said["Road deaths a year"] == "0.84 (0.336 to 1.68); per km 2.4 (0.96 to 4.8)"
    assert said[ABOVE] == "1.9 (0.4 to 4.1)"
    assert said["Its places in the ranked list"] == (
        "1 (1 to 7, 90 % interval), 2 (1 to 8), 3 (1 to 9); with chances of 0.97, 0.81 and 0.65 "
        "among the 5 worst places"
    )
    assert said["Chance that a crossing kills"].startswith("0.2 (0.08 to 0.4)")
    said = stretch(only_a_bound(made_up.findings()))
    assert said["Road deaths a year"] == (
        "at most 1.68 (one-sided 95 % bound: the sources that say how many counted no death); per "
        "km at most 4.8"
    )
    said = stretch(by_evidence(made_up.findings()))
    assert said["Road deaths a year"] == "not known: nothing that was counted tells of deaths"
    assert said["Its places in the ranked list"] == (
        "1 (1 to 7, in resamples), 2 (1 to 8), 3 (1 to 9)"
    )


def test_no_draw_among_the_worst_is_no_zero() -> None:
    """By hand: chances come from draws."""
    scale = scale_of(made_up.study(), made_up.findings())
    ranked = pd.DataFrame({
        "rank": [1, 2, 9], "rank_low": 1, "rank_high": 9, "chance_among_worst": [1.0, 0.5, 0.0],
    })  # fmt: skip
    assert ranks_of(ranked, scale).endswith(
        "; with chances of more than 0.99, 0.50 and less than 0.01 among the 5 worst places"
    )
    assert ranks_of(ranked[1:2], scale).endswith("; with a chance of 0.50 among the 5 worst places")
    assert ranks_of(ranked[:0], scale) == "none among those listed"


def test_the_chance_of_a_kill_on_several_segments() -> None:
    """By hand: the range of the chances, both outermost ends, and where traffic is from."""
    scale = replace(
        scale_of(made_up.study(), made_up.findings()),
        kills={"a": Kill(0.2, 0.1, 0.3, "counted"), "b": Kill(0.4, 0.15, 0.75, "counted"),
               "c": Kill(0.3, 0.05, 0.6, "by road class"), "d": Kill(np.nan, np.nan, np.nan, "")},
    )  # fmt: skip
    assert kill_words(["a", "b"], scale) == (
        "0.2 to 0.4 by piece of road (0.1 to 0.75); traffic: counted"
    )
    assert kill_words(["a", "c", "d", "gone"], scale).endswith("traffic: counted / by road class")
    assert kill_words(["d"], scale) == ""
