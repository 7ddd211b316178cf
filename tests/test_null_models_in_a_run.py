"""Small studies run through the whole line under each null model: what is moved, said, left out."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

import roadrisk
from roadrisk.errors import InputError
from roadrisk.findings import Findings
from tests.hostile.broken_folders import change, good_folder, put

EFFORT = """\
eventDate,route,begin_measure,end_measure,samplingEffort
2024-05-02,R12,3.0,3.6,4 passes
2024-06-11,R12,3.0,3.6,3 passes
2025-05-20,R12,3.3,3.6,2 passes
"""


def others() -> str:
    """Sixty people who report other animals along the main road."""
    rng = np.random.default_rng(3)
    rows = ["occurrenceID,eventDate,decimalLatitude,decimalLongitude,recordedBy,scientificName"]
    for n, lon in enumerate(rng.uniform(-76.1055, -76.0975, 60)):
        rows.append(f"B{n},2024-{5 + n % 2:02}-12,{38.5 + 2e-5 * (n % 3):.6f},{lon:.6f},p{n},Rana")
    return "\n".join(rows) + "\n"


def run(folder: Path, hotspots: str, **tables: str) -> Findings:
    sections = "".join(f'[{name}]\nfile = "{name}.csv"\n' for name in tables)
    few = "[crossings]\ndraws = 20\n[hotspots]\ndraws = 19\npower_worlds = 20\n"
    good_folder(folder)
    change("study.toml", "[traffic]", sections + few + hotspots + "\n[traffic]")(folder)
    for name, text in tables.items():
        put(f"{name}.csv", text)(folder)
    return roadrisk.analyse(roadrisk.read_study(folder))


def test_by_survey_effort(tmp_path: Path) -> None:
    """By hand: R12's 0.9 km of measures are 872 m drawn, so km 3.0 to 3.6 are 581 m walked 7 times
    and half of them twice more, 4.65 km in all. One report lies rather on Sedge Lane, which nobody
    walked: left out of the comparison, not of the list."""
    got = run(tmp_path / "s", 'null = "effort"', effort=EFFORT)
    notes = " ".join(got.notes)
    assert "Survey effort: 4.65 km gone along on 0.591 km of road." in notes
    assert "Left out of the comparison with chance: 1 of 6 reports" in notes
    assert "in proportion to survey effort" in got.chance.method
    assert "the comparison with chance allows for it" in notes
    assert got.counts["reports_placed"] == 6


def test_reports_beside_the_walked_road_are_left_out(tmp_path: Path) -> None:
    """By hand: walked from km 3.0 to 3.2 only, 200 m east of longitude -76.106: A4 at -76.1042
    and no other; within the season of May and June none of July."""
    walked = EFFORT.replace("3.3,3.6", "3.0,3.2").replace("3.0,3.6", "3.0,3.2")
    got = run(tmp_path / "s", 'null = "effort"', effort=walked)
    notes = " ".join(got.notes)
    assert "Left out of the comparison with chance: 5 of 6 reports" in notes
    season = 'null = "effort"\nnull_within = "season"\nseasons = [[5, 6]]'
    got = run(tmp_path / "t", season, effort=walked)
    notes = " ".join(got.notes)
    assert "6 of 6 reports, on road without any effort in the season of each report" in notes
    assert got.counts["reports_placed"] == 6


def test_by_other_reports(tmp_path: Path) -> None:
    got = run(tmp_path / "s", 'null = "reports"', background=others())
    assert "Background: 60 other reports from 60 places." in got.notes
    assert "where the same public reports anything else" in got.chance.method
    assert "within windows of about 2 km of road by length" in got.chance.method


def test_by_a_fitted_rate_of_too_few_observers(tmp_path: Path) -> None:
    """Six anonymous reports are one observer: refused in words, and windows instead."""
    got = run(tmp_path / "s", 'null = "reports"')
    notes = " ".join(got.notes)
    assert "not identified: 1 different observer for" in notes
    assert "within windows by length of road instead" in notes
    assert "moved as a whole within windows of about 2 km of road;" in got.chance.method


def test_tables_that_the_null_model_does_not_use_are_named(tmp_path: Path) -> None:
    got = run(tmp_path / "s", 'null = "windows"', effort=EFFORT, background=others())
    assert sum("was read and not used" in note for note in got.notes) == 2


def test_effort_on_no_road_stops_in_one_line(tmp_path: Path) -> None:
    with pytest.raises(InputError) as caught:
        run(tmp_path / "s", 'null = "effort"', effort=EFFORT.replace("R12", "R99"))
    (line,) = caught.value.lines()
    assert line.startswith("effort.csv, row 2: there is no route 'R99' in the agency layer")
    assert "Mend: " in line


@pytest.mark.parametrize(
    ("hotspots", "words"),
    [
        ('null = "effort"', "needs a table of survey effort: [effort]"),
        ('null = "reports"\nnull_within = "season"\nseasons = [[5]]', "needs other reports"),
        ('null = "effort"\nnull_within = "season"', "name the seasons' months"),
        ('null_within = "season"\nseasons = [[5]]', "goes with null ="),
        ("seasons = [[4, 5]]", 'seasons go with null_within = "season"'),
        ("seasons = [[4, 5, 6], [6, 7]]", "seasons may not overlap: month 6"),
        ("seasons = [[13]]", "less than or equal to 12"),
    ],
)
def test_settings_that_do_not_go_together(tmp_path: Path, hotspots: str, words: str) -> None:
    with pytest.raises(InputError) as caught:
        run(tmp_path / "s", hotspots)
    assert any(words in line for line in caught.value.lines()), caught.value.lines()
