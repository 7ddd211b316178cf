"""The choice of measures: by hand, against every choice one by one, and what must always hold."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from roadrisk.mitigation.candidates import CandidateError
from roadrisk.mitigation.choice import OutOfReachError, choose_for_budget, choose_for_target
from roadrisk.mitigation.curve import curve
from tests.mitigation.small_choices import all_choices, candidates, drawn

# Sums of a dozen numbers; ties are told apart to 1e-9 of the profit.
NEAR = 1e-8

# One line of four places. Two fences that touch (rows 0, 1), the joined run (2), a sign that
# touches a fence (3), and something that does harm (4).
BY_HAND = [
    (0, 0, 2, 0, True, 3.0, 4.0),
    (0, 2, 3, 0, True, 2.0, 3.0),
    (0, 0, 3, 0, True, 4.25, 6.0),
    (0, 3, 4, 1, False, 0.5, 1.0),
    (0, 3, 4, 2, False, -1.0, 0.1),
]


@pytest.mark.parametrize(
    ("budget", "chosen", "value"),
    [
        (0.0, [], 0.0), (0.9, [], 0.0), (1.0, [3], 0.5), (3.5, [1], 2.0), (4.0, [0], 3.0),
        (5.0, [0, 3], 3.5), (6.0, [2], 4.25), (7.0, [2, 3], 4.75), (1e9, [2, 3], 4.75),
        (np.inf, [2, 3], 4.75),
    ],
)  # fmt: skip
def test_budget_by_hand(budget: float, chosen: list[int], value: float) -> None:
    choice = choose_for_budget(candidates(BY_HAND), budget)
    assert list(choice.chosen) == chosen
    assert choice.value == choice.bound == value
    assert choice.gap == 0


@pytest.mark.parametrize(
    ("target", "chosen", "cost"),
    [(-1.0, [], 0.0), (0.0, [], 0.0), (0.2, [3], 1.0), (2.5, [0], 4.0), (2.0, [1], 3.0),
     (3.6, [2], 6.0), (4.75, [2, 3], 7.0)],
)  # fmt: skip
def test_target_by_hand(target: float, chosen: list[int], cost: float) -> None:
    choice = choose_for_target(candidates(BY_HAND), target)
    assert list(choice.chosen) == chosen
    assert choice.cost == choice.bound == cost
    assert choice.gap == 0


def test_fences_that_touch_on_two_lines_are_two_fences() -> None:
    """Place 2 begins another line: nothing touches there."""
    made = candidates([(0, 0, 2, 0, True, 1.0, 1.0), (1, 2, 3, 0, True, 1.0, 1.0)])
    assert list(choose_for_budget(made, 2.0).chosen) == [0, 1]


def test_equals_every_choice_one_by_one() -> None:
    """300 small sets; of the best the cheapest, and for a target of the cheapest the best."""
    asked = 0
    for seed in range(300):
        rng = np.random.default_rng(seed)
        made = drawn(rng, lines=1 + seed % 4, whole=seed % 3 == 0)
        sets, value, cost = all_choices(made)
        share = rng.uniform(0.05, 1.05)
        choice = choose_for_budget(made, share * cost.max())
        fits = cost <= share * cost.max() + NEAR
        best = value[fits].max()
        assert tuple(choice.chosen) in sets
        assert choice.gap == 0
        assert choice.value == pytest.approx(best, abs=NEAR)
        assert choice.cost == pytest.approx(cost[fits & (value >= best - NEAR)].min(), abs=NEAR)
        target = share * value.max()
        if not 0 < target <= value.max():
            continue
        asked += 1
        choice = choose_for_target(made, target)
        reaches = value >= target - NEAR
        least = cost[reaches].min()
        assert tuple(choice.chosen) in sets
        assert choice.gap == 0
        assert choice.cost == pytest.approx(least, abs=NEAR)
        most = value[reaches & (cost <= least + NEAR)].max()
        assert choice.value == pytest.approx(most, abs=NEAR)
    assert asked >= 200


def middle(seed: int, many: int = 300):
    return drawn(np.random.default_rng(seed), many, lines=6, places=25, longest=8)


@pytest.mark.parametrize("seed", range(5))
def test_more_money_never_averts_less(seed: int) -> None:
    made = middle(seed)
    values = [choose_for_budget(made, budget).value for budget in np.linspace(0, 60, 13)]
    assert values[0] == 0
    assert np.all(np.diff(values) >= -NEAR)
    assert values[-1] > values[1] > 0


@pytest.mark.parametrize("seed", range(5))
def test_other_units_change_nothing(seed: int) -> None:
    made = middle(seed)
    choice = choose_for_budget(made, 10.0)
    dear = replace(made, cost=made.cost * 1e6, value=made.value * 1e-5)
    assert list(choose_for_budget(dear, 1e7).chosen) == list(choice.chosen)
    aim = choose_for_target(made, choice.value)
    assert list(choose_for_target(dear, choice.value * 1e-5).chosen) == list(aim.chosen)


@pytest.mark.parametrize("seed", range(5))
def test_reversed_lines_and_shuffled_rows_avert_the_same(seed: int) -> None:
    made = middle(seed)
    end = made.line * 25 * 2 + 25
    turned = replace(made, first=end - made.last, last=end - made.first, line=made.line[:])
    order = np.random.default_rng(seed).permutation(len(made))
    shuffled = replace(made, **{name: getattr(made, name)[order] for name in vars(made)})
    choice = choose_for_budget(made, 12.0)
    for other in (turned, shuffled):
        again = choose_for_budget(other, 12.0)
        assert again.value == pytest.approx(choice.value, rel=NEAR)
        assert again.cost == pytest.approx(choice.cost, rel=1e-6)


@pytest.mark.parametrize("seed", range(5))
def test_two_purses_avert_no_more_than_one(seed: int) -> None:
    """Lines apart with a purse each; the best way to split one purse averts as much as one."""
    made = middle(seed, 150)
    low, whole = made.line < 3, choose_for_budget(made, 9.0).value
    parts = [
        replace(made, **{name: getattr(made, name)[rows] for name in vars(made)})
        for rows in (low, ~low)
    ]
    chosen = choose_for_budget(made, 9.0).chosen
    spent = made.cost[chosen[low[chosen]]].sum()
    for first in (2.0, 4.5, spent, 7.0):
        split = sum(
            choose_for_budget(part, purse).value
            for part, purse in zip(parts, (first, 9.0 - first), strict=True)
        )
        assert split <= whole + NEAR
        if first == spent:
            assert split == pytest.approx(whole, rel=NEAR)


def like_money(many: int, seed: int):
    """Measures that avert exactly what they cost: the hardest kind, no two sums alike."""
    rng = np.random.default_rng(seed)
    cost = rng.uniform(1.0, 2.0, many)
    return candidates([(k, 2 * k, 2 * k + 1, 0, True, x, x) for k, x in enumerate(cost)])


@pytest.mark.parametrize("seed", range(3))
def test_what_is_not_proven_is_told(seed: int) -> None:
    """The budget itself is the bound of what averts what it costs; few labels leave a gap."""
    made, budget = like_money(40, seed), 20.3
    choice = choose_for_budget(made, budget, most_labels=20_000)
    assert 0 < choice.gap < 0.05
    assert choice.value < choice.bound <= budget * (1 + NEAR)
    assert choice.gap == pytest.approx((choice.bound - choice.value) / choice.bound)
    more = choose_for_budget(made, budget, most_labels=1_000_000)
    assert choice.value <= more.value <= more.bound <= choice.bound
    aim = choose_for_target(made, budget, most_labels=20_000)
    assert budget * (1 - NEAR) <= aim.bound < aim.cost
    assert aim.gap == pytest.approx((aim.cost - aim.bound) / aim.cost)


@pytest.mark.parametrize("gap", [0.3, 0.1, 0.01])
def test_a_wanted_gap_is_kept(gap: float) -> None:
    for seed in range(20):
        made = middle(seed, 100)
        best = choose_for_budget(made, 8.0)
        rough = choose_for_budget(made, 8.0, gap=gap)
        assert rough.gap <= gap
        assert best.value * (1 - gap) - NEAR <= rough.value <= best.value + NEAR
        assert rough.bound >= best.value - NEAR
        aim = choose_for_target(made, best.value, gap=gap)
        assert aim.gap <= gap
        assert aim.bound <= choose_for_target(made, best.value).cost + NEAR


@pytest.mark.parametrize("seed", range(5))
def test_curve_is_the_hull_of_all_choices(seed: int) -> None:
    made = drawn(np.random.default_rng(seed), 14, lines=3)
    _, value, cost = all_choices(made)
    table = curve(made)
    x, y = table["cost"].to_numpy(), table["value"].to_numpy()
    assert (x[0], y[0], len(table["chosen"][0])) == (0, 0, 0)
    assert y[-1] == pytest.approx(value.max())
    slope = np.diff(y) / np.diff(x)
    assert np.all(np.diff(slope) < 0)
    inside = cost <= x[-1]
    assert np.all(value[inside] <= np.interp(cost[inside], x, y) + NEAR)
    for row in table.itertuples():
        assert choose_for_budget(made, row.cost).value == pytest.approx(row.value, abs=NEAR)
        assert made.cost[row.chosen].sum() == pytest.approx(row.cost)
    knee = int(np.flatnonzero(table["knee"]).item())
    steps = np.diff(np.log(y[1:])) / np.diff(np.log(x[1:]))
    assert (steps[: knee - 1] >= 0.5).all()
    assert (steps[knee - 1 : knee] < 0.5).all()
    assert table.attrs["missed"] == 0


def test_curve_takes_in_budgets_below_the_hull() -> None:
    """By hand: corners at 4, 6 and 7 money; what 1 and 3 buy lies below the lines."""
    table = curve(candidates(BY_HAND), budgets=(3.0, 1.0, 4.0))
    assert table["cost"].tolist() == [0, 1, 3, 4, 6, 7]
    assert table["value"].tolist() == [0, 0.5, 2, 3, 4.25, 4.75]
    assert table["supported"].tolist() == [True, False, False, True, True, True]
    # One percent more money averts 0.86 and then 0.72 percent more: no step is a poor one.
    assert table["knee"].tolist() == [False] * 5 + [True]


def test_the_knee_comes_before_the_first_poor_step() -> None:
    """By hand: log(1.9) / log(2) = 0.93, then log(2.2 / 1.9) / log(4 / 2) = 0.21."""
    made = candidates([
        (0, 0, 1, 0, False, 1.0, 1.0), (1, 1, 2, 0, False, 0.9, 1.0), (2, 2, 3, 0, False, 0.3, 2.0),
    ])  # fmt: skip
    table = curve(made)
    assert table["cost"].tolist() == [0, 1, 2, 4]
    assert table["knee"].tolist() == [False, False, True, False]


def test_few_points_of_a_curve_say_what_they_miss() -> None:
    made = middle(1)
    whole, few = curve(made), curve(made, most_points=6)
    assert len(few) == 6
    between = np.interp(whole["cost"], few["cost"], few["value"])
    missed = (whole["value"] - between).max()
    assert 0 < missed <= few.attrs["missed"] + NEAR
    assert few["knee"].sum() == whole["knee"].sum() == 1


def test_twins_and_ties() -> None:
    """The cheaper of equals, the lower row of twins, a sign rather than a fence as good."""
    made = candidates([
        (0, 0, 1, 0, True, 1.0, 2.0), (0, 0, 1, 1, True, 1.0, 1.5), (0, 0, 1, 2, True, 1.0, 1.5),
        (1, 3, 4, 0, True, 2.0, 1.0), (1, 3, 4, 1, False, 2.0, 1.0),
    ])  # fmt: skip
    assert list(choose_for_budget(made, 5.0).chosen) == [1, 4]
    assert list(choose_for_target(made, 3.0).chosen) == [1, 4]


def test_what_costs_nothing_is_taken_with_no_money() -> None:
    made = candidates([(0, 0, 1, 0, False, 1.0, 0.0), (0, 1, 2, 0, False, 1.0, 1.0)])
    assert list(choose_for_budget(made, 0.0).chosen) == [0]
    assert list(choose_for_target(made, 1.0).chosen) == [0]
    assert curve(made)["value"].tolist() == [0, 1, 2]


def test_nothing_to_choose_from() -> None:
    for made in (candidates([]), candidates([(0, 0, 1, 0, True, -1.0, 1.0)])):
        choice = choose_for_budget(made, 100.0)
        assert (len(choice.chosen), choice.value, choice.gap) == (0, 0.0, 0.0)
        assert len(curve(made)) == 1
        with pytest.raises(OutOfReachError, match="avert at most 0 a year"):
            choose_for_target(made, 1.0)


def test_out_of_reach_says_what_can_be_reached() -> None:
    with pytest.raises(
        OutOfReachError, match=r"avert at most 4\.75 a year together, at a cost of 7"
    ) as e:
        choose_for_target(candidates(BY_HAND), 4.8)
    assert list(e.value.most.chosen) == [2, 3]
    assert len(e.value.lines()) == 1


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"cost": [1.0, -2.0]}, "measure 1 .*cost is negative"),
        ({"cost": [np.nan, 1.0]}, "measure 0 .*cost is no number"),
        ({"value": [1.0, np.inf]}, "measure 1 .*averted are no number"),
        ({"last": [1, 1]}, "measure 1 .*run of places is empty"),
        ({"first": [-1, 1]}, "measure 0 .*before the first place"),
        ({"value": [1.0]}, "differ in length"),
    ],
)
def test_nonsense_is_named(change: dict[str, list[float]], words: str) -> None:
    made = candidates([(0, 0, 1, 0, True, 1.0, 1.0), (0, 1, 2, 0, True, 1.0, 1.0)])
    made = replace(made, **{k: np.array(v) for k, v in change.items()})
    for call in (lambda: choose_for_budget(made, 1.0), lambda: curve(made)):
        with pytest.raises(CandidateError, match=words):
            call()


def test_nonsense_budgets_targets_and_gaps() -> None:
    made = candidates(BY_HAND)
    for budget in (-1.0, np.nan):
        with pytest.raises(CandidateError, match=r"budget of .* makes no sense"):
            choose_for_budget(made, budget)
    for target in (np.nan, np.inf):
        with pytest.raises(CandidateError, match=r"target of .* makes no sense"):
            choose_for_target(made, target)
    with pytest.raises(CandidateError, match="gap of 1 makes no sense"):
        choose_for_budget(made, 1.0, gap=1.0)


def test_inputs_stay_as_they_are() -> None:
    made = middle(2)
    before = {name: value.copy() for name, value in vars(made).items()}
    choose_for_budget(made, 5.0)
    choose_for_target(made, 1.0)
    curve(made)
    assert all(np.array_equal(before[name], value) for name, value in vars(made).items())
