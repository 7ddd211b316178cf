"""Linkage in columns: the same numbers as plain loops over reports and pairs (by hand)."""

from __future__ import annotations

import re
from collections import Counter

import numpy as np
import pandas as pd
import pytest

from roadrisk.sightings.linking_evidence import read_marks
from roadrisk.sightings.linking_fit import first_rates
from roadrisk.sightings.linking_groups import group_of
from roadrisk.sightings.linking_marks import exclude_each_other
from roadrisk.sightings.linking_pairs import count_by_rule, longest_days, near_pairs
from roadrisk.sightings.linking_remarks import LIKENESS_EDGES, Remarks
from roadrisk.sightings.linking_shares import Neighbourhoods
from roadrisk.sightings.linking_squares import SQUARE_M, Squares
from roadrisk.table_settings import SightingsSection
from tests.sightings.made_reports import reports

SETTINGS = SightingsSection(file="reports.csv", surveys=("carcass survey",))
NONE = np.zeros(0, np.int64)


def marks(seed, n=120, wide=2500.0):
    rng = np.random.default_rng(seed)
    xy = rng.uniform(0.0, wide, (n, 2)) * [1.0, 0.2]
    hours = np.sort(rng.uniform(0.0, 24.0 * 60, n))
    table = reports(
        xy,
        time=pd.Timestamp("2024-05-10T10:00", tz="UTC") + pd.to_timedelta(hours, unit="h"),
        time_known=rng.random(n) < 0.8,
        coordinateUncertaintyInMeters=rng.choice([1.0, 20.0, 33.4, 300.0, 5000.0], n),
        vitality=rng.choice(["alive", "dead", "dead", "uncertain"], n),
        recordedBy=rng.choice(["", "Ada", "Bo", "Cy", "Di"], n),
        organismID=rng.choice(["", "", "", "T1", "T2"], n),
        associatedMedia=rng.choice(["", "", "a.jpg"], n),
        carcass_action=rng.choice(["", "", "removed", "marked"], n),
    )
    return read_marks(table, xy, np.full(n, -1, np.int64), "Europe/Warsaw", SETTINGS)


def pairs_one_by_one(m, rates, same_place_m):
    radius = np.sqrt(m.variance) * np.sqrt(-2 * np.log(0.05))
    for i in range(len(m.x)):
        for j in range(i + 1, len(m.x)):
            reach = max(same_place_m, 1.5 * (radius[i] + radius[j]))
            same = m.organism[i] >= 0 and m.organism[i] == m.organism[j]
            same = same or (m.photo[i] >= 0 and m.photo[i] == m.photo[j])
            reach = max(reach, 1000.0) if same else reach
            near = np.hypot(m.x[i] - m.x[j], m.y[i] - m.y[j]) <= reach
            soon = m.time[j] - m.time[i] <= longest_days(rates)
            if near and soon and not exclude_each_other(m, i, j, rates):
                yield i, j


@pytest.mark.parametrize("seed", range(4))
@pytest.mark.parametrize("same_place_m", [0.5, 50.0])
def test_near_pairs_are_those_that_a_loop_over_all_pairs_finds(seed, same_place_m):
    m = marks(seed)
    rates = first_rates(m, SETTINGS, NONE)
    i, j = near_pairs(m, rates, same_place_m)
    expected = list(pairs_one_by_one(m, rates, same_place_m))
    assert len(expected) > 50
    assert list(zip(i.tolist(), j.tolist(), strict=True)) == expected


def rule_one_by_one(m, within_m, within_days):
    group = np.arange(len(m.x))
    for i in range(len(group)):
        for j in range(i + 1, len(group)):
            near = np.hypot(m.x[i] - m.x[j], m.y[i] - m.y[j]) <= within_m
            if near and m.time[j] - m.time[i] <= within_days and m.state[i] == m.state[j]:
                group[group == group[j]] = group[i]
    return len(np.unique(group))


@pytest.mark.parametrize("seed", range(4))
def test_animals_by_a_fixed_rule_are_single_linkage(seed):
    m = marks(seed)
    for within_m, within_days in ((50.0, 1.0), (250.0, 7.0), (400.0, 30.0)):
        expected = rule_one_by_one(m, within_m, within_days)
        assert count_by_rule(m, within_m, within_days) == expected


def groups_one_by_one(n, pairs):
    chance = {(min(i, j), max(i, j)): p for i, j, p in pairs.itertuples(index=False)}
    members, owner = {k: [k] for k in range(n)}, list(range(n))
    order = sorted(zip(pairs["probability"], pairs["i"], pairs["j"], strict=True),
                   key=lambda r: (-r[0], min(r[1:]), max(r[1:])))  # fmt: skip
    for p, i, j in order:
        a, b = owner[i], owner[j]
        if p < 0.5 or a == b:
            continue
        between = [chance.get((min(u, v), max(u, v)), 0.0) for u in members[a] for v in members[b]]
        if sum(between) < 0.5 * len(between):
            continue
        keep, drop = min(a, b), max(a, b)
        for v in members.pop(drop):
            owner[v] = keep
            members[keep].append(v)
    return np.unique(owner, return_inverse=True)[1].tolist()


@pytest.mark.parametrize("seed", range(20))
def test_groups_are_those_of_a_loop_over_pairs(seed):
    rng = np.random.default_rng(seed)
    n = 14
    i, j = np.triu_indices(n, 1)
    some = rng.random(len(i)) < rng.uniform(0.2, 0.9)
    turned = rng.random(some.sum()) < 0.5
    table = pd.DataFrame({
        "i": np.where(turned, j[some], i[some]), "j": np.where(turned, i[some], j[some]),
        "probability": rng.choice([0.1, 0.4, 0.5, 0.7, 0.9, 1.0], some.sum()),
    })  # fmt: skip
    assert group_of(n, table).tolist() == groups_one_by_one(n, table)


def test_a_study_without_reports_or_pairs_has_groups_of_one():
    none = pd.DataFrame({"i": NONE, "j": NONE, "probability": np.zeros(0)})
    assert group_of(0, none).tolist() == []
    assert group_of(3, none).tolist() == [0, 1, 2]


@pytest.mark.parametrize("width_m", [25.0, 100.0, 250.0, 1500.0])
def test_kernel_sums_over_squares_are_sums_over_all_reports(width_m):
    rng = np.random.default_rng(5)
    x, y = rng.uniform(-1000.0, 3000.0, (2, 300))
    weights = rng.random(300), rng.random(300)
    squares = Squares.holding(x, y)
    found = squares.summed(weights, width_m)
    at = np.column_stack([np.round(x / SQUARE_M), np.round(y / SQUARE_M)]) * SQUARE_M
    apart = np.linalg.norm(at[:, None] - at[None], axis=2)
    kernel = 0.75 / width_m * np.maximum(1.0 - (apart / width_m) ** 2, 0.0)
    for weight, sums in zip(weights, found, strict=True):
        np.testing.assert_allclose(sums[squares.of], kernel @ weight, rtol=1e-12)
    i, j = np.arange(299), np.arange(1, 300)
    np.testing.assert_allclose(squares.apart_m(i, j), apart[i, j], rtol=1e-12)


def test_shares_are_what_the_observer_and_all_observers_reported_around():
    m = marks(3)
    weight = np.random.default_rng(1).random(len(m.x))
    cell = np.floor(np.column_stack([m.x, m.y]) / 1000.0)
    named = np.where(m.observer >= 0, weight, 0.0)
    for k, share in enumerate(Neighbourhoods(m).shares(weight)):
        if m.observer[k] < 0:
            assert share == 0.0
            continue
        near = (np.abs(cell - cell[k]) <= 1).all(axis=1)
        mine = m.observer == m.observer[k]
        whole = named[mine].sum() / named.sum()
        own = named[near & mine].sum() - weight[k] + 5.0 * whole
        expected = own / (named[near].sum() - weight[k] + 5.0)
        assert share == pytest.approx(np.clip(expected, 1e-4, 0.98), rel=1e-12)


def likeness_one_by_one(text, i, j):
    bags = [frozenset(re.findall(r"[^\W_]{3,}", t[:2000].casefold())) for t in text]
    filled = max(sum(bool(bag) for bag in bags), 1)
    held = Counter(word for bag in bags for word in bag)
    weight = {word: float(np.log((filled + 1) / count)) for word, count in held.items()}
    for a, b in ((bags[p], bags[q]) for p, q in zip(i, j, strict=True)):
        whole = sum(weight[w] for w in a | b)
        alike = sum(weight[w] for w in a & b) / whole if whole else 0.0
        yield int(np.searchsorted(LIKENESS_EDGES, alike, "right")) if a and b else -1


@pytest.mark.parametrize("seed", range(3))
def test_likeness_of_remarks_is_that_of_their_sets_of_words(seed):
    rng = np.random.default_rng(seed)
    words = np.array(["toad", "Near", "gate,", "by", "old", "oak", "bridge", "squashed", "żaba"])
    text = [" ".join(rng.choice(words, rng.integers(0, 8))) for _ in range(60)]
    remarks = Remarks(pd.Series([*text, *text[:20]], dtype=str))
    i, j = np.triu_indices(80, 1)
    assert remarks.bins(i, j).tolist() == list(likeness_one_by_one([*text, *text[:20]], i, j))
    assert remarks.filled.tolist() == [any(len(w) > 2 for w in t.split()) for t in
                                       [*text, *text[:20]]]  # fmt: skip


def test_remarks_without_a_word_have_no_likeness():
    remarks = Remarks(pd.Series(["", "a b", ""], dtype=str))
    assert remarks.bins(np.array([0, 1]), np.array([1, 2])).tolist() == [-1, -1]
