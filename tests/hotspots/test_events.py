"""Which events belong together: by hand."""

from __future__ import annotations

import numpy as np

from roadrisk.hotspots.events import ALIVE, CROSSING, Events, gather
from roadrisk.hotspots.strands import lay_strands
from roadrisk.roads.lixels import lay_lixels
from tests.roads.small import make_network


def gathered(who: list[tuple[bool, str]], at_m: list[float], nameless_join: bool = False) -> Events:
    network = make_network([[(0, 0), (6000, 0)]])
    lixels = lay_lixels(network, 10.0)
    strands = lay_strands(network, lixels, np.ones(len(lixels), bool), 2000.0)
    x = np.array(at_m)
    lixel = lixels.at(np.zeros(len(x), np.int64), x)
    return gather(
        strands, lixel=lixel, along_m=x - lixels.start_m[lixel], weight=np.ones(len(x)),
        event=np.arange(len(x)), event_unit=who,
        event_kind=np.array([ALIVE if o else CROSSING for o, _ in who]),
        event_xy=np.column_stack([x, np.zeros(len(x))]), link_m=200.0, window_m=2000.0,
        nameless_join=nameless_join,
    )  # fmt: skip


def blocks(events: Events) -> list[set[int]]:
    return [set(events.event[events.block == b].tolist()) for b in range(events.blocks)]


def test_an_animal_s_crossings_move_as_one_unless_far_apart() -> None:
    """600 m apart: one group; 1.2 km farther: a group of its own (half a window is the limit)."""
    assert blocks(gathered([(False, "a")] * 3, [100.0, 700.0, 1900.0])) == [{0, 1}, {2}]


def test_an_observer_s_reports_are_linked_within_200_m() -> None:
    """0, 150, 300 m hang together link by link; 600 m does not."""
    assert blocks(gathered([(True, "o")] * 4, [0.0, 150.0, 300.0, 600.0])) == [{0, 1, 2}, {3}]


def test_two_observers_at_one_place_are_two_groups() -> None:
    events = gathered([(True, "o"), (True, "p")], [50.0, 50.0])
    assert blocks(events) == [{0}, {1}]
    assert events.units == 2


def test_anonymous_reports_are_one_unit_and_linked_by_place() -> None:
    events = gathered([(True, "")] * 3, [0.0, 100.0, 3000.0])
    assert events.units == 1
    assert blocks(events) == [{0, 1}, {2}]


def test_anonymous_reports_near_a_name_may_be_that_observer_s() -> None:
    """By hand: 100 m from o and 190 m from p: o's; 500 m from both: nobody's; an animal's name
    is none."""
    who = [(True, "o"), (True, ""), (True, "p"), (True, ""), (False, "a")]
    events = gathered(who, [0.0, 100.0, 290.0, 790.0, 800.0], nameless_join=True)
    assert events.unit_names == ("a", "", "o", "p")
    assert sorted(map(sorted, blocks(events))) == [[0, 1], [2], [3], [4]]
    apart = gathered(who, [0.0, 100.0, 290.0, 790.0, 800.0])
    assert {3} in blocks(apart)
    assert {1} in blocks(apart)
    alone = gathered([(True, ""), (False, "a")], [0.0, 10.0], nameless_join=True)
    assert alone.unit_names == ("a", "")


def test_an_animal_and_an_observer_of_one_name_stay_apart() -> None:
    events = gathered([(False, "x"), (True, "x")], [50.0, 60.0])
    assert events.units == 2
    assert events.unit_is_observer.tolist() == [False, True]


def test_pieces_of_a_report_on_two_roads_far_apart_on_the_line_move_separately() -> None:
    """By hand: one report spread over places 50 m and 3 km along the line."""
    network = make_network([[(0, 0), (6000, 0)]])
    lixels = lay_lixels(network, 10.0)
    strands = lay_strands(network, lixels, np.ones(len(lixels), bool), 2000.0)
    events = gather(
        strands, lixel=np.array([5, 300]), along_m=np.full(2, 5.0), weight=np.array([0.7, 0.3]),
        event=np.zeros(2, np.int64), event_unit=[(True, "o")], event_kind=np.array([ALIVE]),
        event_xy=np.zeros((1, 2)), link_m=200.0, window_m=2000.0,
    )  # fmt: skip
    assert events.blocks == 2
    assert events.units == 1
