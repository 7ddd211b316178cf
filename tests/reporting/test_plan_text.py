"""The plan of fixes in words, by hand."""

from __future__ import annotations

import numpy as np
import pandas as pd

from roadrisk.reporting.plan_text import plan_text
from roadrisk.telemetry.planner import COLUMNS


def table(crossing_days: float) -> pd.DataFrame:
    row = ["3+8/14", "a fix every 3 days, and bursts", 90, 61.0, crossing_days, 1.0, 0.625, 0.9,
           np.nan, 12.0, 1.0, 0.8, "identified, by bursts"]  # fmt: skip
    return pd.DataFrame([row], columns=COLUMNS)


def test_plan_says_numbers_assumptions_and_cautions() -> None:
    text = plan_text(table(8.25), animals=7, studies=8, distance_m=40, error_m=6.5)
    lines = text.splitlines()
    assert lines[0] == "Simulated: 8 studies of 7 animals for each schedule."
    assert lines[2].split()[:3] == ["schedule", "fixes", "crossing-days"]
    assert lines[3].split() == [
        "3+8/14", "61", "8.2", "62", "%", "90", "%", "-", "identified,", "by", "bursts",
    ]  # fmt: skip
    assert "3+8/14: a fix every 3 days, and bursts" in lines
    whole = " ".join(lines)
    assert "7 animals a study, followed on 90 active days" in whole
    assert "lies 40 m from a straight road 6 m wide; no response to the road" in whole
    assert "fixes good to 6.5 m" in whole
    assert "movement as the species profile says." in whole
    assert "need permits and trained people" in whole
    assert "what a tag may weigh" in whole
    assert "hardly crossed" not in whole
    assert max(map(len, lines)) <= 100


def test_few_simulated_animals_hold_no_share_and_fitted_ones_are_named() -> None:
    text = plan_text(table(8.25), animals=7, studies=7, distance_m=40, error_m=6.5, fitted=12)
    assert text.splitlines()[3].split()[5] == "-"
    assert "movement as fixes of 12 animals of the study show." in " ".join(text.splitlines())


def test_rare_crossings_are_said() -> None:
    text = plan_text(table(0.4), animals=7, studies=8, distance_m=400, error_m=5)
    assert "The simulated animals hardly crossed" in text
