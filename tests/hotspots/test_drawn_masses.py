"""Redrawn events: by hand and against the draws of the comparison with chance."""

from __future__ import annotations

import numpy as np
import pytest

from roadrisk.hotspots.chance import moved_lixels
from roadrisk.hotspots.drawn_masses import (
    drawn_masses,
    drawn_places,
    places_on_roads,
    unit_weights,
)
from tests.truth.worlds import Ground, country_roads, ground, mixed


@pytest.fixture(scope="module")
def roads() -> Ground:
    return ground(country_roads())


def test_no_unit_counts_for_more_than_one_event(roads: Ground) -> None:
    """By hand: a unit of one event keeps it, others share one, or three."""
    events = mixed(roads, np.random.default_rng(1))
    whole = np.bincount(events.unit, events.weight)
    assert np.bincount(events.unit, unit_weights(events)) == pytest.approx(1.0)
    assert np.bincount(events.unit, unit_weights(events, 3.0)) == pytest.approx(
        np.minimum(whole, 3.0)
    )


def test_the_same_draws_as_in_the_comparison_with_chance(roads: Ground) -> None:
    """Against that module's own placing of groups, with the same random numbers."""
    events = mixed(roads, np.random.default_rng(2))
    rows = drawn_masses(
        events, roads.strands, events.weight, draws=7, rng=np.random.default_rng(5)
    ).toarray()
    moved = moved_lixels(events, roads.strands, 7, np.random.default_rng(5))
    for row, lixel in zip(rows, moved, strict=True):
        expected = np.bincount(lixel, events.weight, minlength=len(roads.lixels))
        assert row == pytest.approx(expected)


def test_mass_is_kept_and_even_within_windows(roads: Ground) -> None:
    """Known truth: the mean of many draws is even along each window."""
    events = mixed(roads, np.random.default_rng(3))
    weight = unit_weights(events)
    rows = drawn_masses(events, roads.strands, weight, draws=3000, rng=np.random.default_rng(1))
    assert np.asarray(rows.sum(axis=1)) == pytest.approx(weight.sum())
    mean = np.asarray(rows.mean(axis=0))[roads.strands.order] / np.diff(roads.strands.cut_m)
    middle = (roads.strands.cut_m[1:] + roads.strands.cut_m[:-1]) / 2
    window = np.searchsorted(roads.strands.window_m, middle) - 1
    fullest = np.bincount(window, mean).argmax()
    here = mean[window == fullest]
    halves = here[: len(here) // 2].mean(), here[len(here) // 2 :].mean()
    assert halves[0] == pytest.approx(halves[1], rel=0.05)


def test_places_are_where_the_masses_are(roads: Ground) -> None:
    """By hand: observed pieces come back to their lixels; drawn ones lie on the lixels drawn."""
    events = mixed(roads, np.random.default_rng(4))
    edge, offset = places_on_roads(roads.strands, roads.lixels, events.position_m)
    assert (roads.lixels.at(edge, offset) == events.lixel).mean() > 0.99
    edge, offset = drawn_places(events, roads.strands, roads.lixels, np.random.default_rng(6))
    mass = drawn_masses(
        events, roads.strands, np.ones(len(events.weight)), draws=1, rng=np.random.default_rng(6)
    ).toarray()[0]
    there = np.bincount(roads.lixels.at(edge, offset), minlength=len(roads.lixels))
    assert np.abs(there - mass).sum() <= 2
    assert (offset >= 0).all()
    assert (offset <= roads.network.edge_length_m[edge]).all()


def test_nothing_to_draw(roads: Ground) -> None:
    events = mixed(roads, np.random.default_rng(1))
    none = drawn_masses(events, roads.strands, events.weight, draws=0, rng=np.random.default_rng(1))
    assert none.shape == (0, len(roads.lixels))
