"""Reports of a stretch by year: by hand."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from roadrisk.hotspots.stretch_years import COLUMNS, reports_by_year
from tests.roads.small import make_network
from tests.truth.worlds import Ground, events_of, ground


@pytest.fixture(scope="module")
def road() -> Ground:
    return ground(make_network([[(0, 0), (3000, 0)]]))


def test_usual_share_and_years_between(road: Ground) -> None:
    """Three of six dated reports lie in the stretch; 2022 has none anywhere and is a year too."""
    who = [(True, f"o{i}") for i in range(7)] + [(False, "a")]
    places = [50, 51, 52, 200, 201, 202, 53, 54]
    events = events_of(road, places, who, np.random.default_rng(1))
    # By event: the last report has no date, the animal's crossings are of all years.
    year = np.array([2021, 2023, 2023, 2021, 2021, 2023, 0, 0])
    table = reports_by_year(events, year, [np.arange(45, 60)])
    assert tuple(table.columns) == COLUMNS
    assert table["year"].tolist() == [2021, 2022, 2023]
    assert table["reports"].tolist() == [1, 0, 2]
    assert table["reports_everywhere"].tolist() == [3, 0, 3]
    assert table["reports_at_usual_share"].tolist() == [1.5, 0.0, 1.5]
    assert table["observers"].tolist() == [1, 0, 2]


def test_an_observer_counts_with_half_a_report_a_year(road: Ground) -> None:
    events = events_of(road, [50, 51, 52], [(True, "o"), (True, "p"), (True, "p")],
                       np.random.default_rng(1))  # fmt: skip
    events = replace(events, weight=np.array([0.4, 0.3, 0.3]))
    table = reports_by_year(events, np.array([2021] * 3), [np.arange(45, 60)])
    assert table["observers"].tolist() == [1]
    assert table["reports"][0] == pytest.approx(1.0)


def test_no_dated_report_no_year(road: Ground) -> None:
    events = events_of(road, [50], [(True, "o")], np.random.default_rng(1))
    table = reports_by_year(events, np.zeros(1, np.int64), [np.arange(45, 60)])
    assert len(table) == 0
    assert tuple(table.columns) == COLUMNS
