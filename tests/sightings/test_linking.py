"""Reports of one animal, by hand."""

from __future__ import annotations

import datetime as dt

import numpy as np
import pandas as pd
import pytest

from roadrisk.sightings.linking import LEAST_CHANCE, link_reports
from roadrisk.table_settings import SightingsSection
from tests.sightings.made_reports import reports

SETTINGS = SightingsSection(file="reports.csv", surveys=("carcass survey",))


def at(hours):
    return pd.Timestamp("2024-05-10T10:00", tz="UTC") + pd.to_timedelta(hours, unit="h")


def linked(xy, hours, pairs=None, order=None, **columns):
    table = reports(xy, time=at(np.asarray(hours, float)), **columns).assign(repeats=1)
    place = np.asarray(xy, float).reshape(-1, 2)
    if order is not None:
        table, place = table.iloc[order].reset_index(drop=True), place[order]
    return link_reports(
        table, place, settings=SETTINGS, zone="Europe/Warsaw", road_m=20_000.0,
        first_day=dt.date(2024, 4, 1), last_day=dt.date(2024, 9, 30), pairs=pairs or {},
    )  # fmt: skip


def chance(links, i, j):
    pairs = links.pairs
    found = pairs[(pairs["i"].isin([i, j])) & (pairs["j"].isin([i, j]))]
    return float(found["probability"].iloc[0]) if len(found) else 0.0


NEAR = [(0, 0), (10, 0)]


def test_two_people_and_one_carcass_hours_apart_are_linked_weeks_apart_not():
    soon = linked(NEAR, [0, 3], vitality="dead", recordedBy=["Ada Venn", "Bo Lark"])
    late = linked(NEAR, [0, 21 * 24], vitality="dead", recordedBy=["Ada Venn", "Bo Lark"])
    assert chance(soon, 0, 1) > 0.9
    assert chance(late, 0, 1) < 0.5
    assert soon.group[0] == soon.group[1]
    assert late.group[0] != late.group[1]
    assert soon.first.sum() == pytest.approx(2 - chance(soon, 0, 1))


def test_farther_and_later_is_less_likely():
    by_time = [chance(linked(NEAR, [0, h], vitality="dead"), 0, 1) for h in (1, 30, 100, 400)]
    assert all(np.diff(by_time) < 0)
    by_place = [
        chance(linked([(0, 0), (d, 0)], [0, 5], vitality="dead"), 0, 1) for d in (1, 25, 45)
    ]
    assert all(np.diff(by_place) < 0)
    assert chance(linked([(0, 0), (500, 0)], [0, 5], vitality="dead"), 0, 1) == 0


def test_alive_then_dead_is_a_history_and_uncertain_may_be_either():
    assert chance(linked(NEAR, [0, 3], vitality=["alive", "dead"]), 0, 1) == 0
    assert chance(linked(NEAR, [0, 3], vitality=["uncertain", "dead"]), 0, 1) > 0.5
    # What is not said can't join an animal alive with a dead one.
    three = linked([*NEAR, (5, 0)], [0, 0.4, 0.2], vitality=["alive", "dead", "uncertain"])
    assert chance(three, 0, 1) == 0
    assert chance(three, 0, 2) + chance(three, 1, 2) <= 1 + 1e-9


def test_live_animals_are_linked_within_an_hour_and_never_on_another_day():
    assert chance(linked(NEAR, [0, 0.3], vitality="alive"), 0, 1) > 0.9
    assert chance(linked(NEAR, [0, 24], vitality="alive"), 0, 1) == 0
    tagged = {"vitality": "alive", "organismID": "V7"}
    assert chance(linked(NEAR, [0, 24], **tagged), 0, 1) == 0
    assert chance(linked([(0, 0), (60, 0)], [0, 0.3], **tagged), 0, 1) > 0.9
    day = linked(NEAR, [0, 24], vitality="alive", time_known=False)
    assert chance(day, 0, 1) == 0


def test_after_removal_or_beside_a_mark_nothing_is_the_same_carcass():
    removed = linked(NEAR, [0, 3], vitality="dead", carcass_action=["removed", ""])
    assert chance(removed, 0, 1) == 0
    assert removed.first.sum() == 2
    before = linked(NEAR, [0, 3], vitality="dead", carcass_action=["", "removed"])
    assert chance(before, 0, 1) > 0.9
    survey = {"vitality": "dead", "samplingProtocol": ["Carcass survey ", "carcass survey"]}
    new = linked(NEAR, [0, 30], carcass_action=["marked", "left"], **survey)
    again = linked(NEAR, [0, 30], carcass_action=["marked", "already marked"], **survey)
    assert chance(new, 0, 1) == 0
    assert chance(again, 0, 1) > 0.95


def test_different_tags_are_different_animals_and_equal_ones_one():
    dead = {"vitality": "dead"}
    assert chance(linked(NEAR, [0, 1], organismID=["A1", "B2"], **dead), 0, 1) == 0
    without = chance(linked(NEAR, [0, 200], **dead), 0, 1)
    assert chance(linked(NEAR, [0, 200], organismID="A1", **dead), 0, 1) > max(without, 0.99)


def test_pairs_decided_by_hand_are_certain_and_bind_the_others():
    xy, hours = [(0, 0), (8, 0), (16, 0), (9000, 0)], [0, 2, 4, 900]
    links = linked(xy, hours, {("r0", "r1"): False, ("r2", "r3"): True, ("r0", "zz"): True},
                   vitality="dead")  # fmt: skip
    assert chance(links, 0, 1) == 0
    assert chance(links, 2, 3) == 1
    hand = links.pairs[links.pairs["by_hand"]]
    assert {(r.i, r.j): r.probability for r in hand.itertuples()} == {(0, 1): 0.0, (2, 3): 1.0}
    # r2 can be of the one or the other, not of both; and r3 is wherever r2 is.
    assert chance(links, 0, 2) + chance(links, 1, 2) <= 1 + 1e-9
    assert chance(links, 0, 3) == pytest.approx(chance(links, 0, 2), abs=LEAST_CHANCE)
    assert links.group[0] != links.group[1]
    assert links.group[2] == links.group[3]
    assert links.first[3] == 0


def test_joined_by_hand_against_all_evidence_is_one_animal():
    links = linked(NEAR, [0, 90], {("r0", "r1"): True}, vitality=["alive", "dead"])
    assert chance(links, 0, 1) == 1
    assert links.first.tolist() == [1, 0]


def test_pairs_by_hand_that_contradict_each_other_are_said():
    hand = {("r0", "r1"): True, ("r1", "r2"): True, ("r0", "r2"): False}
    links = linked([(0, 0), (5, 0), (9, 0)], [0, 1, 2], hand, vitality="dead")
    assert links.first.sum() == pytest.approx(1)
    assert any("taken apart by hand" in note for note in links.notes)


def many():
    rng = np.random.default_rng(5)
    xy = np.column_stack([rng.integers(0, 30, 60) * 20.0, np.zeros(60)])
    return xy, rng.uniform(0, 400, 60)


def test_first_adds_up_to_the_expected_number_and_the_order_of_rows_does_not_matter():
    xy, hours = many()
    links = linked(xy, hours, vitality="dead")
    assert 5 < links.first.sum() < 60
    assert links.choices.loc[links.choices["carcass_days"] == 3, "animals"].item() == pytest.approx(
        links.first.sum()
    )
    order = np.random.default_rng(1).permutation(60)
    other = linked(xy, hours, vitality="dead", order=order)
    np.testing.assert_array_equal(other.first, links.first[order])
    again = linked(xy, hours, vitality="dead")
    pd.testing.assert_frame_equal(again.pairs, links.pairs)
    assert again.first.tobytes() == links.first.tobytes()
    earlier = hours[links.pairs["i"]] <= hours[links.pairs["j"]]
    assert earlier.all()


def test_other_choices_are_counted_as_they_say():
    links = linked([(0, 0), (60, 0), (60, 0)], [0, 1, 30], vitality="dead")
    rules = links.choices.dropna(subset="within_m").set_index(["within_m", "within_days"])
    assert rules.loc[(50, 1), "animals"] == 3
    assert rules.loc[(50, 2), "animals"] == 2
    assert rules.loc[(100, 2), "animals"] == 1
    assert links.choices["carcass_days"].dropna().tolist() == [1.5, 3.0, 6.0]


def test_no_report_and_one():
    assert len(linked(np.zeros((0, 2)), []).first) == 0
    one = linked([(0, 0)], [0])
    assert one.first.tolist() == [1]
    assert one.group.tolist() == [0]
    assert not len(one.pairs)
