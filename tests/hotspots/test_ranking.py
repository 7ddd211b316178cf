"""The ranked windows: by hand."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from roadrisk.base.seeds import generator
from roadrisk.hotspots.events import Events
from roadrisk.hotspots.ranking import Windows, best_windows, tally
from roadrisk.telemetry.crossing_mass import CrossingMass
from tests.roads.small import make_network
from tests.truth.worlds import Ground, events_of, ground


def ranked(on: Ground, places: list[int], who: list[tuple[bool, str]], rows: int = 30
           ) -> tuple[Windows, list]:  # fmt: skip
    rng = np.random.default_rng(1)
    events = events_of(on, np.array(places), who, rng)
    mass = np.bincount(events.lixel, events.weight, minlength=len(on.lixels))
    density = np.asarray(on.kernel.T @ mass) / on.lixels.length_m
    windows = best_windows(on.network, on.lixels, events, density, window_m=100.0, rows=rows)
    counted = tally(windows, events, paths_of(events), years=2.0, level=0.90, rng=generator(1, "x"))
    return windows, counted


def paths_of(events: Events) -> CrossingMass:
    """One drawn path an animal, that crosses where its events lie."""
    animals = np.flatnonzero(~events.unit_is_observer)
    mine = np.isin(events.unit, animals)
    return CrossingMass(
        np.searchsorted(animals, events.unit[mine]), np.zeros(mine.sum(), np.int64),
        events.lixel[mine], events.weight[mine], np.zeros(mine.sum()),
        tuple(events.unit_names[u] for u in animals), 1,
    )  # fmt: skip


@pytest.fixture(scope="module")
def road() -> Ground:
    return ground(make_network([[(0, 0), (3000, 0)]]))


def test_best_window_first_and_no_overlap(road: Ground) -> None:
    """8 events in 40 m, 3 elsewhere: 8 / (0.1 km x 2 years) = 40 per km and year."""
    who = [(True, f"o{i}") for i in range(11)]
    windows, counted = ranked(road, [100, 101, 102, 103] * 2 + [200, 201, 250], who)
    assert [c.value for c in counted] == pytest.approx([40.0, 10.0, 5.0])
    assert windows.first[0] <= 100
    assert windows.last[0] > 103
    taken = np.concatenate(
        [np.arange(a, b) for a, b in zip(windows.first, windows.last, strict=True)]
    )
    assert len(np.unique(taken)) == len(taken)


def test_events_lie_in_the_middle_of_their_window(road: Ground) -> None:
    windows, _ = ranked(road, [150] * 5, [(True, f"o{i}") for i in range(5)])
    middle = (windows.first[0] + windows.last[0] - 1) / 2
    assert abs(middle - 150) <= 1


def test_a_short_stub_does_not_top_the_list() -> None:
    """One report on a 12 m stub is counted per 100 m, not per 12 m."""
    on = ground(
        make_network([[(0, 0), (1000, 0)], [(1000, 0), (1012, 0)], [(1000, 0), (1000, 900)]])
    )
    stub = int(np.argmin(on.network.edge_length_m))
    lixel = int(on.lixels.first[stub])
    other = int(on.lixels.first[np.argmax(on.network.edge_length_m)]) + 40
    windows, counted = ranked(on, [lixel, other, other], [(True, f"o{i}") for i in range(3)])
    assert windows.first[0] != lixel
    assert counted[1].value == pytest.approx(1 / 0.1 / 2)


def test_interval_needs_three_units(road: Ground) -> None:
    _, counted = ranked(road, [100] * 6, [(False, "a")] * 5 + [(True, "o")])
    assert np.isnan(counted[0].low)
    assert counted[0].note == "fewer than 3 animals or observers: interval not identified"
    # 6 events in 0.2 km-years; exact Poisson, 90 %: 2.613 to 11.842 (chi-square tables).
    assert counted[0].independent_low == pytest.approx(2.613 / 0.2, rel=1e-3)
    assert counted[0].independent_high == pytest.approx(11.842 / 0.2, rel=1e-3)
    assert counted[0].largest_share == pytest.approx(5 / 6)
    assert not counted[0].largest_is_observer


def test_interval_holds_the_value_and_widens_with_clumping(road: Ground) -> None:
    """12 events of 12 observers against 12 of 3 (4 each): the second is less sure."""
    elsewhere = [(True, f"e{i}") for i in range(20)]
    far = list(range(200, 300, 5))
    _, even = ranked(road, [100] * 12 + far, [(True, f"o{i}") for i in range(12)] + elsewhere)
    _, few = ranked(road, [100] * 12 + far, [(True, f"o{i % 3}") for i in range(12)] + elsewhere)
    assert even[0].low < even[0].value < even[0].high
    assert few[0].high - few[0].low > 1.3 * (even[0].high - even[0].low)


def test_a_sliver_of_a_report_is_no_observer(road: Ground) -> None:
    """By hand: of five observers two have half a report here or more, one of them in two parts."""
    who = [(True, f"o{i}") for i in range(5)]
    places = np.array([100, 101, 102, 103, 104, 104])
    unit = np.array([0, 1, 2, 3, 4, 4])
    weight = np.array([1.0, 0.49, 0.02, 0.3, 0.25, 0.25])
    rng = np.random.default_rng(1)
    whole = events_of(road, places, [who[u] for u in unit], rng)
    # Sorted by unit and place: event k is at places[k].
    events = replace(whole, weight=weight)
    window = Windows(np.array([98]), np.array([108]), np.array([100.0]))
    one = tally(window, events, paths_of(events), years=2.0, level=0.9, rng=generator(1, "x"))[0]
    assert one.observers == 2
    assert one.reports == 5
    assert one.one_report == pytest.approx(1.0 / weight.sum())


def test_one_report_alone_is_known_as_such(road: Ground) -> None:
    _, counted = ranked(road, [100, 150, 150], [(True, f"o{i}") for i in range(3)])
    assert [round(c.one_report, 3) for c in counted] == [0.5, 1.0]
    assert [c.reports for c in counted] == [2, 1]
