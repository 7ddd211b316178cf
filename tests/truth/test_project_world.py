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


@pytest.mark.parametrize(
    ("kind", "spacing", "bursts"),
    [("walker", 1, True), ("commuter", 1, False), ("avoider", 3, False)],
)
def test_intervals_and_order_on_a_small_study(kind: str, spacing: int, bursts: bool) -> None:
    """Known truth, the small version of the table (`crossing_coverage.py` prints the large one).

    Of 16 intervals for 90 % fewer than 11 hold the truth with a chance of 0.3 % (binomial).
    Nothing is claimed of how often an avoider crosses; the order of the segments holds all the
    same.
    """
    study = world(kind, "frequent", "one road", 16, generator(6, f"small {kind}"))
    seen = tracks(study, spacing, generator(6, f"small fixes {kind}"), bursts=bursts)
    found = project_estimator(draws=100)(seen, study.road, CLOCK, generator(6, "estimate"))
    scored = score(found, truth_of(study, seen), study.road)
    assert scored.segment_order >= 0.7
    assert not scored.animals["least_wrong"].any()
    if kind != "avoider":
        assert scored.animals["days_inside"].sum() >= 11
        bias = scored.animals["days_mean"].sum() / scored.animals["days_true"].sum()
        assert 0.75 < bias < 1.35
