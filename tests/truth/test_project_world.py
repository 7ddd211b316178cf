"""The simulated studies reach the project's estimator unchanged, and it answers in their terms."""

from __future__ import annotations

import numpy as np
import pytest

from roadrisk.base.seeds import generator
from tests.truth.project_world import movement_tracks, project_estimator, road_network
from tests.truth.walk_scoring import score
from tests.truth.walk_tracks import tracks, truth_of
from tests.truth.walkers import CLOCK, LAYOUTS, road_of, world


@pytest.mark.parametrize("layout", LAYOUTS)
def test_network_has_the_same_segments(layout: str) -> None:
    """By hand: one segment a piece, in the same place, found through its row."""
    road = road_of(layout, generator(3, layout))
    network, rows = road_network(road)
    assert sorted(rows) == list(range(road.segments))
    for k, line in enumerate(network.segments.geometry):
        ends = road.segment_lines()[rows[k]]
        found = np.array(line.coords)
        assert len(found) == 2
        off = min(np.abs(found - ends).max(), np.abs(found[::-1] - ends).max())
        assert off < 1e-6


def test_project_answers_for_a_few_animals() -> None:
    """Known truth: three animals that cross often; a wide net, the table is the real test."""
    study = world("walker", "frequent", "two roads", 3, generator(5, "few"))
    seen = tracks(study, 3, generator(5, "few fixes"), bursts=False)
    assert sum(len(track) for track in movement_tracks(seen)) == len(seen.x)
    found = project_estimator(draws=40)(seen, study.road, CLOCK, generator(5, "estimate"))
    real = truth_of(study, seen)
    scored = score(found, real, study.road)
    bias = scored.animals["days_mean"].sum() / scored.animals["days_true"].sum()
    assert 0.5 < bias < 2
    assert scored.segment_order > 0.4
    np.testing.assert_array_less(
        found.segment_days.max(axis=1) - 1e-9, found.crossing_days.mean(axis=1)
    )
